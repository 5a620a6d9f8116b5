package hourly

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"dryslot/internal/fault"
	"dryslot/internal/forecast/belief"
	"dryslot/internal/planner/harm"
)

func channel() *belief.Channel {
	c := belief.Stated().NewChannel(belief.Frequencies{Wet: 0.08, Onset: 0.4, Beside: 0.06})
	return &c
}

// day returns a day of members with random rain: pads take 40 minutes each and
// stay soft for three hours; each run holds as many as fit before the last hour.
func day(rnd *rand.Rand, members, pads, runs int) *Day {
	const first, soft, pace = 8, 180.0, 40.0
	hours := first + runs + 5
	d := &Day{
		Now:      first * 60,
		Seen:     belief.Seen{Hour: first},
		Channel:  channel(),
		Harm:     harm.Soft(harm.Rain(nil), false),
		RainRisk: 1,
		Costs:    Costs{LostPad: 3, InspectPad: 0.5, WaitedHour: 0.1, CoverHour: 0.05},
	}
	for range members {
		m := Member{Weight: 1 / float64(members), RainMM: make([]float64, hours)}
		wet := false
		for h := range m.RainMM {
			wet = rnd.Float64() < 0.15 || wet && rnd.Float64() < 0.6
			if wet && h != first {
				m.RainMM[h] = 6 * rnd.Float64()
			}
		}
		d.Members = append(d.Members, m)
	}
	for r := range runs {
		begin := float64(first+r) * 60
		run := Run{Begin: begin}
		for k := range pads {
			at := begin + float64(k)*pace
			if at+pace > float64(first+runs)*60 {
				break
			}
			run.Pads = append(run.Pads, Placed{Place: at, Finish: at + soft, Set: at + soft})
		}
		d.Runs = append(d.Runs, run)
	}
	left := make([]float64, pads+1)
	for k := range left {
		left[k] = 2 * math.Ceil(float64(pads-k)/2)
	}
	d.Left = [][]float64{left}
	return d
}

func decided(t *testing.T, d *Day) Decision {
	t.Helper()
	x, err := Decide(context.Background(), d)
	if err != nil {
		t.Fatal(err)
	}
	return x
}

// TestFewMembersAreDecidedExactly holds the decision against the least loss
// over every policy: a policy is what to do at each point that can be told
// from the others by what is known.
func TestFewMembersAreDecidedExactly(t *testing.T) {
	rnd := rand.New(rand.NewPCG(3, 5))
	places := 0
	for i := range 300 {
		d := day(rnd, 2+rnd.IntN(3), 1+rnd.IntN(2), 2+rnd.IntN(2))
		sum := 0.0
		for m := range d.Members {
			d.Members[m].Weight = rnd.Float64()
			sum += d.Members[m].Weight
		}
		for m := range d.Members {
			d.Members[m].Weight /= sum
		}
		got := decided(t, d)
		f := newForesight(d, 0, 1)
		place := (&everyPolicy{w: newWalk(f)}).least(true)
		wait := (&everyPolicy{w: newWalk(f)}).least(false)
		want := min(place, wait)
		if math.Abs(got.Loss-want) > 1e-9 {
			t.Fatalf("case %d: loss %.12f, over every policy %.12f", i, got.Loss, want)
		}
		if (got.Do == Place) != (place <= wait+1e-9) {
			t.Fatalf("case %d: decided %d; placing loses %g, waiting %g", i, got.Do, place, wait)
		}
		if got.Do == Place {
			places++
		}
	}
	if places < 30 || places > 290 {
		t.Errorf("%d of 300 cases place: too much of a kind", places)
	}
}

// everyPolicy enumerates policies as tables from what is known to an action:
// whenever a walk meets a point that the table lacks, both actions are tried.
type everyPolicy struct {
	w     *walk
	place bool // the first action
	table map[string]bool
}

func (e *everyPolicy) least(place bool) float64 {
	e.place, e.table = place, map[string]bool{}
	return e.complete()
}

func (e *everyPolicy) complete() float64 {
	total := 0.0
	for m, q := range e.w.f.prior {
		loss, open := e.follow(m)
		if open != "" {
			e.table[open] = true
			a := e.complete()
			e.table[open] = false
			b := e.complete()
			delete(e.table, open)
			return min(a, b)
		}
		total += q * loss
	}
	return total
}

