package hourly

import (
	"math"

	"dryslot/internal/forecast/belief"
	"dryslot/internal/planner/harm"
)

// fate is what may become of a pad: chances, and what covering it costs, in days.
type fate struct{ lost, inspect, work float64 }

// fateIn returns what the rain of a member does to a pad that is soft from one
// minute to another. Each hour that is touched counts whole, the worst of them
// once. A pad that can be covered is covered before an hour of rain that the
// nowcast tells of the hour before, else in the rain; light or worse rain on it
// has it inspected.
func (d *Day) fateIn(rain []float64, from, set float64, covers bool) fate {
	worst, at := harm.Harmless, 0
	for k := int(math.Floor(from / 60)); float64(k) < set/60; k++ {
		c := harm.Heavy
		if k < len(rain) {
			c = d.Harm.Intensity(rain[k])
		}
		if c > worst {
			worst, at = c, k
		}
	}
	if worst == harm.Harmless {
		return fate{}
	}
	lost := d.Harm.Lost(worst, harm.Open)
	if covers {
		told := 0.0
		if at > 0 && at < len(rain) {
			told = d.Channel.Told(belief.NextHour, rain[at-1], rain[at], 0)
		}
		lost = told*d.Harm.Lost(worst, harm.CoveredInTime) + (1-told)*d.Harm.Lost(worst, harm.CoveredLate)
	}
	return fate{lost: lost, inspect: 1 - lost}
}
