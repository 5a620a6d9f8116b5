package pour

import (
	"errors"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"
	"time"

	"dryslot/internal/fault"
)

var dawn = time.Date(2026, 5, 4, 6, 0, 0, 0, time.FixedZone("", -7*3600))

func at(h float64) time.Time { return dawn.Add(time.Duration(h * float64(time.Hour))) }

func entry(k EntryKind, pad string, h float64) LogEntry {
	return LogEntry{Kind: k, Pad: pad, At: at(h), RecordedAt: at(h)}
}

// week cures a pad seven days after placing.
func week(_ string, placed time.Time) time.Time { return placed.Add(7 * 24 * time.Hour) }

func states(r []PadRecord) string {
	var s []string
	for _, x := range r {
		s = append(s, string(x.State))
	}
	return strings.Join(s, " ")
}

func TestReplay(t *testing.T) {
	rain := entry(EntryRainedOn, "", 4)
	rain.Effects = []Effect{{Pad: "A1", State: Lost, Why: "3 mm on a soft pad"}, {Pad: "A2", Inspect: "1 mm while soft"}, {Pad: "A3", Inspect: "not placed: no effect"}}
	log := []LogEntry{entry(EntryPlaced, "A1", 2), entry(EntryPlaced, "A2", 3), rain, entry(EntryFinished, "A2", 5),
		entry(EntryPlaced, "A1", 26), entry(EntryStripped, "A2", 27), entry(EntryNote, "", 28), entry(EntrySkipped, "A3", 29)}
	for _, c := range []struct {
		now  float64
		want string
	}{
		{0, "waiting waiting waiting"}, {2, "placed waiting waiting"}, {3.5, "placed placed waiting"}, {4, "lost placed waiting"},
		{6, "lost finished waiting"}, {26, "placed finished waiting"}, {30, "placed stripped waiting"}, {3 + 168, "placed cured waiting"},
		{26 + 168, "cured cured waiting"},
	} {
		if got := states(Replay(shed(), log, at(c.now), week)); got != c.want {
			t.Errorf("after %v h: %s, want %s", c.now, got, c.want)
		}
	}
	r := Replay(shed(), log, at(30), nil)
	a1, a2 := r[0], r[1]
	if a1.Losses != 1 || a1.LostAt != nil || !a1.PlacedAt.Equal(at(26)) || a1.Inspect != "" {
		t.Errorf("poured again: %+v", a1)
	}
	if a2.Inspect != "1 mm while soft" || !a2.FinishedAt.Equal(at(5)) || !a2.StrippedAt.Equal(at(27)) || a2.CuredAt != nil {
		t.Errorf("rained on: %+v", a2)
	}
	if r[2].Inspect != "" {
		t.Errorf("a pad that is not placed: %+v", r[2])
	}
}

// The log's order of arrival does not matter where its times differ, and any
// log at all, sound or not, leaves each pad in a state that makes sense.
func TestReplayOfAnyLogMakesSense(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	kinds := []EntryKind{EntryPlaced, EntryFinished, EntryStripped, EntryLost, EntryRainedOn, EntrySkipped, EntryNote}
	for range 2000 {
		var log []LogEntry
		for i := range rng.IntN(12) {
			e := entry(kinds[rng.IntN(len(kinds))], []string{"A1", "A2", "A3", "gone", ""}[rng.IntN(5)], float64(i)+rng.Float64()/2)
			if rng.IntN(5) == 0 {
				e.Effects = []Effect{{Pad: "A2", State: Lost}}
			}
			log = append(log, e)
		}
		want := Replay(shed(), log, at(9), week)
		rng.Shuffle(len(log), func(i, j int) { log[i], log[j] = log[j], log[i] })
		if got := Replay(shed(), log, at(9), week); !reflect.DeepEqual(got, want) {
			t.Fatalf("shuffled: %+v, want %+v", got, want)
		}
		for _, r := range want {
			placed := r.State == Placed || r.State == Finished || r.State == Stripped || r.State == Cured
			if placed != (r.PlacedAt != nil) || (r.State == Lost) != (r.LostAt != nil) ||
				r.State == Finished && r.FinishedAt == nil || r.State == Stripped && r.StrippedAt == nil ||
				!placed && (r.FinishedAt != nil || r.StrippedAt != nil || r.Inspect != "") {
				t.Fatalf("makes no sense: %+v", r)
			}
		}
	}
}

