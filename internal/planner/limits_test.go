package planner

import (
	"fmt"
	"testing"
	"time"

	"dryslot/internal/planner/jobtest"
)

// The largest projects that validation lets through are planned within the
// count of work that bounds a plan, with the gap told; and each pad is either
// planned, once, or has a reason why it is not.
func TestTheLargestProjectsArePlannedWithinTheirCount(t *testing.T) {
	t.Parallel()
	for _, c := range jobtest.LargestJobs {
		in := jobtest.LargestJob(t, c.Mixed, c.After, c.Sets)
		p := mustMake(t, in).Plan
		if p.Solver.ProvedOptimal || !(p.Solver.Gap > 0 && p.Solver.Gap < 1) {
			t.Errorf("%s: proved %v, gap %v", c.Name, p.Solver.ProvedOptimal, p.Solver.Gap)
		}
		seen := map[string]int{}
		for _, x := range p.Pours {
			for _, pad := range x.Pads {
				seen[pad]++
			}
		}
		if len(seen) < 40 {
			t.Errorf("%s: %d pads planned in ten mornings by one person", c.Name, len(seen))
		}
		for _, u := range p.Unplaced {
			seen[u.Pad]++
		}
		for _, pad := range in.Spec.Pads {
			if seen[pad.Name] != 1 {
				t.Errorf("%s: %s comes %d times", c.Name, pad.Name, seen[pad.Name])
			}
		}
	}
}

// BenchmarkLargest plans the largest projects, first and again, and prints the
// time of both.
func BenchmarkLargest(b *testing.B) {
	for _, c := range jobtest.LargestJobs {
		b.Run(c.Name, func(b *testing.B) {
			for b.Loop() {
				in := jobtest.LargestJob(b, c.Mixed, c.After, c.Sets)
				begun := time.Now()
				in.Last = &mustMake(b, in).Plan
				first := time.Since(begun)
				begun = time.Now()
				mustMake(b, in)
				fmt.Printf("plan_500_%s_first: %.4g ms\nplan_500_%s_again: %.4g ms\n", c.Name, 1e3*first.Seconds(),
					c.Name, 1e3*time.Since(begun).Seconds())
			}
		})
	}
}
