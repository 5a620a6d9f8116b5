package history

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"dryslot/internal/pour"
)

var dawn = time.Date(2026, 5, 4, 6, 0, 0, 0, time.FixedZone("", -7*3600))

// at is an instant some hours after dawn.
func at(h float64) time.Time { return dawn.Add(time.Duration(h * float64(time.Hour))) }

func ptr[T any](v T) *T { return &v }

// site has three pads of unequal size: the second holds twice what the others do.
func site(covers ...pour.Cover) pour.Spec {
	s := pour.DefaultSpec()
	for i, n := range []string{"A", "B", "C"} {
		s.Pads = append(s.Pads, pour.Pad{Name: n, LengthM: 1 + float64(i%2), WidthM: 1, ThicknessM: 0.075})
	}
	s.Stock.Covers = covers
	return s
}

// sets is a concrete of round figures: initial set after 5 h, final after 8.
func sets(pad string, _ time.Time) pour.SetTime {
	return pour.SetTime{Pad: pad, InitialMin: 300, FinalMin: 480, Known: true}
}

// given replays a log at some hours after dawn.
func given(h float64, log ...pour.LogEntry) Given {
	for i := range log {
		if log[i].ID == "" {
			log[i].ID = fmt.Sprintf("e%02d", i)
		}
	}
	return Given{Spec: site(), Log: log, Now: at(h), Zone: dawn.Location(), SetTime: sets,
		Rain: RainLimits{TellsMM: 0.25, SpoilsMM: 2.5, MarksMM: 7.6}}
}

func entry(k pour.EntryKind, h float64, pads ...string) pour.LogEntry {
	return pour.LogEntry{Kind: k, Pads: pads, At: at(h), RecordedAt: at(h)}
}

func undo(h float64, id string) pour.LogEntry {
	return pour.LogEntry{Kind: pour.EntryUndone, At: at(h), Entry: id}
}

// rainOver is rain from one hour after dawn to another.
func rainOver(from, to, mm float64, pads ...string) pour.LogEntry {
	e := entry(pour.EntryRainedOn, from, pads...)
	e.RainMM, e.Minutes = &mm, ptr((to-from)*60)
	return e
}

func phases(s State) string {
	var out []string
	for _, p := range s.Pads {
		w := string(p.Phase)
		if p.Covered {
			w += "+covered"
		}
		if p.Inspect != nil {
			w += "+inspect"
		}
		if p.Assumed {
			w += "+assumed"
		}
		out = append(out, w)
	}
	return strings.Join(out, " ")
}

func asks(s State) string {
	var out []string
	for _, q := range s.Questions {
		out = append(out, string(q.Ask)+":"+strings.Join(q.Pads, ","))
	}
	slices.Sort(out)
	return strings.Join(out, " ")
}

