package hourly

import (
	"context"
	"fmt"
	"math"
)

// Outlook is what a crew is expected to make of a day on which it decides from
// hour to hour.
type Outlook struct {
	Loss    float64   // in days, to the end of the project, as it was chosen by
	AtLeast []float64 // the chance that so many pads or more are placed, from one on
	Lost    float64   // pads expected to be lost
	// Going is, by hour from the present one, the chance that placing goes on then,
	// as far as rain and thunder let it; NaN where no pad could be begun.
	Going []float64
}

// Foresee returns the outlook of a day by the best of the rules that keep to the
// risk limit. Every second member chooses the rule, the others state the outlook;
// with fewer than fewMembers, all do both. A day without runs or without weight
// has none: it is then zero.
//
// Errors are those of Decide.
func Foresee(ctx context.Context, d *Day) (Outlook, error) {
	if err := d.check(); err != nil {
		return Outlook{}, err
	}
	step := 2
	if len(d.Members) < fewMembers {
		step = 1
	}
	if len(d.Runs) == 0 {
		return Outlook{}, nil
	}
	choosing, stating := newForesight(d, 0, step), newForesight(d, step-1, step)
	if err := ctx.Err(); err != nil {
		return Outlook{}, fmt.Errorf("hourly: %w", err)
	}
	if choosing == nil || stating == nil {
		return Outlook{}, nil
	}
	w := newWalk(choosing)
	w.ruled = true
	rule, chosen := 0.0, best{loss: math.Inf(1)}
	for _, t := range thresholds {
		if t > d.RainRisk+same {
			break
		}
		var b best
		for m, q := range choosing.prior {
			loss, pads := w.follow(m, false, t)
			b.loss += q * loss
			b.pads += q * float64(pads)
		}
		// As in Decide, placing less must gain something.
		spare := d.Costs.LeastGain
		if b.pads <= chosen.pads+same {
			spare = 0
		}
		if b.loss < chosen.loss+spare {
			rule, chosen = t, b
		}
	}
	out := newWalk(stating).outlook(rule)
	out.Loss = chosen.loss
	return out, nil
}

// outlook states what comes of a rule.
func (w *walk) outlook(rule float64) Outlook {
	w.ruled = true
	f := w.f
	out := Outlook{AtLeast: make([]float64, f.day.pads()), Going: make([]float64, f.hours)}
	for m, q := range f.prior {
		t := w.through(m, false, rule)
		out.Lost += q * t.lost
		for k := range t.placed {
			out.AtLeast[k] += q
		}
		for h := range out.Going {
			if f.risk[m*f.hours+h] < rule && !w.thunder(m, h) {
				out.Going[h] += q
			}
		}
	}
	for h := range out.Going {
		if !w.begins(h) {
			out.Going[h] = math.NaN()
		}
	}
	return out
}

// begins reports whether a pad could be begun in an hour, whatever the weather.
func (w *walk) begins(h int) bool {
	for _, r := range w.f.day.Runs {
		if int(r.Begin/60)-w.f.first == h {
			return len(r.Pads) > 0
		}
	}
	return false
}
