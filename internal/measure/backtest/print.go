package backtest

import (
	"fmt"
	"io"
)

// printer writes until something fails.
type printer struct {
	w   io.Writer
	err error
}

func (p *printer) say(format string, args ...any) {
	if p.err == nil {
		_, p.err = fmt.Fprintf(p.w, format, args...)
	}
}

// usable leaves out regions without a job: a season too short for its stride.
func usable(outs []*Outcome) []*Outcome {
	var out []*Outcome
	for _, o := range outs {
		if len(o.Cases) > 0 {
			out = append(out, o)
		}
	}
	return out
}

// Print writes one table's outcomes: the means over regions, then each region.
// All of it is on emulated forecasts.
func Print(w io.Writer, outs []*Outcome) error {
	p := &printer{w: w}
	outs = usable(outs)
	if len(outs) == 0 {
		return nil
	}
	jobs, trials := 0, 0
	for _, o := range outs {
		jobs += len(o.Cases)
		trials += len(o.Trials)
	}
	t := outs[0].Table
	p.say(
		"\n%s (%s): %d regions, %d jobs, emulated forecasts; means over regions; rules chosen on %d jobs\n",
		t.Name,
		t.Season.Name,
		len(outs),
		jobs,
		trials,
	)
	p.rows(outs)
	for _, o := range outs {
		p.say("\n%s, %s: %d jobs\n", t.Name, o.Region, len(o.Cases))
		p.rows([]*Outcome{o})
	}
	for _, o := range outs {
		faults, pours := 0, 0
		for k := range o.Tallies {
			pours += o.Tallies[k].Days
			for _, f := range o.Tallies[k].Faults {
				if faults++; faults <= 3 {
					p.say("  fault: %s: %s\n", o.Policies[k], f)
				}
			}
		}
		p.say("  %s: %d pours checked, %d faults\n", o.Region, pours, faults)
	}
	return p.err
}

func (p *printer) rows(outs []*Outcome) {
	p.say(
		"  %-32s %6s %5s %6s %7s %6s %6s %5s %6s %6s %6s %6s\n",
		"policy",
		"days",
		"0.9",
		"lost",
		"inspect",
		"waited",
		"covers",
		"idle",
		"loss",
		"regret",
		"plain",
		"given",
	)
	foresight := func(c *Case) *Run {
		return &Run{Days: c.Best.days, Lost: c.Best.lost, Inspect: c.Best.inspect, Waited: c.Best.waited}
	}
	p.row("perfect foresight", outs, foresight)
	old := best(outs, isOld, -1)
	p.row(old, outs, named(outs, old))
	if len(outs) > 1 {
		equal, names := chosen(outs)
		p.row("equal: "+names[0]+", "+names[1], outs, equal)
	}
	hindsight := best(outs, isEqual, -1)
	p.row("equal, best in hindsight: "+hindsight, outs, named(outs, hindsight))
	for _, name := range []string{"planner", "planner_first_day", "planner_plan"} {
		if outs[0].index(name) >= 0 {
			p.row(name, outs, named(outs, name))
		}
	}
}

func (p *printer) row(name string, outs []*Outcome, of decider) {
	r := rowOf(outs, of)
	p.say(
		"  %-32s %6.2f %5.1f %6.3f %7.3f %6.2f %6.2f %5.2f %6.3f %6.3f %6.3f %6.3f\n",
		name,
		r.days,
		r.nine,
		r.lost,
		r.inspect,
		r.waited,
		r.covers,
		r.idle,
		r.loss,
		r.regret,
		r.plain,
		r.given,
	)
}

// Figures writes the figures as lines of name: value unit: for each region, then
// the means over regions, the most important last. tables are the outcomes by
// table and region.
func Figures(w io.Writer, tables [][]*Outcome) error {
	p := &printer{w: w}
	if len(tables) == 0 {
		return nil
	}
	for i := range tables[0] {
		var one [][]*Outcome
		for _, outs := range tables {
			if outs = usable(outs[i : i+1]); len(outs) > 0 {
				one = append(one, outs)
			}
		}
		p.figures(one, tables, "_"+tables[0][i].Region)
	}
	var all [][]*Outcome
	for _, outs := range tables {
		if outs = usable(outs); len(outs) > 0 {
			all = append(all, outs)
		}
	}
	p.figures(all, tables, "")
	return p.err
}

// suffix is what a table's figures are called beside those of the main one.
func (t Table) suffix() string {
	if t.Name == "main" {
		return ""
	}
	return "_" + t.Name
}

// figures writes those of some regions. Rules are chosen over all of them.
func (p *printer) figures(outs, all [][]*Outcome, behind string) {
	for k := len(outs) - 1; k >= 0; k-- {
		o := outs[k]
		t := o[0].Table
		var whole []*Outcome
		for _, x := range all {
			if x[0].Table.Name == t.Name {
				whole = usable(x)
			}
		}
		c, name := o[0].Costs, t.suffix()
		equal, _ := chosen(whole)
		old, plan := named(whole, best(whole, isOld, -1)), named(whole, "planner")
		say := func(what, unit string, x Interval) {
			p.say(
				"%s%s_low%s: %.4g %s\n%s%s_high%s: %.4g %s\n",
				what,
				name,
				behind,
				x.Low,
				unit,
				what,
				name,
				behind,
				x.High,
				unit,
			)
			p.say("%s%s%s: %.4g %s\n", what, name, behind, x.Value, unit)
		}
		regret := func(what string, q decider) { say("regret_"+what, "days", interval(o, c.regret(q))) }
		p.say("jobs%s%s: %d count\n", name, behind, cases(o))
		say(
			"planner_less_equal_rule",
			"days",
			interval(o, func(x *Case) float64 { return c.regret(plan)(x) - c.regret(equal)(x) }),
		)
		say("lost_old_rule", "pads", interval(o, func(x *Case) float64 { return old(x).Lost }))
		say("lost_planner", "pads", interval(o, func(x *Case) float64 { return plan(x).Lost }))
		say("inspect_planner", "pads", interval(o, func(x *Case) float64 { return plan(x).Inspect }))
		say("waited_planner", "hours", interval(o, func(x *Case) float64 { return plan(x).Waited }))
		h := honest(o, "planner")
		p.say("honest_gap%s%s: %.4g ratio\n", name, behind, h.Gap)
		say("lost_over_stated", "ratio", h.Ratio)
		if t.FirstDay {
			say("lost_over_stated_first_day", "ratio", honest(o, "planner_first_day").Ratio)
			regret("planner_first_day", named(whole, "planner_first_day"))
			say("lost_over_stated_plan", "ratio", honest(o, "planner_plan").Ratio)
			regret("planner_plan", named(whole, "planner_plan"))
		}
		regret("old_rule", old)
		regret("equal_rule", equal)
		regret("planner", plan)
	}
}

func cases(outs []*Outcome) (n int) {
	for _, o := range outs {
		n += len(o.Cases)
	}
	return n
}
