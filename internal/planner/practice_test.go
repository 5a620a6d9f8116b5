package planner

import (
	"math"
	"testing"
)

// Common practice, no source: a lone builder with a small mixer places and
// finishes about six pads of roughly 46 in square and 2 in thick in one long
// warm day, and comes back to finish a pad about an hour after placing it on a
// warm morning.
func TestALongWarmDayOfALoneBuilder(t *testing.T) {
	spec := gridJob(2, 8, 1.168, 1.168, 0.0508, false, 1, 0, 0)
	for _, c := range []struct {
		mean     float64 // C, of the day
		low, top int
	}{{20, 5, 8}, {24, 5, 8}, {28, 5, 7}} {
		wx := weather(14, 8, 1, func(_, h int) float64 { return c.mean - 6*math.Cos(float64(h%24-3)/24*2*math.Pi) }, dry)
		job := jobFor(spec, wx, 3)
		slabs, err := NewSlabs(spec, wx, SlabOptions{Zone: zone})
		if err != nil {
			t.Fatal(err)
		}
		job.Slabs = slabs
		m := mustMake(t, job).Mornings[0]
		if n := len(m.Pads); n < c.low || n > c.top {
			t.Errorf("mean of %.0f C: %d pads in the day, want %d to %d", c.mean, n, c.low, c.top)
		}
		if c.mean != 24 {
			continue
		}
		for i, p := range m.Pads[:3] { // of the morning
			if wait := p.FinishFrom.Sub(p.PlaceEnd).Minutes(); wait < 30 || wait > 105 {
				t.Errorf("pad %d can be finished from %.0f min after placing, want about an hour", i+1, wait)
			}
		}
	}
}
