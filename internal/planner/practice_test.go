package planner

import (
	"math"
	"testing"

	"dryslot/internal/planner/jobtest"
	"dryslot/internal/planner/slabs"
)

// Common practice, no source: a lone builder with a small mixer places and
// finishes about six pads of roughly 46 in square and 2 in thick in one long
// warm day. Finishing begins as the American Society of Concrete Contractors'
// position statement 15 has it: 2 3/4 h from placing at 21 C, 1 3/4 h at 32 C,
// less the hour that placing takes.
func TestALongWarmDayOfALoneBuilder(t *testing.T) {
	spec := jobtest.GridJob(2, 8, 1.168, 1.168, 0.0508, false, 1, 0, 0)
	for _, c := range []struct {
		mean     float64 // C, of the day
		low, top int
	}{{20, 5, 9}, {24, 5, 9}, {28, 5, 8}} {
		wx := jobtest.Weather(14, 8, 1, func(_,
			h int) float64 {
			return c.mean - 6*math.Cos(float64(h%24-3)/24*2*math.Pi)
		}, jobtest.Dry)
		job := jobtest.JobFor(spec, wx, 3)
		slabs, err := slabs.New(spec, wx, slabs.Options{Zone: jobtest.Zone})
		if err != nil {
			t.Fatal(err)
		}
		job.Slabs = slabs
		m := mustMake(t, job).Mornings[0]
		if n := m.PadsPossible; n < c.low || n > c.top {
			t.Errorf("mean of %.0f C: %d pads in the day, want %d to %d", c.mean, n, c.low, c.top)
		}
		if c.mean != 24 {
			continue
		}
		for i, p := range m.Pads[:3] { // of the morning
			if wait := p.FinishFrom.Sub(p.PlaceEnd).Minutes(); wait < 60 || wait > 165 {
				t.Errorf("pad %d can be finished from %.0f min after placing, want one to nearly three hours", i+1,
					wait)
			}
		}
	}
}