func TestADayIsReplayed(t *testing.T) {
	log := []pour.LogEntry{
		entry(pour.EntryStarted, 0.5), entry(pour.EntryFormed, 0.6, "A", "B"), entry(pour.EntryPlacing, 1, "A"),
		entry(pour.EntryPlaced, 1.8, "A"), entry(pour.EntryPlaced, 3, "B"), entry(pour.EntryFinished, 6, "A"),
		entry(pour.EntryCovered, 7), entry(pour.EntryUncovered, 23, "A"), entry(pour.EntryStripped, 24, "A"),
		entry(pour.EntryLost, 25, "B"), entry(pour.EntryPlaced, 26, "B"), entry(pour.EntrySkipped, 27, "C"),
		entry(pour.EntryFormed, 28, "C"),
	}
	for _, c := range []struct {
		now  float64
		want string
	}{
		{0, "waiting waiting waiting"}, {0.7, "formed formed waiting"}, {1.5, "placing formed waiting"},
		{2, "soft formed waiting"}, {6.9, "setting soft waiting"}, {7, "setting+covered soft+covered waiting"},
		{12, "hard+covered hard+covered waiting"}, {23.5, "hard hard+covered waiting"},
		{24.5, "stripped hard+covered waiting"},
		{25.5, "stripped lost waiting"}, {26, "stripped soft waiting"}, {29, "stripped soft formed"},
		{24 * 9, "cured cured formed"},
	} {
		g := given(c.now, log...)
		g.CuredAt = func(_ string, placed time.Time) time.Time { return placed.Add(7 * 24 * time.Hour) }
		s := Replay(g)
		if got := phases(s); got != c.want {
			t.Errorf("after %v h: %s, want %s", c.now, got, c.want)
		}
		if asks(s) != "" {
			t.Errorf("after %v h: asks %s", c.now, asks(s))
		}
	}
	s := Replay(given(26.5, log...))
	if b := s.Pads[1]; b.Losses != 1 || len(b.Castings) != 2 || b.LostAt != nil || !b.PlacedAt.Equal(at(26)) {
		t.Errorf("placed again: %+v", b)
	}
	if s := Replay(given(2, log...)); s.Day.StartedAt == nil || !s.Day.StartedAt.Equal(at(0.5)) {
		t.Errorf("begun: %v", s.Day.StartedAt)
	}
	if s := Replay(given(25.5, log...)); s.Day.StartedAt != nil {
		t.Errorf("the next day has begun at %v without an entry", s.Day.StartedAt)
	}
}

// What a pad sets by is kept with its placing, so that forecasts can be pruned.
func TestSetTimesKeptWithAnEntryCount(t *testing.T) {
	e := entry(pour.EntryPlaced, 1, "A", "B")
	e.SetTimes = []pour.SetTime{{Pad: "A", InitialMin: 60, FinalMin: 120, Known: true}}
	if got := phases(Replay(given(2.5, e))); got != "setting soft waiting" {
		t.Error(got)
	}
}

func TestTotalsOfSeveralPadsAreSharedByVolume(t *testing.T) {
	e := entry(pour.EntryPlaced, 1, "A", "B")
	e.Bags, e.WaterL, e.Minutes = ptr(15.0), ptr(42.0), ptr(90.0)
	s := Replay(given(2, e))
	if a, b := *s.Pads[0].Castings[0].Bags, *s.Pads[1].Castings[0].Bags; a != 5 || b != 10 {
		t.Errorf("bags %v and %v", a, b)
	}
	if len(s.Counted) != 2 || *s.Counted[1].WaterL != 28 || *s.Counted[0].Minutes != 30 || s.Counted[1].Pad != "B" {
		t.Errorf("counted %+v", s.Counted)
	}
}

func TestAMissingPredecessorIsImpliedAndAskedAbout(t *testing.T) {
	for _, k := range []pour.EntryKind{pour.EntryFinished, pour.EntryStripped, pour.EntryCovered, pour.EntryInspected} {
		g := given(5)
		e := entry(k, 4, "A")
		e.Result = pour.ResultSound
		a := Check(g, e)
		if len(a.Refused) > 0 || len(a.Assumed) != 1 || a.Assumed[0] != (Assumed{"A", pour.EntryPlaced, at(4)}) {
			t.Errorf("%s: refused %+v, assumed %+v", k, a.Refused, a.Assumed)
		}
		if asks(a.State) != "was_placed:A" || !a.State.Pads[0].Assumed {
			t.Errorf("%s: asks %q", k, asks(a.State))
		}
	}
	// The real placing, heard of later, takes the implied one's place.
	s := Replay(given(5, entry(pour.EntryFinished, 4, "A"), entry(pour.EntryPlaced, 1, "A")))
	if asks(s) != "" || !s.Pads[0].PlacedAt.Equal(at(1)) || s.Pads[0].FinishedAt == nil {
		t.Errorf("%q, %+v", asks(s), s.Pads[0])
	}
}

