package projects_test

import (
	"slices"
	"testing"
	"time"

	"dryslot/internal/forecast"
	"dryslot/internal/forecast/skytest"
	"dryslot/internal/history"
	"dryslot/internal/pour"
	"dryslot/internal/today"
)

// In dry heat and wind a pad that lies open is told of, and one under plastic is not:
// of that the gusts are.
func TestDryingAndGustsAreTold(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.planned()
	w.feed.Air = func(time.Time) float64 { return 34 }
	w.feed.Damp, w.feed.Wind = 15, 8
	w.feed.Gust = func(time.Time) float64 { return 15 }
	p := w.project()
	w.at(10, 7, 0)
	w.weather(p)
	w.record(p, pour.LogEntry{Kind: pour.EntryPlaced, Pads: []string{"A"}, At: w.clock()})
	told := func(threat today.Threat) (pads []string) {
		for _, h := range w.today(p).Hazards {
			if h.Threat == threat {
				pads = append(pads, h.Pads...)
			}
		}
		return pads
	}
	if got := told(today.Drying); !slices.Equal(got, []string{"A"}) {
		t.Errorf("drying: %v", got)
	}
	if got := told(today.Gusts); len(got) > 0 {
		t.Errorf("no sheet lies, and gusts are told of: %v", got)
	}
	w.record(p, pour.LogEntry{Kind: pour.EntryCovered, Cover: "plastic", Pads: []string{"A"}, At: w.clock()})
	if got := told(today.Drying); len(got) > 0 {
		t.Errorf("drying under plastic: %v", got)
	}
	if got := told(today.Gusts); !slices.Equal(got, []string{"A"}) {
		t.Errorf("gusts: %v", got)
	}
}

// Nobody taps, and before the second pad the nowcast tells of heavy rain: while the
// crew is told to wait or to stop, that pad is not taken to be placed as planned.
func TestWhoIsToldToWaitIsNotTakenToHaveBegun(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.planned()
	w.feed.Chance = 0.3
	p := w.project()
	w.at(10, 0, 10)
	w.weather(p)
	second := places(w.today(p))[1]
	w.feed.Nowcast(func(now time.Time) (forecast.ShortRange, error) {
		return skytest.Quarters("sky", now, now.Truncate(15*time.Minute), 48, func(time.Time) float64 { return 8 }), nil
	})
	w.later(second.From.Add(-20 * time.Minute).Sub(w.clock()))
	w.weather(p)
	w.look(p)
	if n := w.refreshShort(); n != 1 {
		t.Fatalf("%d cells are due", n)
	}
	waited := false
	for w.clock().Before(second.Until.Add(time.Hour)) {
		w.look(p)
		n := w.today(p)
		if n.Advice.Do == today.GoOn || n.Pads[1].PlacedAt != nil || n.Pads[1].Phase == history.Placing {
			t.Fatalf("%s: heavy rain is coming: %+v, and the next pad: %+v", w.clock(), n.Advice, n.Pads[1])
		}
		waited = waited || n.Advice.Do == today.Wait || n.Advice.Do == today.Stop
		if n.Advice.Do == today.Cover {
			w.record(p, pour.LogEntry{Kind: pour.EntryCovered, At: w.clock()})
		}
		w.later(15 * time.Minute)
		w.refreshShort()
	}
	if !waited {
		t.Error("the crew was never told to wait")
	}
}
