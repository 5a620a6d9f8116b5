package backtest

import (
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"slices"
	"strings"

	"dryslot/internal/measure/emulate"
)

// ofPolicy returns a policy's number, -1 for none.
func (o *Outcome) ofPolicy(name string) int { return slices.Index(o.Policies, name) }

// yardstick returns the non-stopping rule of least mean loss.
func (o *Outcome) yardstick() int {
	best := -1
	for p, name := range o.Policies {
		if strings.HasPrefix(name, "rule_") && !strings.HasSuffix(name, "_stopping") && (best < 0 || o.meanLoss(p) < o.meanLoss(best)) {
			best = p
		}
	}
	return best
}

func (o *Outcome) meanLoss(p int) float64 {
	sum := 0.0
	for i := range o.Cases {
		sum += o.Cases[i].Runs[p].Loss(o.LostPadDays)
	}
	return sum / float64(len(o.Cases))
}

// Regret returns a policy's mean loss above that of perfect foresight.
func (o *Outcome) Regret(p int) float64 {
	sum := 0.0
	for i := range o.Cases {
		sum += o.Cases[i].Runs[p].Loss(o.LostPadDays) - o.Cases[i].Best
	}
	return sum / float64(len(o.Cases))
}

// Ratio is the planner's regret over that of the best non-stopping rule, with
// a 90 % interval.
type Ratio struct {
	Value, Low, High float64
	Rule             string
}

// blockDays is the length of a bootstrap block.
const blockDays = 14

// RegretRatio compares the planner with the best rule. The interval comes from
// drawing blocks of 14 days of one station, neighbours taken as one, with
// replacement, and choosing the best rule anew in each draw.
func (o *Outcome) RegretRatio() Ratio {
	plan := o.ofPolicy("planner")
	rule := o.yardstick()
	r := Ratio{Value: o.Regret(plan) / o.Regret(rule), Rule: o.Policies[rule]}
	type block struct{ group, at int }
	sums := map[block][]float64{}
	var order []block
	for i := range o.Cases {
		c := &o.Cases[i]
		b := block{c.Group, c.DayOfYear / blockDays}
		v, ok := sums[b]
		if !ok {
			v = make([]float64, len(o.Policies))
			order = append(order, b)
		}
		for p, run := range c.Runs {
			v[p] += run.Loss(o.LostPadDays) - c.Best
		}
		sums[b] = v
	}
	const draws = 2000
	rnd := rand.New(rand.NewPCG(14, 90))
	ratios := make([]float64, draws)
	total := make([]float64, len(o.Policies))
	for k := range ratios {
		clear(total)
		for range order {
			for p, x := range sums[order[rnd.IntN(len(order))]] {
				total[p] += x
			}
		}
		least := math.Inf(1)
		for p, name := range o.Policies {
			if strings.HasPrefix(name, "rule_") && !strings.HasSuffix(name, "_stopping") {
				least = min(least, total[p])
			}
		}
		ratios[k] = total[plan] / least
	}
	slices.Sort(ratios)
	r.Low, r.High = ratios[draws/20], ratios[draws-1-draws/20]
	return r
}

// Honesty tells how far stated chances of pads chosen came true.
type Honesty struct {
	Pads     int
	Gap      float64 // weighted mean over bins of at least 200 pads
	Expected float64 // pads lost, as stated
	Lost     float64 // pads lost, had nobody stopped
	Bins     []HonestBin
}

// HonestBin is pads whose stated chances lie near each other.
type HonestBin struct {
	Pads             int
	Stated, Happened float64
}

// Honest compares a policy's stated chances with what happened. A pad that
// light rain would have spoilt with a chance counts by that chance.
func (o *Outcome) Honest(p int) Honesty {
	stated := slices.Clone(o.Tallies[p].Stated)
	slices.SortStableFunc(stated, func(a, b Stated) int {
		if a.Chance < b.Chance {
			return -1
		} else if a.Chance > b.Chance {
			return 1
		}
		return 0
	})
	h := Honesty{Pads: len(stated)}
	for _, x := range stated {
		h.Expected += 1 - x.Chance
		h.Lost += 1 - x.Unharmed
	}
	const least = 200
	bins := max(1, min(10, len(stated)/least))
	for b := range bins {
		part := stated[b*len(stated)/bins : (b+1)*len(stated)/bins]
		bin := HonestBin{Pads: len(part)}
		for _, x := range part {
			bin.Stated += x.Chance / float64(len(part))
			bin.Happened += x.Unharmed / float64(len(part))
		}
		h.Gap += math.Abs(bin.Stated-bin.Happened) * float64(len(part)) / float64(max(1, len(stated)))
		h.Bins = append(h.Bins, bin)
	}
	return h
}

