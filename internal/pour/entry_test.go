package pour

import (
	"errors"
	"strings"
	"testing"
	"time"

	"dryslot/internal/fault"
)

var dawn = time.Date(2026, 5, 4, 6, 0, 0, 0, time.FixedZone("", -7*3600))

func at(h float64) time.Time { return dawn.Add(time.Duration(h * float64(time.Hour))) }

func entry(k EntryKind, h float64, pads ...string) LogEntry {
	return LogEntry{Kind: k, Pads: pads, At: at(h), RecordedAt: at(h)}
}

const anID = "0f0e0d0c-0b0a-4908-8706-050403020100"

func TestCheckEntry(t *testing.T) {
	f := func(v float64) *float64 { return &v }
	yes := true
	with := func(e LogEntry, change func(*LogEntry)) LogEntry { change(&e); return e }
	for name, c := range map[string]struct {
		e    LogEntry
		want string
	}{
		"finished":       {entry(EntryFinished, 4, "A1"), ""},
		"several":        {entry(EntryPlaced, 4, "A1", "A2"), ""},
		"one, as before": {LogEntry{Kind: EntryPlaced, Pad: "A1", At: at(4)}, ""},
		"both alike":     {LogEntry{Kind: EntryPlaced, Pad: "A1", Pads: []string{"A1"}, At: at(4)}, ""},
		"rain on all":    {with(entry(EntryRainedOn, 4), func(e *LogEntry) { e.RainMM, e.Covered = f(3), &yes }), ""},
		"rain till now":  {with(entry(EntryRainedOn, 29), func(e *LogEntry) { e.Minutes = f(60) }), ""},
		"skipped all":    {entry(EntrySkipped, 29), ""},
		"a note":         {with(entry(EntryNote, 29), func(e *LogEntry) { e.Text = "boards cleaned,\noiled" }), ""},
		"long ago":       {entry(EntrySkipped, -24*400), ""},
		"started":        {entry(EntryStarted, 1), ""},
		"covered all":    {with(entry(EntryCovered, 5), func(e *LogEntry) { e.Cover = "plastic" }), ""},
		"inspected":      {with(entry(EntryInspected, 5, "A1"), func(e *LogEntry) { e.Result = ResultSound }), ""},
		"rated": {with(entry(EntryRated, 5, "A1"),
			func(e *LogEntry) { e.Ratings = &Ratings{Cracks: "none"} }), ""},
		"undone": {with(entry(EntryUndone, 5), func(e *LogEntry) { e.Entry = anID }), ""},

		"no kind":            {entry("", 4, "A1"), "kind"},
		"unknown kind":       {entry("poured", 4, "A1"), "kind"},
		"cured is no entry":  {entry("cured", 4, "A1"), "kind"},
		"no pad":             {entry(EntryPlaced, 4), "pad"},
		"two being placed":   {entry(EntryPlacing, 4, "A1", "A2"), "pads"},
		"a pad of rain":      {entry(EntryRainBegan, 4, "A1"), "pads"},
		"unknown pad":        {entry(EntryPlaced, 4, "A1", "Z9"), "pads[1]"},
		"the same pad twice": {entry(EntryPlaced, 4, "A1", "A1"), "pads[1]"},
		"pad beside pads":    {LogEntry{Kind: EntryPlaced, Pad: "A1", Pads: []string{"A2"}, At: at(4)}, "pad"},
		"NUL in the pad":     {LogEntry{Kind: EntryRainedOn, Pad: "A\x001", At: at(4)}, "pad"},
		"in the future":      {entry(EntryFinished, 30.1, "A1"), "at"},
		"no time":            {LogEntry{Kind: EntryFinished, Pad: "A1"}, "at"},
		"before 2000":        {entry(EntryNote, -24*366*30), "text at"},
		"rain yet to fall": {with(entry(EntryRainedOn, 29), func(e *LogEntry) {
			e.RainMM, e.Minutes = f(17),
				f(23*60)
		}), "minutes"},
		"an empty note": {entry(EntryNote, 3), "text"},
		"a long text": {with(entry(EntryNote, 3), func(e *LogEntry) { e.Text = strings.Repeat("x", 2001) }),
			"text"},
		"NUL in the text": {with(entry(EntryNote, 3), func(e *LogEntry) { e.Text = "a\x00" }), "text"},
		"no result":       {entry(EntryInspected, 3, "A1"), "result"},
		"a result of nothing": {with(entry(EntryPlaced, 3, "A1"), func(e *LogEntry) { e.Result = ResultSound }),
			"result"},
		"a tarpaulin": {with(entry(EntryCovered, 3, "A1"), func(e *LogEntry) { e.Cover = "tarpaulin" }),
			"cover"},
		"a covered finish": {with(entry(EntryFinished, 3, "A1"), func(e *LogEntry) { e.Covered = &yes }), "covered"},
		"nothing undone":   {entry(EntryUndone, 3), "entry"},
		"its own undo":     {with(entry(EntryUndone, 3), func(e *LogEntry) { e.ID, e.Entry = anID, anID }), "entry"},
		"an id of its own": {with(entry(EntryStarted, 3), func(e *LogEntry) { e.ID = "1" }), "id"},
		"rated as nothing": {entry(EntryRated, 3, "A1"), "ratings"},
		"rated awful": {with(entry(EntryRated, 3, "A1"),
			func(e *LogEntry) { e.Ratings = &Ratings{Scaling: "awful"} }), "ratings.scaling"},
		"a photo": {with(entry(EntryNote, 3), func(e *LogEntry) { e.Photos = []string{"cat.jpg"} }),
			"photos[0]"},
		"figures": {with(entry(EntryFinished, 4, "A1"), func(e *LogEntry) {
			e.RainMM, e.Bags, e.WaterL, e.Minutes = f(-1), f(1e9), f(-0.1), f(1441)
		}), "rain_mm bags water_l minutes"},
	} {
		err := CheckEntry(shed(), c.e, at(30))
		if c.want == "" {
			if err != nil {
				t.Errorf("%s: %v", name, err)
			}
			continue
		}
		if !errors.Is(err, fault.Invalid) {
			t.Errorf("%s: want fault.Invalid, got %v", name, err)
		} else if got := paths(fieldsOf(t, err)); got != c.want && got != reversed(c.want) {
			t.Errorf("%s: faults at %q, want %q", name, got, c.want)
		}
	}
}

