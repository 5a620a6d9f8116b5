package hourly

import (
	"context"
	"fmt"
	"slices"

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
// look again at the next hour, when it is covered if the nowcast shows rain in the
// hour after; rain that the nowcast missed has it covered once it begins. Where it rains
// already, the present hour finds open what is left. With fewer covers than pads
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
	x := CoverNow{Pad: pad}
	var leave, now, lostNow float64
	for i := range d.Members {
		m := &d.Members[i]
		left, covered := d.leftOpen(m.RainMM, set), d.coveredNow(m.RainMM, set)
		leave += m.Weight * (c.LostPad*left.lost + c.InspectPad*left.inspect + left.work)
		now += m.Weight * (c.LostPad*covered.lost + c.InspectPad*covered.inspect + covered.work)
		x.Lost += m.Weight * left.lost
		lostNow += m.Weight * covered.lost
	}
	x.Gain, x.Spared = leave-now, x.Lost-lostNow
	return x
}

// leftOpen returns what becomes of a pad that is left until the next hour. Where it
// rains already, the present hour's rain finds it open.
func (d *Day) leftOpen(rain []float64, set float64) fate {
	now := int(d.Now / 60)
	if !d.Seen.Raining {
		return d.underCover(rain, now, set)
	}
	lost := max(d.Harm.Lost(d.raining(rain, now), harm.Open), d.laterLost(rain, now+1, set))
	return fate{lost: lost, inspect: 1 - lost, work: d.Covers.MinutesPad / 60 * d.Costs.CoverHour}
}

// coveredNow returns what becomes of a pad that is covered now.
func (d *Day) coveredNow(rain []float64, set float64) fate {
	now := int(d.Now / 60)
	out := fate{work: d.Covers.MinutesPad / 60 * d.Costs.CoverHour}
	if d.Seen.Raining {
		out.lost = max(d.Harm.Lost(d.raining(rain, now), harm.CoveredLate), d.laterLost(rain, now+1, set))
		out.inspect = 1 - out.lost
		return out
	}
	wet := false
	for h := now; float64(h) < set/60; h++ {
		wet = wet || d.classIn(rain, h) != harm.Harmless
	}
	out.lost, out.inspect = d.laterLost(rain, now, set), harm.MarkedByCover
	if wet {
		out.inspect = 1 - out.lost
	}
	return out
}

// laterLost returns the chance that a covered pad is lost in the hours from one on.
func (d *Day) laterLost(rain []float64, from int, set float64) float64 {
	lost := 0.0
	for h := from; float64(h) < set/60; h++ {
		lost = max(lost, d.Harm.Lost(d.classIn(rain, h), harm.CoveredInTime))
	}
	return lost
}

// raining returns the class of the present hour where it rains: light, or what a
// member says.
func (d *Day) raining(rain []float64, now int) harm.Intensity {
	return max(d.classIn(rain, now), harm.Light)
}
