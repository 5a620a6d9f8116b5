package projects_test

import (
	"context"
	"testing"
	"time"

	"dryslot/internal/history"
	"dryslot/internal/pour"
	"dryslot/internal/today"
)

func (w *world) today(p pour.Project) today.Now {
	w.t.Helper()
	n, err := w.Today(context.Background(), p)
	if err != nil {
		w.t.Fatal(err)
	}
	return n
}

func places(n today.Now) (out []today.Next) {
	for _, x := range n.Next {
		if x.Do == today.Place {
			out = append(out, x)
		}
	}
	return out
}

// Nobody taps all day, and a new forecast comes every hour: what the crew was
// told stays, and is taken to have been done.
func TestADayWithoutATapIsTakenAsPlanned(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.planned()
	p := w.project()
	w.weather(p)
	w.at(10, 0, 10)
	w.weather(p)
	told := places(w.today(p))
	if len(told) != 3 {
		t.Fatalf("told of %+v", told)
	}
	for w.clock().Before(told[2].Until.Add(time.Hour)) {
		w.later(time.Hour)
		w.weather(p)
		n := w.today(p)
		for i, x := range told {
			at := n.Pads[i].PlacedAt
			switch {
			case w.clock().Before(x.Until) != (at == nil) || at != nil && !at.Equal(x.Until):
				t.Errorf("%s: %s was to be placed by %s", w.clock(), n.Pads[i].Pad, x.Until)
			case at != nil && (!n.Pads[i].Assumed || n.Pads[i].Phase != history.Soft):
				t.Errorf("%s: %+v", w.clock(), n.Pads[i])
			}
		}
	}
	if n := w.today(p); n.Day != today.UnderWay || len(n.Questions) == 0 || len(n.Slabs) != 3 ||
		len(n.Rain.Reaches) != 3 || len(n.Rain.Hours) == 0 {
		t.Errorf("%s, asked %+v, rain %+v", n.Day, n.Questions, n.Rain)
	}
	// It rained out, and the builder says so in the evening.
	w.record(p, pour.LogEntry{Kind: pour.EntrySkipped, At: w.clock()})
	if n := w.today(p); n.Pads[0].PlacedAt != nil || len(n.Questions) != 0 {
		t.Errorf("%+v, asked %+v", n.Pads, n.Questions)
	}
}

func TestRainSeenCoversWhatLiesSoft(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.planned()
	p := w.project()
	w.at(10, 6, 0)
	w.weather(p)
	first := places(w.today(p))[0]
	spec := p.Spec
	spec.Stock.Covers = []pour.Cover{{Kind: "plastic", Pads: 4}}
	p, err := w.ChangeProject(context.Background(), w.account, p.ID, p.Revision, spec)
	if err != nil {
		t.Fatal(err)
	}
	w.later(first.Until.Sub(w.clock()))
	w.record(p, pour.LogEntry{Kind: pour.EntryPlaced, Pads: first.Pads, At: w.clock()})
	if n := w.today(p); n.Advice.Do != today.GoOn {
		t.Errorf("dry, with two pads to go: %+v", n.Advice)
	}
	w.later(10 * time.Minute)
	w.record(p, pour.LogEntry{Kind: pour.EntryRainBegan, At: w.clock()})
	if n := w.today(p); n.Advice.Do != today.Cover || n.Advice.Why.Code != today.NowCoverRaining || !n.Rain.Seen {
		t.Errorf("it rains: %+v", n.Advice)
	}
	w.record(p, pour.LogEntry{Kind: pour.EntryCovered, At: w.clock()})
	if n := w.today(p); n.Advice.Do != today.Wait {
		t.Errorf("covered: %+v", n.Advice)
	}
}

// A pad's times count from when its placing begins: in the plan, in the log and at
// this minute alike, whether its beginning, its minutes or its end alone is logged.
func TestOnePadHasOneSetOfTimes(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.planned()
	p := w.project()
	w.at(10, 0, 10)
	w.weather(p)
	k, _ := w.current(p)
	if len(k.Mornings) == 0 || len(k.Mornings[0].Pads) == 0 || k.Mornings[0].Pads[0].FinishUntil == nil {
		t.Fatalf("no pad is planned: %+v", k.Mornings)
	}
	x := k.Mornings[0].Pads[0]
	took := x.PlaceEnd.Sub(x.PlaceStart)
	if took < 30*time.Minute {
		t.Fatalf("placing takes %v: nothing would be seen", took)
	}
	w.later(x.PlaceEnd.Sub(w.clock()))
	w.record(p, pour.LogEntry{Kind: pour.EntryPlaced, Pads: []string{x.Pad}, At: w.clock()})
	const near = 2 * time.Minute
	apart := func(what string, got time.Time, planned *time.Time) {
		t.Helper()
		if d := got.Sub(*planned).Abs(); d > near {
			t.Errorf("%s at %s, planned at %s", what, got, planned)
		}
	}
	n := w.today(p)
	s := n.Slabs[x.Pad]
	apart("finish until", s.FinishUntil, x.FinishUntil)
	apart("final set", s.FinalSet, x.FinalSet)
	apart("stripping", s.StripFrom, x.StripFrom)
	for _, pad := range n.Pads {
		if pad.Pad == x.Pad {
			apart("initial set in the log", *pad.InitialSet, x.InitialSet)
		}
	}
	// Begun at once and slowly: the log's own beginning counts.
	next, begun := k.Mornings[0].Pads[1].Pad, w.clock()
	w.record(p, pour.LogEntry{Kind: pour.EntryPlacing, Pads: []string{next}, At: begun})
	w.later(took + 40*time.Minute)
	w.record(p, pour.LogEntry{Kind: pour.EntryPlaced, Pads: []string{next}, At: w.clock()})
	if got := w.today(p).Slabs[next].PlacedFrom; !got.Equal(begun) {
		t.Errorf("%s counts from %s, its placing began at %s", next, got, begun)
	}
}
