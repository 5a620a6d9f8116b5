package backtest

import (
	"math"
	"math/rand/v2"
	"testing"
)

// A rule is chosen on one fold and scored on the other.
func TestTheEqualPowerRuleIsChosenOnOtherBlocks(t *testing.T) {
	o := &Outcome{
		Region:   "made",
		Costs:    costs{3, 0.5, 0.1},
		Policies: []string{"old_30", "dawn_10_wait", "dawn_20_wait", "planner"},
	}
	for i := range 200 {
		fold := i % 2
		c := Case{
			Block: block{i % 5, 2013, i / 28},
			Fold:  fold,
			Best:  answer{days: 2},
			Runs:  []Run{{Days: 6}, {Days: 3}, {Days: 4}, {Days: 2.5}},
		}
		if fold == 1 {
			c.Runs[1].Days, c.Runs[2].Days = 4, 3
		}
		o.Cases = append(o.Cases, c)
		var losses []float64
		for _, r := range c.Runs {
			losses = append(losses, r.Days)
		}
		o.Trials = append(o.Trials, Trial{fold, losses})
	}
	outs := []*Outcome{o}
	equal, names := chosen(outs)
	if names != [2]string{"dawn_20_wait", "dawn_10_wait"} {
		t.Errorf("chosen %v: each fold's rule has to be best on the other", names)
	}
	if got := mean(outs, o.Costs.regret(equal), nil); math.Abs(got-2) > 1e-12 {
		t.Errorf("regret %.3f, want 2: the rule never saw what it is scored on", got)
	}
	x := interval(outs, o.Costs.regret(named(outs, "planner")))
	if math.Abs(x.Value-0.5) > 1e-9 || math.Abs(x.Low-0.5) > 1e-9 || math.Abs(x.High-0.5) > 1e-9 {
		t.Errorf("%+v, want one half whatever is drawn", x)
	}
	o.Cases[0].Runs[3].Lost = 30
	if x = interval(outs, o.Costs.regret(named(outs, "planner"))); !(x.Low < x.Value && x.Value < x.High &&
		x.Value > 0.5) {
		t.Errorf("one bad job gives %+v", x)
	}
}

// Every region counts the same, however many jobs it has.
func TestRegionsCountTheSame(t *testing.T) {
	made := func(n int, days float64) *Outcome {
		o := &Outcome{Costs: costs{3, 0.5, 0.1}, Policies: []string{"planner"}}
		for i := range n {
			o.Cases = append(o.Cases, Case{Block: block{0, 2013, i}, Best: answer{days: 1}, Runs: []Run{{Days: days}}})
		}
		return o
	}
	outs := []*Outcome{made(100, 2), made(10, 4)}
	x := interval(outs, outs[0].Costs.regret(named(outs, "planner")))
	if got := mean(outs, outs[0].Costs.regret(named(outs, "planner")), nil); got != 2 || x.Value != 2 {
		t.Errorf("mean regret %v and %+v, want 2", got, x)
	}
}

func TestHonesty(t *testing.T) {
	rnd := rand.New(rand.NewPCG(3, 5))
	o := &Outcome{Policies: []string{"good", "bad"}, Tallies: make([]Tally, 2)}
	for i := range 4000 {
		p := 0.1 * rnd.Float64()
		was := 0.0
		if rnd.Float64() < p {
			was = 1
		}
		b := block{0, 2013, i / 20}
		o.Tallies[0].Stated = append(o.Tallies[0].Stated, Stated{b, p, was})
		o.Tallies[1].Stated = append(o.Tallies[1].Stated, Stated{b, p / 2, was})
	}
	outs := []*Outcome{o}
	if h := honest(outs, "good"); h.Gap > 0.02 || !(h.Ratio.Low < 1 && h.Ratio.High > 1) || h.Pads != 4000 {
		t.Errorf("honest chances: %+v", h)
	}
	if h := honest(outs, "bad"); h.Gap < 0.02 || h.Ratio.Low < 1.4 {
		t.Errorf("chances stated too low: %+v", h)
	}
}
