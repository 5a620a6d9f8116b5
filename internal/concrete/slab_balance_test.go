package concrete

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"
)

// What came in through the surface and what hydration gave is what the column
// holds more than at first, to 1e-6 of the heat that crossed the boundary.
func TestEnergyBalanceCloses(t *testing.T) {
	for name, r := range references(t) {
		var s Solver
		s.open(t, &r.casting, 1)
		start, crossed := s.col.stored(), 0.0
		for s.hour < s.placed+168 {
			before := s.in
			s.step(s.next(stepSetting))
			crossed += math.Abs(s.in - before)
		}
		made := 0.0
		for i := range s.col.slab + 1 {
			made += s.heat * s.col.share[i] * s.degree[i]
		}
		gap := s.col.stored() - start - s.in - made
		if math.Abs(gap) > 1e-6*crossed || crossed < 1e6 || made < 1e6 {
			t.Errorf("%s: %.3g J/m2 left over of %.4g that crossed the surface and %.4g of hydration", name, gap,
				crossed, made)
		}
		// The heat made is that of the degree of hydration reached.
		for i := range s.col.slab + 1 {
			if d := math.Abs(s.degree[i] - s.hyd.degreeAt(s.ages[i])); d > 5e-5 { // what one step's foresight is off by
				t.Errorf("%s: node %d gave heat for a degree off by %v", name, i, d)
			}
		}
	}
}

// The flux that enters the balance is the one that the surface's law gives at
// the face's temperature.
func TestSurfaceFluxIsTheLawsOwn(t *testing.T) {
	rnd := rand.New(rand.NewPCG(13, 14))
	for range 5000 {
		s := surroundings{sun: 900 * rnd.Float64(), air: 60*rnd.Float64() - 20, film: 5.6 + 60*rnd.Float64(),
			sky: 150 + 300*rnd.Float64(), emit: emissivity * stefanBoltzmann, vapour: 2 * rnd.Float64(),
			wet: 300 * rnd.Float64(), resist: rnd.Float64(), steam: saturations()}
		free, give := 60*rnd.Float64()-15, 0.5*rnd.Float64()
		face := free
		q := s.solve(free, give+s.resist, &face)
		law, _ := s.flux(face)
		if math.Abs(q-law) > 1e-6*(1+math.Abs(q)) {
			t.Fatalf("flux %v in the balance, %v by law, of %+v", q, law, s)
		}
		if d := face - free - (give+s.resist)*q; math.Abs(d) > 1e-9*(1+math.Abs(face)) {
			t.Fatalf("the face is off the slab by %v K", d)
		}
	}
}

// The whole of it, hydration and surroundings too, is second order in the
// step. Film lies on the slab, so that no kink in the surroundings (drying, a
// change of the sun) falls within a step.
func TestWholeProblemIsSecondOrderInTime(t *testing.T) {
	c := casting(steady(40, 15, 60, 2, 30, 250), 22)
	c.Covers = []CoverSpan{{Kind: "plastic", Until: 100 * time.Hour}}
	at := func(step float64) [3]float64 {
		var s Solver
		s.open(t, &c, 1)
		return s.to(12, step)
	}
	exact := at(1. / 480)
	var off [3]float64 // shorter steps than these meet the tables' own 1e-4 K
	for i, step := range []float64{1, 1. / 2, 1. / 4} {
		got := at(step)
		for k := range got {
			off[i] = max(off[i], math.Abs(got[k]-exact[k]))
		}
	}
	if order := math.Log2(off[0]/off[2]) / 2; !(order > 1.8 && order < 2.3) {
		t.Errorf("order in time %.3f, errors %v", order, off)
	}
}

func TestStepsTakeNoMemory(t *testing.T) {
	c := casting(steady(200, 12, 60, 3, 50, 150), 15)
	var s Solver
	s.open(t, &c, 1)
	if n := testing.AllocsPerRun(100, func() { s.step(s.next(stepSetting)) }); n != 0 {
		t.Errorf("%v allocations a step", n)
	}
}
