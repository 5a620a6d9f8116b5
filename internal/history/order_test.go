package history

import (
	"fmt"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"
	"time"

	"dryslot/internal/pour"
)

// Any log at all, sound or not, comes to a state that makes sense, in whatever
// order it is handed in.
func TestAnyLogMakesSense(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	for range 2000 {
		log := anyLog(rng, rng.IntN(16))
		g := given(20, log...)
		g.CuredAt = func(_ string, placed time.Time) time.Time { return placed.Add(12 * time.Hour) }
		want := Replay(g)
		g.Log = slices.Clone(g.Log)
		rng.Shuffle(len(g.Log), func(i, j int) { g.Log[i], g.Log[j] = g.Log[j], g.Log[i] })
		got := Replay(g)
		got.Outcomes, want.Outcomes = nil, nil
		if !reflect.DeepEqual(got, want) {
			t.Fatalf("shuffled: %+v\nwant %+v", got, want)
		}
		for _, p := range want.Pads {
			x := p.PadRecord
			if (x.State == pour.Lost) != (x.LostAt != nil) || x.State == pour.Finished && x.FinishedAt == nil ||
				x.State == pour.Stripped && x.StrippedAt == nil || x.PlacedAt == nil &&
				(x.FinishedAt != nil || x.StrippedAt != nil) ||
				len(x.Castings) < x.Losses {
				t.Fatalf("makes no sense: %+v", p)
			}
		}
	}
}

func anyLog(rng *rand.Rand, n int) []pour.LogEntry {
	var log []pour.LogEntry
	for i := range n {
		kind := pour.EntryKinds()[rng.IntN(len(pour.EntryKinds()))]
		e := entry(kind, float64(rng.IntN(24))+float64(rng.IntN(3))/2, []string{"A", "B", "C", "gone"}[rng.IntN(4)])
		e.ID = fmt.Sprintf("e%02d", i)
		switch kind {
		case pour.EntryUndone:
			e.Pads, e.Entry = nil, fmt.Sprintf("e%02d", rng.IntN(n))
		case pour.EntryInspected:
			e.Result = []string{pour.ResultSound, pour.ResultBlemished, pour.ResultLost}[rng.IntN(3)]
		case pour.EntryRainedOn, pour.EntryCovered, pour.EntryUncovered, pour.EntrySkipped:
			if rng.IntN(2) == 0 {
				e.Pads = nil
			}
			if kind == pour.EntryRainedOn && rng.IntN(2) == 0 {
				e.RainMM, e.Minutes = ptr(rng.Float64()*8), ptr(rng.Float64()*90)
			}
		case pour.EntryStarted, pour.EntryRainBegan, pour.EntryRainEnded:
			e.Pads = nil
		}
		log = append(log, e)
	}
	return log
}

// A day with a mis-tap, a loss, a cover and rain ends in the same state in any
// order of arrival. An entry that lacks what it follows from may be refused
// when it arrives; a sender offers it again once more have come.
func TestAnyOrderOfArrivalEndsInTheSameState(t *testing.T) {
	day := []pour.LogEntry{
		entry(pour.EntryStarted, 0.5), entry(pour.EntryFormed, 0.7, "A", "B", "C"), entry(pour.EntryPlacing, 1, "A"),
		entry(pour.EntryPlaced, 2, "A"), entry(pour.EntryPlaced, 2.5, "B"), undo(2.6, "e04"),
		entry(pour.EntryPlaced, 3.4, "B"),
		entry(pour.EntryRainBegan, 3.6), entry(pour.EntryCovered, 3.7), entry(pour.EntryRainEnded, 4.2),
		entry(pour.EntryUncovered, 4.3), rainOver(4.8, 5.4, 3, "B"), entry(pour.EntryPlaced, 6, "B"),
		entry(pour.EntryFinished, 6.5, "A"), entry(pour.EntryFinished, 10.5, "B"), entry(pour.EntryStripped, 26, "A",
			"B"),
		entry(pour.EntryInspected, 27, "A"), entry(pour.EntryNote, 28),
	}
	day[9].RainMM = ptr(1.2)
	day[16].Result = pour.ResultSound
	whole := given(30, day...)
	want := Replay(whole)
	if got := phases(want); got != "stripped stripped formed" || want.Pads[1].Losses != 1 || asks(want) != "" {
		t.Fatalf("%s, %+v, asks %s", got, want.Pads[1], asks(want))
	}
	want.Outcomes = nil
	rng := rand.New(rand.NewPCG(7, 8))
	tried := 0
	for range 1000 {
		g := whole
		g.Log = nil
		waiting := slices.Clone(whole.Log)
		rng.Shuffle(len(waiting), func(i, j int) { waiting[i], waiting[j] = waiting[j], waiting[i] })
		for progress := true; progress; {
			progress = false
			var refused []pour.LogEntry
			for _, e := range waiting {
				if len(Check(g, e).Refused) > 0 {
					refused = append(refused, e)
					continue
				}
				g.Log = append(g.Log, e)
				progress = true
			}
			tried += len(refused)
			waiting = refused
		}
		if len(waiting) > 0 {
			t.Fatalf("never taken: %+v", waiting)
		}
		got := Replay(g)
		got.Outcomes = nil
		if !reflect.DeepEqual(got, want) {
			t.Fatalf("got %+v\nwant %+v", got, want)
		}
	}
	if tried == 0 {
		t.Error("nothing was ever refused: the orders test too little")
	}
}

// An entry that is taken is never without effect, unless it says nothing new.
func TestWhatIsTakenCounts(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	kinds := []pour.EntryKind{pour.EntryPlaced, pour.EntryFinished, pour.EntryStripped, pour.EntryLost}
	for range 300 {
		g := given(40)
		for i := range 30 {
			e := entry(kinds[rng.IntN(len(kinds))], rng.Float64()*40, []string{"A", "B"}[rng.IntN(2)])
			e.ID = fmt.Sprintf("e%02d", i)
			before := Replay(g)
			a := Check(g, e)
			if len(a.Refused) > 0 {
				continue
			}
			if reflect.DeepEqual(before.Pads, a.State.Pads) && len(before.Counted) == len(a.State.Counted) {
				t.Fatalf("%+v was taken and changed nothing", e)
			}
			g.Log = append(g.Log, e)
		}
	}
}
