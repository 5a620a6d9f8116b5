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
// once; any rain on it has the pad inspected.
func (d *Day) fateIn(rain []float64, from, set float64, covers bool) fate {
	if covers {
		return d.underCover(rain, int(math.Floor(from/60)), set)
	}
	worst := harm.Harmless
	for k := int(math.Floor(from / 60)); float64(k) < set/60; k++ {
		worst = max(worst, d.classIn(rain, k))
	}
	if worst == harm.Harmless {
		return fate{}
	}
	lost := d.Harm.Lost(worst, harm.Open)
	return fate{lost: lost, inspect: 1 - lost}
}

// caught is how often a pad is under its cover before the hour ends in which rain
// begins untold (judgement): rain begins at any minute, half a pad's placing goes by
// before hands are free, and some pads are covered before it.
const caught = 0.6

// underCover returns what becomes of a pad that lies open in an hour, is soft
// until a minute and is covered as soon as the nowcast shows rain in the next
// hour, else when rain begins; the cover stays on. Rain that the nowcast shows and that
// does not come has it covered for nothing.
func (d *Day) underCover(rain []float64, first int, set float64) fate {
	laid, lost, wet := 0.0, 0.0, false // laid: chance that it is covered before any rain
	for k := first; float64(k) < set/60; k++ {
		told := 0.0
		if k > first && k < len(rain) {
			told = d.Channel.Told(belief.NextHour, rain[k-1], rain[k], hourOf(rain, k+1))
		}
		if !wet {
			laid += (1 - laid) * told
		}
		switch c := d.classIn(rain, k); {
		case c == harm.Harmless:
		case wet:
			lost = max(lost, d.Harm.Lost(c, harm.CoveredInTime))
		default:
			wet = true
			untold := caught*d.Harm.Lost(c, harm.CoveredLate) + (1-caught)*d.Harm.Lost(c, harm.Open)
			lost = laid*d.Harm.Lost(c, harm.CoveredInTime) + (1-laid)*untold
		}
	}
	work := d.Covers.MinutesPad / 60 * d.Costs.CoverHour
	if wet {
		return fate{lost: lost, inspect: 1 - lost, work: work}
	}
	return fate{inspect: laid * harm.MarkedByCover, work: laid * work}
}

// classIn returns the class of an hour's rain; an hour beyond what is known counts
// as rain that spoils.
func (d *Day) classIn(rain []float64, hour int) harm.Intensity {
	if hour >= len(rain) {
		return harm.Heavy
	}
	return d.Harm.Intensity(rain[hour])
}

// hourOf returns the rain of an hour, 0 beyond what is known.
func hourOf(rain []float64, hour int) float64 {
	if hour < 0 || hour >= len(rain) {
		return 0
	}
	return rain[hour]
}
