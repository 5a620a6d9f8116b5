package hourly

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"
)

// Where every member is dry all pads are placed for certain, where it rains all
// day none is; the chances of more pads never rise, and the loss is no less than
// that of deciding with any threshold.
func TestTheOutlookOfADay(t *testing.T) {
	rnd := rand.New(rand.NewPCG(8, 1))
	for i := range 200 {
		d := day(rnd, 20, 2, 3)
		d.RainRisk = 0.1
		switch i % 3 {
		case 0, 1:
			for m := range d.Members {
				for h := range d.Members[m].RainMM {
					d.Members[m].RainMM[h] = 5 * float64(i%3)
				}
				d.Members[m].Thunder = nil
			}
		}
		x, err := Foresee(context.Background(), d)
		if err != nil {
			t.Fatal(err)
		}
		for k := range x.AtLeast {
			if k > 0 && x.AtLeast[k] > x.AtLeast[k-1]+1e-9 || x.AtLeast[k] > 1+1e-9 {
				t.Fatalf("case %d: chances %v", i, x.AtLeast)
			}
		}
		for _, g := range x.Going {
			if !math.IsNaN(g) && i%3 == 1 && g > 1e-9 {
				t.Fatalf("case %d: rain all day, and placing goes on: %v", i, x.Going)
			}
		}
		if i%3 == 1 && x.AtLeast[0] > 1e-9 || x.Lost < 0 || i%3 == 0 && x.Lost > 1e-9 {
			t.Fatalf("case %d: %+v", i, x)
		}
	}
}
