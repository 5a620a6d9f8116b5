package planner

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"dryslot/internal/planner/jobtest"
	"dryslot/internal/planner/slabs"
	"dryslot/internal/pour"
)

// BenchmarkReplan makes plans again with the slab results of the forecast
// cached, and once without, and prints both.
func BenchmarkReplan(b *testing.B) {
	for _, c := range []struct {
		name string
		spec pour.Spec
	}{{"j12", jobtest.JobJ12()}, {"j24", jobtest.JobJ24()}, {"j60", jobtest.JobJ60()}} {
		b.Run(c.name, func(b *testing.B) {
			in := jobtest.BenchJob(c.spec)
			slabs, err := slabs.New(c.spec, in.Weather, slabs.Options{Zone: jobtest.Zone})
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
			fmt.Printf("replan_%s: %.4g ms\nreplan_%s_first: %.4g ms\n", c.name, 1e3*each[len(each)/2], c.name,
				1e3*first.Seconds())
		})
	}
}
