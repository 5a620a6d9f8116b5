package hourly

import (
	"context"
	"fmt"
	"math"
)

// Action is what to do with the pads not begun.
type Action uint8

// Wait is until the next hour; before the first pad it is a later start.
const (
	Stop Action = iota // nothing more today
	Wait
	Place
)

// Decision is what to do now.
type Decision struct {
	Do     Action
	Loss   float64 // expected, in days, to the end of the project
	Other  float64 // of the other of placing and waiting; +Inf where it can't be done
	Pads   float64 // expected to be placed from now on
	Lost   float64 // chance that the next pad is lost when it is placed now, stated from members that did not choose
	Marked float64 // chance that it must be inspected, likewise
	Work   int     // members weighed and days walked
}

// thresholds are the rules of the family: a pad is placed while its chance of
// being lost is below one, as known then. 0 places none: it stops.
var thresholds = [...]float64{0, 0.01, 0.02, 0.04, 0.07, 0.1, 0.15, 0.2, 0.3, 0.45, 1}

// Decide returns what to do now. Every second member chooses, the others give
// the chances stated; with fewer than fewMembers, all do both.
//
// Errors: fault.Invalid for a day that can't be decided on, naming what is
// wrong with it; the context's error when it ends first.
func Decide(ctx context.Context, d *Day) (Decision, error) {
	if err := d.check(); err != nil {
		return Decision{}, err
	}
	nothing := Decision{Do: Stop, Loss: d.Left[0][0], Other: math.Inf(1)}
	if len(d.Runs) == 0 {
		return nothing, nil
	}
	step := 2
	if len(d.Members) < fewMembers {
		step = 1
	}
	f := newForesight(d, 0, step)
	if err := ctx.Err(); err != nil {
		return Decision{}, fmt.Errorf("hourly: %w", err)
	}
	if f == nil {
		return nothing, nil
	}
	w := newWalk(f)
	now := best{loss: math.Inf(1)}
	var stated fate
	if len(d.Runs[0].Pads) > 0 && d.Runs[0].Begin <= d.Now {
		stated = d.stated(step)
		if stated.lost <= d.RainRisk && !d.Seen.Raining && !d.thunder(f) {
			now = w.least(true)
		}
	}
	later := w.least(false)
	x := Decision{Lost: stated.lost, Marked: stated.inspect, Work: f.work + w.steps}
	switch {
	case now.loss <= later.loss+same+d.Costs.LeastGain: // of equals the sooner
		x.Do, x.Loss, x.Other, x.Pads = Place, now.loss, later.loss, now.pads
	case later.pads > 0:
		x.Do, x.Loss, x.Other, x.Pads = Wait, later.loss, now.loss, later.pads
	default:
		x.Do, x.Loss, x.Other = Stop, later.loss, now.loss
	}
	return x, nil
}

// same is the difference of losses, in days, below which they are equal.
const same = 1e-9

// fewMembers is the number of members below which none is held back.
const fewMembers = 16

// stated returns what may become of the next pad placed now, from the members
// that don't choose.
func (d *Day) stated(step int) fate {
	var out fate
	sum := 0.0
	p := d.Runs[0].Pads[0]
	for i := step - 1; i < len(d.Members); i += step {
		m := &d.Members[i]
		x := d.fateOf(m.RainMM, p, d.Placed)
		out.lost += m.Weight * x.lost
		out.inspect += m.Weight * x.inspect
		sum += m.Weight
	}
	if !(sum > 0) {
		return fate{lost: 1} // nothing is known: never placed
	}
	return fate{lost: out.lost / sum, inspect: out.inspect / sum}
}

// fateOf returns what becomes of a pad in a member when it is placed as laid
// out, as the nth of the day. Rain and frost come to it independently.
func (d *Day) fateOf(rain []float64, p Placed, nth int) fate {
	x := d.fateIn(rain, p.Place, p.Set, nth < d.Covers.Pads)
	frost, work := p.Frost, 0.0
	if nth < d.Blankets.Pads {
		work = d.Blankets.MinutesPad / 60 * d.Costs.CoverHour
		if p.FrostBlanket*d.Costs.LostPad+work < frost*d.Costs.LostPad {
			frost = p.FrostBlanket
		} else {
			work = 0
		}
	}
	x.inspect *= 1 - frost
	x.lost = 1 - (1-x.lost)*(1-frost)
	x.work = work
	return x
}

// thunder reports whether most of the members' weight has thunder now: nobody
// works in it.
func (d *Day) thunder(f *foreseen) bool {
	p := 0.0
	for j, i := range f.who {
		if t := d.Members[i].Thunder; t != nil && t[f.first] {
			p += f.prior[j]
		}
	}
	return p > 0.5
}
