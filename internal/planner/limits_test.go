package planner

import (
	"fmt"
	"testing"
	"time"

	"dryslot/internal/planner/job"
	"dryslot/internal/planner/slabs"
	"dryslot/internal/pour"
)

// largest is a job of as many pads as a project may have, of one thickness or
// each of its own; after has every other pad wait for the one before it.
func largest(mixed, after bool, sets int) pour.Spec {
	s := gridJob(1, 1, 1, 1, 0.075, false, 1, sets, 10)
	s.Pads = nil
	for i := range pour.MaxPads {
		p := pour.Pad{Name: fmt.Sprintf("P%d", i), LengthM: 1, WidthM: 1, ThicknessM: 0.075, XM: float64(i % 25), YM: float64(i / 25)}
		if mixed {
			p.ThicknessM = 0.05 + 0.15*float64(i*7919%pour.MaxPads)/pour.MaxPads
		}
		if sets > 0 {
			p.FormSet = &s.FormSets[i%sets].Name
		}
		if after && i%2 == 1 {
			p.After = []pour.After{{Pad: fmt.Sprintf("P%d", i-1), Until: pour.Stripped}}
		}
		s.Pads = append(s.Pads, p)
	}
	return s
}

// The largest projects that validation lets through are planned within the
// count of work that bounds a plan, with the gap told; and each pad is either
// planned, once, or has a reason why it is not.
func TestTheLargestProjectsArePlannedWithinTheirCount(t *testing.T) {
	for _, c := range largestJobs {
		in := largestJob(t, c.mixed, c.after, c.sets)
		f, err := newFrame(t.Context(), &in)
		if err != nil {
			t.Fatal(err)
		}
		m := newModel(f, f.first(), true, nil)
		if v := m.value(m.first, state{}); !(v > 0) {
			t.Errorf("%s: expected loss %v", c.name, v)
		}
		if most := mostCoarse + mostCoarse/100; m.weighed > most {
			t.Errorf("%s: %d actions weighed, more than %d", c.name, m.weighed, most)
		}
		if len(f.nodes) > 40 {
			t.Errorf("%s: %d thicknesses of slab worked out", c.name, len(f.nodes))
		}
		p := mustMake(t, in).Plan
		if p.Solver.ProvedOptimal || !(p.Solver.Gap > 0 && p.Solver.Gap < 1) {
			t.Errorf("%s: proved %v, gap %v", c.name, p.Solver.ProvedOptimal, p.Solver.Gap)
		}
		seen := map[string]int{}
		for _, x := range p.Pours {
			for _, pad := range x.Pads {
				seen[pad]++
			}
		}
		if len(seen) < 40 {
			t.Errorf("%s: %d pads planned in ten mornings by one person", c.name, len(seen))
		}
		for _, u := range p.Unplaced {
			seen[u.Pad]++
		}
		for _, pad := range in.Spec.Pads {
			if seen[pad.Name] != 1 {
				t.Errorf("%s: %s comes %d times", c.name, pad.Name, seen[pad.Name])
			}
		}
	}
}

// Positions in a sequence must not wrap: 300 pads are poured to the last.
func TestASequenceOfMoreThan256PadsEnds(t *testing.T) {
	spec := largest(false, false, 0)
	spec.Pads = spec.Pads[:300]
	spec.Crew.People = 6
	in := jobFor(spec, weather(12, 2, 1, mild, dry), 10)
	for i, p := range spec.Pads {
		r := pour.PadRecord{Pad: p.Name, State: pour.Waiting}
		if i < 30 {
			r.State = pour.Cured
		}
		in.Records = append(in.Records, r)
	}
	f, err := newFrame(t.Context(), &in)
	if err != nil {
		t.Fatal(err)
	}
	m := newModel(f, f.first(), false, nil)
	var s state
	s.pos[0] = 260
	if m.done(&s) || m.value(m.days-1, s) <= 0 {
		t.Error("ten pads of 270 are left, and nothing is expected of them")
	}
	before := m.value(m.first, state{})
	if !(before > 1) {
		t.Errorf("270 pads take %v mornings", before)
	}
}

func largestJob(tb testing.TB, mixed, after bool, sets int) job.Job {
	tb.Helper()
	spec := largest(mixed, after, sets)
	wx := weather(14, 200, 12, func(k, h int) float64 { return mild(k, h) + float64(k%7) - 3 }, showers(5, 0.05))
	in := jobFor(spec, wx, 10)
	var err error
	if in.Slabs, err = slabs.New(spec, wx, slabs.Options{Zone: zone}); err != nil {
		tb.Fatal(err)
	}
	return in
}

var largestJobs = []struct {
	name         string
	mixed, after bool
	sets         int
}{
	{"equal", false, false, 0}, {"thicknesses", true, false, 0}, {"order", false, true, 0}, {"order_and_forms", false, true, 3},
	{"thicknesses_order_and_forms", true, true, 3},
}

// BenchmarkLargest plans the largest projects, first and again, and prints the
// time of both.
func BenchmarkLargest(b *testing.B) {
	for _, c := range largestJobs {
		b.Run(c.name, func(b *testing.B) {
			for b.Loop() {
				in := largestJob(b, c.mixed, c.after, c.sets)
				begun := time.Now()
				in.Last = &mustMake(b, in).Plan
				first := time.Since(begun)
				begun = time.Now()
				mustMake(b, in)
				fmt.Printf("plan_500_%s_first: %.4g ms\nplan_500_%s_again: %.4g ms\n", c.name, 1e3*first.Seconds(), c.name, 1e3*time.Since(begun).Seconds())
			}
		})
	}
}
