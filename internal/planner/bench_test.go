package planner

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"dryslot/internal/planner/job"
	"dryslot/internal/planner/slabs"
	"dryslot/internal/pour"
)

// benchJob is a reference job under 31 members, each with its own track, and
// ten mornings.
func benchJob(spec pour.Spec) job.Job {
	wx := weather(14, 31, 31, func(k, h int) float64 { return mild(k, h) + float64(k%7) - 3 }, showers(5, 0.05))
	return jobFor(spec, wx, 10)
}

// BenchmarkReplan makes plans again with the slab results of the forecast
// cached, and once without, and prints both.
func BenchmarkReplan(b *testing.B) {
	for _, c := range []struct {
		name string
		spec pour.Spec
	}{{"j12", jobJ12()}, {"j24", jobJ24()}, {"j60", jobJ60()}} {
		b.Run(c.name, func(b *testing.B) {
			in := benchJob(c.spec)
			slabs, err := slabs.New(c.spec, in.Weather, slabs.Options{Zone: zone})
			if err != nil {
				b.Fatal(err)
			}
			in.Slabs = slabs
			begun := time.Now()
			in.Last = &mustMake(b, in).Plan
			first := time.Since(begun)
			var each []float64
			for b.Loop() {
				begun := time.Now()
				mustMake(b, in)
				each = append(each, time.Since(begun).Seconds())
			}
			slices.Sort(each)
			fmt.Printf("replan_%s: %.4g ms\nreplan_%s_first: %.4g ms\n", c.name, 1e3*each[len(each)/2], c.name, 1e3*first.Seconds())
		})
	}
}
