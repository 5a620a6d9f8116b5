package hourly

import (
	"context"
	"fmt"
	"math"
	"slices"

	"dryslot/internal/forecast/belief"
	"dryslot/internal/planner/harm"
)

// CoverNow says what covering one soft pad now is worth.
type CoverNow struct {
	Pad          int     // of Day.Soft
	Cover        bool    // now; else look again at the next hour
	Gain         float64 // days that covering now saves over leaving it until the next hour
	Lost, Spared float64 // chance that it is lost when it is left for now, and how much of that covering now takes away
}

// Cover returns, for each soft pad that lies open, whether to cover it now or to
// look again at the next hour, when it is covered if rain is told of for the
// hour after, or in the rain if it comes untold; rain of the present hour finds
// open what is left. With fewer covers than pads
// those that gain most are covered.
//
// Errors are those of Decide.
func Cover(ctx context.Context, d *Day) ([]CoverNow, error) {
	if err := d.check(); err != nil {
		return nil, err
	}
	if err := ctx.Err(); err != nil {
		return nil, fmt.Errorf("hourly: %w", err)
	}
	free := d.Covers.Pads
	var out []CoverNow
	for i, p := range d.Soft {
		if p.Covered {
			free--
			continue
		}
		out = append(out, d.coverOne(i, p.Set))
	}
	slices.SortStableFunc(out, func(a, b CoverNow) int {
		switch {
		case a.Gain > b.Gain:
			return -1
		case a.Gain < b.Gain:
			return 1
		}
		return 0
	})
	for i := range out {
		out[i].Cover = i < free && out[i].Gain > 0
	}
	return out, nil
}

func (d *Day) coverOne(pad int, set float64) CoverNow {
	c := &d.Costs
	work := d.Covers.MinutesPad / 60 * c.CoverHour
	x := CoverNow{Pad: pad}
	var leave, now, lostNow float64
	for i := range d.Members {
		m := &d.Members[i]
		worst, first := d.rainOn(m.RainMM, set)
		lost, lostCovered, marked := 0.0, 0.0, harm.MarkedByCover
		later := 0.0 // work and marks of covering at a later hour
		if worst != harm.Harmless {
			lost = d.coveredLater(m.RainMM, worst, first)
			lostCovered = d.Harm.Lost(worst, harm.CoveredInTime)
			if d.Seen.Raining {
				lostCovered = d.Harm.Lost(worst, harm.CoveredLate)
			}
			marked = 1
			later = work + c.InspectPad*(1-lost)
		}
		leave += m.Weight * (c.LostPad*lost + later)
		now += m.Weight * (c.LostPad*lostCovered + work + c.InspectPad*(1-lostCovered)*marked)
		x.Lost += m.Weight * lost
		lostNow += m.Weight * lostCovered
	}
	x.Gain, x.Spared = leave-now, x.Lost-lostNow
	return x
}

// rainOn returns the worst class of rain on a pad that is soft until a minute,
// and the first hour of any. Where it rains, the present hour has light rain or
// what the member says.
func (d *Day) rainOn(rain []float64, set float64) (worst harm.Intensity, first int) {
	worst, first = harm.Harmless, -1
	for h := int(d.Now / 60); float64(h) < set/60; h++ {
		c := d.classAt(rain, h)
		if c != harm.Harmless && first < 0 {
			first = h
		}
		worst = max(worst, c)
	}
	return worst, first
}

func (d *Day) classAt(rain []float64, h int) harm.Intensity {
	c := harm.Heavy
	if h < len(rain) {
		c = d.Harm.Intensity(rain[h])
	}
	if h == int(d.Now/60) && d.Seen.Raining {
		c = max(c, harm.Light)
	}
	return c
}

// coveredLater returns the chance that a pad left for now is lost. Rain of the
// present hour finds it open; before later rain it is covered if the nowcast
// tells of it the hour before, else in the rain.
func (d *Day) coveredLater(rain []float64, worst harm.Intensity, first int) float64 {
	now := int(d.Now / 60)
	if first == now {
		return max(d.Harm.Lost(d.classAt(rain, now), harm.Open), d.Harm.Lost(worst, harm.CoveredLate))
	}
	told := 0.0
	if first < len(rain) {
		told = d.Channel.Told(belief.NextHour, rain[first-1], rain[first], math.NaN())
	}
	return told*d.Harm.Lost(worst, harm.CoveredInTime) + (1-told)*d.Harm.Lost(worst, harm.CoveredLate)
}