// row is what one policy came to.
type row struct {
	days, nineInTen, lost, loss, regret float64
	unfinished                          int
}

func (o *Outcome) row(p int) row {
	var r row
	if len(o.Cases) == 0 {
		return r // a season too short for its stride
	}
	days := make([]float64, 0, len(o.Cases))
	n := float64(len(o.Cases))
	for i := range o.Cases {
		run := o.Cases[i].Runs[p]
		days = append(days, run.Days)
		r.days += run.Days / n
		r.lost += run.Lost / n
		if !run.Finished {
			r.unfinished++
		}
	}
	slices.Sort(days)
	r.nineInTen = days[(len(days)*9+9)/10-1]
	r.loss, r.regret = o.meanLoss(p), o.Regret(p)
	return r
}

// Print writes the outcome as a table. All of it is on emulated forecasts.
func (o *Outcome) Print(w io.Writer) error {
	var err error
	say := func(format string, args ...any) {
		if err == nil {
			_, err = fmt.Fprintf(w, format, args...)
		}
	}
	stations := map[string]bool{}
	var best row
	for i := range o.Cases {
		c := &o.Cases[i]
		stations[c.Station] = true
		best.days += c.BestDays / float64(len(o.Cases))
		best.lost += c.BestLost / float64(len(o.Cases))
		best.loss += c.Best / float64(len(o.Cases))
	}
	say("\n%s, %s (days %d to %d, every %d): %d stations, %d jobs, emulated forecasts\n", o.Region, o.Season.Name, o.Season.From, o.Season.To, max(1, o.Every), len(stations), len(o.Cases))
	for _, t := range o.Reached {
		say("  forecast skill %3.0f h ahead of noon: %.3f, wanted %.3f\n", t.LeadH, t.Skill, wanted(t.LeadH))
	}
	for _, note := range o.Notes {
		say("  note: %s\n", note)
	}
	say("  %-18s %8s %11s %10s %7s %7s %11s\n", "policy", "days", "nine in ten", "pads lost", "loss", "regret", "unfinished")
	say("  %-18s %8.3f %11s %10.3f %7.3f %7.3f\n", "perfect foresight", best.days, "", best.lost, best.loss, 0.0)
	for p, name := range o.Policies {
		r := o.row(p)
		say("  %-18s %8.3f %11.0f %10.3f %7.3f %7.3f %11d\n", name, r.days, r.nineInTen, r.lost, r.loss, r.regret, r.unfinished)
	}
	p := o.ofPolicy("planner")
	h := o.Honest(p)
	say("  planner, pads chosen at 05:00: %d; stated to be lost %.1f, lost had nobody stopped %.1f\n", h.Pads, h.Expected, h.Lost)
	for _, b := range h.Bins {
		say("    unharmed: stated %.4f, happened %.4f, %d pads\n", b.Stated, b.Happened, b.Pads)
	}
	t := &o.Tallies[p]
	say("  dawn decided otherwise than the evening on %d of %d mornings\n", t.Changed, t.Asked)
	for k := range o.Tallies {
		for i, f := range o.Tallies[k].Faults {
			if i < 10 {
				say("  FAULT %s: %s\n", o.Policies[k], f)
			}
		}
	}
	return err
}

func wanted(leadH float64) float64 {
	for _, t := range emulate.Targets {
		if t.LeadH == leadH {
			return t.Skill
		}
	}
	return math.NaN()
}

// Figures writes the figures as lines of name: value unit, the regret ratio
// last.
func (o *Outcome) Figures(w io.Writer) error {
	p, thirty := o.ofPolicy("planner"), o.ofPolicy("rule_30")
	h, r, pl, ru := o.Honest(p), o.RegretRatio(), o.row(p), o.row(thirty)
	faults, checked := 0, 0
	for k := range o.Tallies {
		faults += len(o.Tallies[k].Faults)
		checked += o.Tallies[k].Days
	}
	for _, x := range []struct {
		name  string
		value float64
		unit  string
	}{
		{"jobs", float64(len(o.Cases)), "count"},
		{"days_planner", pl.days, "days"}, {"days_rule_30", ru.days, "days"},
		{"lost_planner", pl.lost, "pads"}, {"lost_rule_30", ru.lost, "pads"},
		{"honest_gap", h.Gap, "ratio"}, {"lost_over_expected", h.Lost / h.Expected, "ratio"},
		{"pours_checked", float64(checked), "count"}, {"pours_at_fault", float64(faults), "count"},
		{"regret_ratio_low", r.Low, "ratio"}, {"regret_ratio_high", r.High, "ratio"},
	} {
		if _, err := fmt.Fprintf(w, "%s_%s: %.4g %s\n", x.name, o.Region, x.value, x.unit); err != nil {
			return err
		}
	}
	return nil
}