func TestPlannedStepsAreTakenAsDoneUntilContradicted(t *testing.T) {
	steps := []Step{{"A", pour.EntryPlaced, at(2)}, {"A", pour.EntryFinished, at(6)}, {"B", pour.EntryPlaced, at(3)}}
	for name, c := range map[string]struct {
		log  []pour.LogEntry
		now  float64
		want string
	}{
		"no tap":          {nil, 4, "soft+assumed soft+assumed waiting"},
		"not yet":         {nil, 2.5, "soft+assumed waiting waiting"},
		"finished too":    {nil, 6.5, "soft+assumed soft+assumed waiting"},
		"placed late":     {[]pour.LogEntry{entry(pour.EntryPlaced, 3.5, "A")}, 4, "soft soft+assumed waiting"},
		"forms set later": {[]pour.LogEntry{entry(pour.EntryFormed, 3.2, "A")}, 4, "formed soft+assumed waiting"},
		"called off":      {[]pour.LogEntry{entry(pour.EntrySkipped, 0)}, 4, "waiting waiting waiting"},
		"one called off":  {[]pour.LogEntry{entry(pour.EntrySkipped, 3.5, "B")}, 4, "soft+assumed waiting waiting"},
		"the tap was undone": {[]pour.LogEntry{entry(pour.EntryPlaced, 2, "A"), undo(2.1, "e00")}, 4,
			"waiting soft+assumed waiting"},
		"begun later": {[]pour.LogEntry{entry(pour.EntryStarted, 2.5)}, 4, "waiting soft+assumed waiting"},
		"it rains":    {[]pour.LogEntry{entry(pour.EntryRainBegan, 2.5)}, 4, "soft+inspect+assumed waiting waiting"},
		"confirmed late": {[]pour.LogEntry{entry(pour.EntryPlaced, 1.9, "A"), entry(pour.EntryPlaced, 2.9, "B")}, 4,
			"soft soft waiting"},
	} {
		g := given(c.now, c.log...)
		g.Steps = steps
		if got := phases(Replay(g)); got != c.want {
			t.Errorf("%s: %s, want %s", name, got, c.want)
		}
	}
}

func TestAnUndoneEntryIsVoidAndWhatWasBuiltOnItWaits(t *testing.T) {
	placed, finished := entry(pour.EntryPlaced, 1, "A"), entry(pour.EntryFinished, 5, "A")
	s := Replay(given(6, placed, finished, undo(5.5, "e00")))
	if phases(s) != "waiting waiting waiting" || s.Outcomes[0].Fate != Undone || s.Outcomes[1].Fate != Waits {
		t.Errorf("%s, %+v", phases(s), s.Outcomes)
	}
	if len(s.Questions) != 1 || s.Questions[0].Ask != BuiltOnUndone || s.Questions[0].Entries[0] != "e01" ||
		s.Questions[0].Undone != "e00" {
		t.Errorf("asks %+v", s.Questions)
	}
	// Logged again, it counts, and what waited counts with it.
	s = Replay(given(6, placed, finished, undo(5.5, "e00"), entry(pour.EntryPlaced, 1.2, "A")))
	if phases(s) != "soft waiting waiting" || s.Outcomes[1].Fate != Counts || asks(s) != "" ||
		s.Pads[0].FinishedAt == nil {
		t.Errorf("%s, %+v, asks %s", phases(s), s.Outcomes, asks(s))
	}
	// A loss that was none: what was placed again waits.
	s = Replay(given(12, placed, entry(pour.EntryLost, 2, "A"), entry(pour.EntryPlaced, 3, "A"), undo(4, "e01")))
	if phases(s) != "hard waiting waiting" || s.Pads[0].Losses != 0 || asks(s) != "built_on_undone:A" {
		t.Errorf("%s, asks %s", phases(s), asks(s))
	}
	// The undo may come first; undoing an undo is refused.
	if s := Replay(given(6, undo(5.5, "e01"), placed)); s.Outcomes[1].Fate != Undone {
		t.Errorf("%+v", s.Outcomes)
	}
	a := Check(given(6, placed, undo(5.5, "e00")), undo(5.7, "e01"))
	if len(a.Refused) != 1 || a.Refused[0].Code != UndoOfUndo {
		t.Errorf("refused %+v", a.Refused)
	}
	// Undoing a cover changes what rain did.
	log := []pour.LogEntry{placed, entry(pour.EntryCovered, 1.5), rainOver(2, 2.5, 4)}
	if got := phases(Replay(given(3, log...))); got != "soft+covered+inspect waiting waiting" {
		t.Error(got)
	}
	if got := phases(Replay(given(3, append(log, undo(2.9, "e01"))...))); got != "lost waiting waiting" {
		t.Error(got)
	}
}

