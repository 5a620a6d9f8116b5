package policy

import (
	"context"
	"math/rand/v2"
	"testing"

	"dryslot/internal/planner/jobtest"
)

// Of a job of many pads the most promising ways alone are weighed: the expected
// loss is that of weighing all of them to within 1 in 500, and the bound that they
// are chosen by is never above what is lost.
func TestTheMostPromisingWaysSuffice(t *testing.T) {
	for seed := range uint64(6) {
		r := rand.New(rand.NewPCG(seed, 7))
		spec := jobtest.GridJob(5, 5+r.IntN(3), 1.2, 0.9, 0.075, seed%3 > 0, 1+r.IntN(3), 0, 0)
		in := jobtest.JobFor(spec, jobtest.Weather(10, 31, 2, jobtest.Mild,
			jobtest.Showers(seed, 0.02+0.1*r.Float64())), 7)
		f, err := Prepare(context.Background(), &in)
		if err != nil {
			t.Fatal(err)
		}
		narrow, all := ModelTied(f, f.First(), true, freeMostFirst), ModelTied(f, f.First(), true, freeMostFirst)
		all.narrow = false
		got, want := narrow.value(f.First(), State{}), all.value(f.First(), State{})
		if got < want-1e-9 || got > want*1.002 {
			t.Errorf("seed %d, %d pads: %.6f, of all ways %.6f", seed, len(spec.Pads), got, want)
		}
		if narrow.weighed >= all.weighed {
			t.Errorf("seed %d: %d ways weighed, of all %d", seed, narrow.weighed, all.weighed)
		}
		bound := narrow.relax()
		if bound == nil {
			t.Fatalf("seed %d: no bound", seed)
		}
		for day := f.First(); day < all.days; day++ {
			for s, v := range all.values[day] {
				if least := bound.at(day, &s); least > v+1e-9 {
					t.Fatalf("seed %d, morning %d: bound %.6f above %.6f", seed, day, least, v)
				}
			}
		}
	}
}