func TestCheckEntry(t *testing.T) {
	f := func(v float64) *float64 { return &v }
	log := []LogEntry{entry(EntryPlaced, "A1", 2), entry(EntryPlaced, "A2", 3), entry(EntryFinished, "A2", 5), entry(EntryStripped, "A2", 25), entry(EntryPlaced, "A3", 1), entry(EntryLost, "A3", 3)}
	now := at(30)
	with := func(e LogEntry, change func(*LogEntry)) LogEntry { change(&e); return e }
	for name, c := range map[string]struct {
		e    LogEntry
		want string
	}{
		"finished":            {entry(EntryFinished, "A1", 4), ""},
		"stripped unfinished": {entry(EntryStripped, "A1", 26), ""},
		"placed again":        {entry(EntryPlaced, "A3", 28), ""},
		"rain on all":         {with(entry(EntryRainedOn, "", 4), func(e *LogEntry) { e.RainMM = f(3) }), ""},
		"rain that caused it": {entry(EntryRainedOn, "A3", 2.5), ""},
		"skipped all":         {entry(EntrySkipped, "", 29), ""},
		"skipped before":      {entry(EntrySkipped, "A1", 1), ""},
		"a note":              {with(entry(EntryNote, "", 29), func(e *LogEntry) { e.Text = "boards cleaned,\noiled" }), ""},
		"long ago":            {entry(EntrySkipped, "", -24*400), ""},

		"no kind":             {entry("", "A1", 4), "kind"},
		"unknown kind":        {entry("poured", "A1", 4), "kind"},
		"cured is no entry":   {entry("cured", "A1", 4), "kind"},
		"no pad":              {entry(EntryPlaced, "", 4), "pad"},
		"unknown pad":         {entry(EntryPlaced, "Z9", 4), "pad"},
		"NUL in the pad":      {entry(EntryRainedOn, "A\x001", 4), "pad"},
		"in the future":       {entry(EntryFinished, "A1", 30.1), "at"},
		"no time":             {LogEntry{Kind: EntryFinished, Pad: "A1"}, "at"},
		"before 2000":         {entry(EntryNote, "", -24*366*30), "at text"},
		"placed twice":        {entry(EntryPlaced, "A1", 6), "kind"},
		"placed before lost":  {entry(EntryPlaced, "A3", 2), "at"},
		"finished twice":      {entry(EntryFinished, "A2", 6), "kind"},
		"finished unplaced":   {entry(EntryFinished, "A3", 28), "kind"},
		"finished too early":  {entry(EntryFinished, "A1", 1.9), "at"},
		"stripped twice":      {entry(EntryStripped, "A2", 26), "kind"},
		"stripped too early":  {entry(EntryStripped, "A1", 1), "at"},
		"lost unplaced":       {entry(EntryLost, "A3", 28), "kind"},
		"lost too early":      {entry(EntryLost, "A2", 24), "at"},
		"rain after the loss": {entry(EntryRainedOn, "A3", 4), "kind"},
		"skipped but placed":  {entry(EntrySkipped, "A1", 3), "kind"},
		"an empty note":       {entry(EntryNote, "", 3), "text"},
		"a long text":         {with(entry(EntryNote, "", 3), func(e *LogEntry) { e.Text = strings.Repeat("x", 2001) }), "text"},
		"NUL in the text":     {with(entry(EntryNote, "", 3), func(e *LogEntry) { e.Text = "a\x00" }), "text"},
		"figures": {with(entry(EntryFinished, "A1", 4), func(e *LogEntry) {
			e.RainMM, e.Bags, e.WaterL, e.Minutes = f(-1), f(1e9), f(-0.1), f(1441)
		}), "rain_mm bags water_l minutes"},
	} {
		err := CheckEntry(shed(), Replay(shed(), log, now, nil), c.e, now)
		if c.want == "" {
			if err != nil {
				t.Errorf("%s: %v", name, err)
			}
			continue
		}
		if !errors.Is(err, fault.Invalid) {
			t.Errorf("%s: want fault.Invalid, got %v", name, err)
		} else if got := paths(fieldsOf(t, err)); got != c.want {
			t.Errorf("%s: faults at %q, want %q", name, got, c.want)
		}
	}
}

// An entry that CheckEntry takes is never without its effect in Replay.
func TestWhatIsTakenCounts(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	kinds := []EntryKind{EntryPlaced, EntryFinished, EntryStripped, EntryLost}
	for range 500 {
		var log []LogEntry
		now := at(40)
		for range 30 {
			e := entry(kinds[rng.IntN(len(kinds))], []string{"A1", "A2"}[rng.IntN(2)], rng.Float64()*40)
			before := Replay(shed(), log, now, nil)
			if CheckEntry(shed(), before, e, now) != nil {
				continue
			}
			log = append(log, e)
			if after := Replay(shed(), log, now, nil); reflect.DeepEqual(before, after) {
				t.Fatalf("%+v was taken and changed nothing in %+v", e, before)
			}
		}
	}
}
