package today

import (
	"slices"
	"testing"
	"time"

	"dryslot/internal/planner/hourly"
	"dryslot/internal/pour"
)

func threats(n Now, t Threat) (out []string) {
	for _, h := range n.Hazards {
		if h.Threat == t {
			out = append(out, h.Pads...)
		}
	}
	return out
}

// That a pad is ready sooner is measured by its window, as the crew was told of
// it, not by the crew's turn at it: that may come hours after.
func TestEarlierMeansAWindowThatOpensSooner(t *testing.T) {
	log := []pour.LogEntry{tap(pour.EntryPlaced, clock(8, 40), "H1")}
	told := func(opens time.Duration) Now {
		g := site()
		began := g.Steps[0].PlaceFrom
		g.Steps[0].FinishFrom, g.Steps[0].FinishUntil = began.Add(6*time.Hour), began.Add(7*time.Hour)
		g.Steps[0].Opens = began.Add(opens)
		return g.at(t, clock(9, 0), &canned{do: hourly.Place, pad: "H2"}, log...)
	}
	// slab opens two hours after its placing.
	if got := threats(told(2*time.Hour+10*time.Minute), Earlier); len(got) > 0 {
		t.Errorf("ten minutes sooner than told, the crew's turn hours after: %v", got)
	}
	if got := threats(told(2*time.Hour+30*time.Minute), Earlier); !slices.Equal(got, []string{"H1"}) {
		t.Errorf("half an hour sooner than told: %v", got)
	}
}

// A crew that has paused and was told when to begin again is not told to wait.
func TestAPauseThatWasToldIsNotAWait(t *testing.T) {
	g := site()
	for i := range g.Steps[1:] {
		g.Steps[1+i].PlaceFrom, g.Steps[1+i].PlaceUntil = clock(12, 50), clock(13, 30)
	}
	log := []pour.LogEntry{tap(pour.EntryPlaced, clock(8, 40), "H1")}
	d := &canned{do: hourly.Wait, pad: "H2", lost: 0.2}
	if n := g.at(t, clock(9, 10), d, log...); n.Advice.Do != Wait {
		t.Errorf("it has just placed one and may mix the next: %+v", n.Advice)
	}
	if n := g.at(t, clock(11, 40), d, log...); n.Advice.Do != None || n.Advice.Why.Code != NowBegins ||
		!n.Advice.Until.Equal(clock(12, 50)) {
		t.Errorf("it was told 12:50: %+v", n.Advice)
	}
	if n := g.at(t, clock(12, 40), d, log...); n.Advice.Do != Wait {
		t.Errorf("its hour has come: %+v", n.Advice)
	}
}