func reversed(words string) string {
	w := strings.Fields(words)
	for i, j := 0, len(w)-1; i < j; i, j = i+1, j-1 {
		w[i], w[j] = w[j], w[i]
	}
	return strings.Join(w, " ")
}

func TestAClockThatRunsAheadIsTakenAsNow(t *testing.T) {
	for ahead, taken := range map[time.Duration]bool{0: true, 5 * time.Minute: true,
		5*time.Minute + time.Second: false, -time.Minute: true} {
		e := entry(EntryStarted, 0)
		e.At = e.At.Add(ahead)
		e.TakeAsNow(at(0))
		if err := CheckEntry(shed(), e, at(0)); (err == nil) != taken {
			t.Errorf("%v ahead: %v", ahead, err)
		}
	}
}

// Sent again, an entry is the same even where its time was taken as now; it is
// another one when anything that was sent differs.
func TestSameAs(t *testing.T) {
	sent := entry(EntryPlaced, 0, "A1")
	sent.At = sent.At.Add(2 * time.Minute)
	kept := sent
	kept.TakeAsNow(at(0))
	kept.Effects = []Effect{{Pad: "A1"}}
	if !kept.SameAs(sent) {
		t.Error("the same entry is taken for another")
	}
	for name, change := range map[string]func(*LogEntry){
		"kind": func(e *LogEntry) { e.Kind = EntryLost }, "pads": func(e *LogEntry) { e.Pads = []string{"A2"} },
		"at": func(e *LogEntry) { e.At = at(-1) }, "bags": func(e *LogEntry) { b := 5.0; e.Bags = &b },
		"covered": func(e *LogEntry) { c := false; e.Covered = &c }, "text": func(e *LogEntry) { e.Text = "x" },
		"ratings": func(e *LogEntry) { e.Ratings = &Ratings{} }, "entry": func(e *LogEntry) { e.Entry = anID },
	} {
		other := sent
		change(&other)
		if kept.SameAs(other) {
			t.Errorf("another %s goes unseen", name)
		}
	}
}
