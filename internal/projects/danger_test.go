package projects_test

import (
	"slices"
	"testing"
	"time"

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