func TestWhatCannotBeTrueIsRefusedWithItsReason(t *testing.T) {
	log := []pour.LogEntry{entry(pour.EntryPlaced, 2, "A"), entry(pour.EntryPlaced, 3, "B"),
		entry(pour.EntryFinished, 7, "B"), entry(pour.EntryStripped, 25, "B"), entry(pour.EntryPlaced, 1, "C"),
		entry(pour.EntryLost, 3, "C")}
	for name, c := range map[string]struct {
		e    pour.LogEntry
		want Code
		by   string
	}{
		"finished":            {entry(pour.EntryFinished, 6, "A"), "", ""},
		"stripped unfinished": {entry(pour.EntryStripped, 26, "A"), "", ""},
		"placed again":        {entry(pour.EntryPlaced, 28, "C"), "", ""},
		"rain on all":         {rainOver(4, 4.5, 3), "", ""},
		"rain that caused it": {rainOver(2.5, 2.9, 3, "C"), "", ""},
		"skipped all":         {entry(pour.EntrySkipped, 29), "", ""},
		"skipped before":      {entry(pour.EntrySkipped, 1, "A"), "", ""},
		"finished again":      {entry(pour.EntryFinished, 28, "C"), "", ""}, // placed again, and not heard of
		"placed twice":        {entry(pour.EntryPlaced, 6, "A"), AlreadyPlaced, "e00"},
		"placed before":       {entry(pour.EntryPlaced, 1, "A"), AlreadyPlaced, "e00"},
		"placed before lost":  {entry(pour.EntryPlaced, 2, "C"), AlreadyPlaced, "e04"},
		"forms set late":      {entry(pour.EntryFormed, 3, "A"), AlreadyPlaced, "e00"},
		"finished twice":      {entry(pour.EntryFinished, 8, "B"), AlreadyFinished, "e02"},
		"finished stripped":   {entry(pour.EntryFinished, 26, "B"), AlreadyStripped, "e03"},
		"stripped twice":      {entry(pour.EntryStripped, 26, "B"), AlreadyStripped, "e03"},
		"stripped soft":       {entry(pour.EntryStripped, 6.9, "A"), BeforeInitialSet, "e00"},
		"lost twice":          {entry(pour.EntryLost, 28, "C"), AlreadyLost, "e05"},
		"skipped but placed":  {entry(pour.EntrySkipped, 3, "A"), AlreadyPlaced, "e00"},
		"one of two":          {entry(pour.EntryFinished, 9, "A", "B"), AlreadyFinished, "e02"},
	} {
		a := Check(given(30, log...), c.e)
		switch {
		case c.want == "" && len(a.Refused) > 0:
			t.Errorf("%s: refused %+v", name, a.Refused)
		case c.want != "" && (len(a.Refused) != 1 || a.Refused[0].Code != c.want || a.Refused[0].Entry != c.by):
			t.Errorf("%s: refused %+v, want %s by %s", name, a.Refused, c.want, c.by)
		}
	}
	a := Check(given(30, log...), entry(pour.EntryStripped, 8, "A")) // after initial, before final set
	if len(a.Refused) > 0 || asks(a.State) != "stripped_early:A" || !a.Questions[0].At.Equal(at(10)) {
		t.Errorf("stripped early: %+v, %+v", a.Refused, a.Questions)
	}
}