// follow walks a member's day by the table; open names a point it lacks.
func (e *everyPolicy) follow(m int) (loss float64, open string) {
	f, d := e.w.f, e.w.f.day
	var c tally
	run, in, pending := 0, 0, 0
	history := ""
	for step := 0; ; step++ {
		if run < 0 || in >= len(d.Runs[run].Pads) || c.placed >= len(d.Left[0])-1 {
			return d.loss(c), ""
		}
		p := d.Runs[run].Pads[in]
		h := int(p.Place/60) - f.first
		if h >= f.hours && step > 0 {
			return d.loss(c), ""
		}
		do := e.place
		if step > 0 {
			history += fmt.Sprintf(" %d:%d", h, f.keys[m*f.hours+h])
			at := fmt.Sprintf("%s run %d pad %d placed %d", history, run, in, c.placed)
			var known bool
			if do, known = e.table[at]; !known {
				if f.risk[m*f.hours+h] < raining {
					return 0, at
				}
				do = false
			}
		}
		if do {
			x := d.fateOf(f.rain[m], p, d.Placed+in)
			c.lost, c.inspect, c.work = c.lost+x.lost, c.inspect+x.inspect, c.work+x.work
			c.placed, c.waited, pending = c.placed+1, c.waited+pending, 0
			in++
			continue
		}
		next := -1
		for r := range d.Runs {
			if r > 0 && d.Runs[r].Begin >= (math.Floor(p.Place/60)+1)*60 {
				next = r
				break
			}
		}
		if c.placed+d.Placed > 0 {
			pending++
		}
		run, in = next, 0
	}
}

func TestTheDecisionIsNeverWorseThanTheRules(t *testing.T) {
	rnd := rand.New(rand.NewPCG(7, 1))
	for i := range 60 {
		d := day(rnd, 60, 4, 6)
		got := decided(t, d)
		w := newWalk(newForesight(d, 0, 2))
		for _, threshold := range thresholds {
			for _, place := range []bool{false, true} {
				if loss := followed(w, place, threshold); got.Loss > loss+1e-9 {
					t.Fatalf("case %d: loss %g; placing first %v, then below %g it is %g", i, got.Loss, place,
						threshold, loss)
				}
			}
		}
	}
}

func followed(w *walk, place bool, threshold float64) (loss float64) {
	for m, q := range w.f.prior {
		x, _ := w.follow(m, place, threshold)
		loss += q * x
	}
	return loss
}

// plain returns a day whose members all have the same rain.
func plain(rain func(h int) float64) *Day {
	d := day(rand.New(rand.NewPCG(1, 1)), 40, 4, 6)
	for m := range d.Members {
		for h := range d.Members[m].RainMM {
			d.Members[m].RainMM[h] = rain(h)
		}
	}
	return d
}

func TestDryDaysArePoured(t *testing.T) {
	x := decided(t, plain(func(int) float64 { return 0 }))
	if x.Do != Place || x.Lost != 0 || math.Abs(x.Pads-4) > 1e-9 || math.Abs(x.Loss) > 1e-9 {
		t.Errorf("%+v", x)
	}
}

func TestASureShowerIsWaitedOut(t *testing.T) {
	x := decided(t, plain(func(h int) float64 {
		if h == 9 {
			return 5
		}
		return 0
	}))
	if x.Do != Wait || !(x.Pads > 0) {
		t.Errorf("heavy rain is sure from 9 to 10, then it is dry: %+v", x)
	}
}

func TestAWetDayIsLeft(t *testing.T) {
	if x := decided(t, plain(func(int) float64 { return 5 })); x.Do != Stop || math.Abs(x.Loss-4) > 1e-9 {
		t.Errorf("it pours all day: %+v", x)
	}
}

func TestNothingIsPlacedInTheRain(t *testing.T) {
	d := plain(func(int) float64 { return 0 })
	d.Seen.Raining = true
	if x := decided(t, d); x.Do == Place {
		t.Errorf("it rains: %+v", x)
	}
}

func TestTheLimitHoldsWhenPlacing(t *testing.T) {
	d := plain(func(int) float64 { return 0 })
	for m := range d.Members {
		if m < 8 { // a fifth of the members, in both halves
			d.Members[m].RainMM[10] = 5
		}
	}
	d.Left = [][]float64{{90, 60, 30, 10, 0}} // much is to be won,
	d.Runs = d.Runs[:1]                       // and only now
	d.RainRisk = 1
	if x := decided(t, d); x.Do != Place || math.Abs(x.Lost-0.2) > 1e-9 {
		t.Fatalf("no limit: %+v", x)
	}
	d.RainRisk = 0.19
	if x := decided(t, d); x.Do == Place {
		t.Errorf("a limit of 19 %% and a chance of 20 %%: %+v", x)
	}
}

func TestABlanketIsLaidWhereFrostIsLikely(t *testing.T) {
	d := plain(func(int) float64 { return 0 })
	for r := range d.Runs {
		for k := range d.Runs[r].Pads {
			d.Runs[r].Pads[k].Frost, d.Runs[r].Pads[k].FrostBlanket = 0.9, 0.02
		}
	}
	if x := decided(t, d); x.Do == Place {
		t.Errorf("frost is all but sure and nobody has a blanket: %+v", x)
	}
	d.Blankets = Covers{Pads: 4, MinutesPad: 6}
	if x := decided(t, d); x.Do != Place || math.Abs(x.Lost-0.02) > 1e-9 {
		t.Errorf("with blankets: %+v", x)
	}
}

func TestWorkIsBounded(t *testing.T) {
	d := day(rand.New(rand.NewPCG(2, 2)), 240, 6, 14)
	x := decided(t, d)
	half := 120
	most := half*half*14 + 2*len(thresholds)*half*(6+14)
	if x.Work > most {
		t.Errorf("work %d, at most %d", x.Work, most)
	}
}

func TestADayThatCannotBeDecidedOnIsRefused(t *testing.T) {
	for name, spoil := range map[string]func(d *Day){
		"no members":     func(d *Day) { d.Members = nil },
		"weights":        func(d *Day) { d.Members[0].Weight = math.NaN() },
		"now":            func(d *Day) { d.Now = 1e6 },
		"no channel":     func(d *Day) { d.Channel = nil },
		"runs descend":   func(d *Day) { d.Runs[1].Begin = 0 },
		"left too short": func(d *Day) { d.Left[0] = d.Left[0][:2] },
		"limit":          func(d *Day) { d.RainRisk = 0 },
		"frost":          func(d *Day) { d.Runs[0].Pads[0].Frost = 2 },
		"set":            func(d *Day) { d.Runs[0].Pads[0].Set = 0 },
	} {
		d := day(rand.New(rand.NewPCG(1, 1)), 20, 4, 4)
		spoil(d)
		if _, err := Decide(context.Background(), d); fault.KindOf(err) != fault.Invalid {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func BenchmarkDecide(b *testing.B) {
	d := day(rand.New(rand.NewPCG(2, 2)), belief.DefaultMembers, 6, 14)
	for b.Loop() {
		if _, err := Decide(context.Background(), d); err != nil {
			b.Fatal(err)
		}
	}
}

// dryDay is a day without rain, of two pads.
func dryDay() *Day {
	d := day(rand.New(rand.NewPCG(5, 5)), 40, 2, 6)
	for i := range d.Members {
		clear(d.Members[i].RainMM)
	}
	return d
}

func TestALateStartThatHoldsTomorrowUpIsNotWaitedFor(t *testing.T) {
	d := dryDay()
	d.Costs.LeastGain = 0
	early := decided(t, d)
	if early.Do != Place {
		t.Fatalf("a dry day: %+v", early)
	}
	late := slices.Clone(d.Left[0])
	late[len(late)-1]++ // all that are placed, but from the next hour on: a day later
	d.Left = append(d.Left, late, late)
	x := decided(t, d)
	if x.Do != Place || !(x.Other > x.Loss+0.5) {
		t.Errorf("waiting costs a day: %+v", x)
	}
}

func TestAPadThatComesFreeLaterDoesNotHoldTheFirst(t *testing.T) {
	d := dryDay()
	free := d.Runs[2].Begin
	d.Ready = []float64{d.Now, free}
	for i := range d.Runs {
		if d.Runs[i].Begin < free {
			d.Runs[i].Pads, d.Runs[i].More = d.Runs[i].Pads[:1], true
		}
	}
	x := decided(t, d)
	if x.Do != Place || math.Abs(x.Pads-2) > 1e-9 {
		t.Errorf("the first pad now, the second at %g: %+v", free, x)
	}
	d.Ready[1] = math.Inf(1)
	if x := decided(t, d); x.Do != Place || math.Abs(x.Pads-1) > 1e-9 {
		t.Errorf("the second pad never comes free: %+v", x)
	}
}
