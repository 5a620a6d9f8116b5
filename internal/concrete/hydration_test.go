package concrete

import (
	"math"
	"math/rand/v2"
	"testing"

	"dryslot/internal/checkedtest"
)

const schindlerFolliard = "Schindler and Folliard, ACI Mater. J. 102-M04 (2005), from memory, computed"

func TestHydrationOfTwoCements(t *testing.T) {
	comp, err := CementComposition("general")
	if err != nil {
		t.Fatal(err)
	}
	h := HydrationOf(comp, 0.50)
	checkedtest.Near(t, schindlerFolliard, "tau", h.TauH, 15.26, 0.01)
	checkedtest.Near(t, schindlerFolliard, "beta", h.Beta, 0.663, 0.0006)
	checkedtest.Near(t, schindlerFolliard, "ultimate degree", h.Ultimate, 0.743, 0.0006)
	checkedtest.Near(t, schindlerFolliard, "heat", h.HeatJG, 493, 0.6)
	checkedtest.Near(t, schindlerFolliard, "activation energy", h.Activation/1000, 46.7, 0.06)
	checkedtest.Near(t, schindlerFolliard, "degree at 24 h", h.Degree(24), 0.354, 0.0006)
	checkedtest.Near(t, schindlerFolliard, "degree at 168 h", h.Degree(168), 0.606, 0.0006)
	comp, err = CementComposition("rapid")
	if err != nil {
		t.Fatal(err)
	}
	h = HydrationOf(comp, 0.45)
	checkedtest.Near(t, schindlerFolliard, "tau of Type III", h.TauH, 9.85, 0.01)
	checkedtest.Near(t, schindlerFolliard, "beta of Type III", h.Beta, 0.595, 0.0006)
	checkedtest.Near(t, schindlerFolliard, "activation energy of Type III", h.Activation/1000, 51.6, 0.06)
}

// A column that exchanges nothing warms as an adiabatic calorimeter does. The
// solver's own steps and tables are used.
func TestAdiabaticRise(t *testing.T) {
	hour := []float64{6, 12, 24, 48, 72, 168}
	for _, c := range []struct {
		from float64
		want []float64
	}{{20, []float64{29.9, 45.1, 59.7, 66.4, 68.3, 70.3}}, {10, []float64{12.8, 20.5, 36.7, 51.2, 55.4, 59.3}}} {
		s := adiabatic(t, c.from)
		for i, h := range hour {
			for s.hour < h-1e-9 {
				s.hydrate(1. / 60)
				s.col.factor(60)
				s.in += s.col.advance(&s.source, &s.first, &s.second, &s.face)
				s.age(1. / 60)
				s.hour += 1. / 60
				s.before = 1. / 60
			}
			checkedtest.Near(t, schindlerFolliard+", adiabatic", "temperature", s.col.temp[3], c.want[i], 0.1)
		}
		if s.in != 0 {
			t.Errorf("%v J/m2 came into a closed column", s.in)
		}
	}
	s := adiabatic(t, 20)
	checkedtest.Near(t, schindlerFolliard+", adiabatic", "ultimate rise", s.heat/concreteHeat, 52.2, 0.1)
	rule := 12 * 335.0 / 100
	checkedtest.Between(t, "from memory: rule of thumb, 12 K for 100 kg/m3 of cement in 3 to 7 days",
		"share of the ultimate rise", rule/(s.heat/concreteHeat), 0.7, 1)
}

// adiabatic is a column of concrete alone, with 335 kg/m3 of cement at a
// water-cement ratio of 0.5, that nothing leaves.
func adiabatic(t *testing.T, from float64) *Solver {
	comp, err := CementComposition("general")
	if err != nil {
		t.Fatal(err)
	}
	h := HydrationOf(comp, 0.50)
	s := &Solver{hyd: hydrationTableOf("general"), heat: h.HeatJG * 1000 * 335 * h.Ultimate}
	s.col.build(layer{0.2, concreteConduct, concreteHeat, 8, 1})
	for i := range s.col.n {
		s.col.temp[i], s.speed[i] = from, s.hyd.speedAt(from)
	}
	return s
}

func TestDegreeOfHydrationAsProperties(t *testing.T) {
	rnd := rand.New(rand.NewPCG(11, 12))
	for range 1000 {
		comp, err := CementComposition([]string{"general", "rapid", "slow"}[rnd.IntN(3)])
		if err != nil {
			t.Fatal(err)
		}
		comp.Slag, comp.FlyAsh, comp.FlyAshCaO = 0.3*rnd.Float64(), 0.2*rnd.Float64(), 0.2*rnd.Float64()
		h := HydrationOf(comp, 0.3+0.7*rnd.Float64())
		age := 0.5 + 500*rnd.Float64()
		d := h.Degree(age)
		if !(d >= 0 && d < h.Ultimate && h.Ultimate <= 1) {
			t.Fatalf("degree %v at %v h of %+v", d, age, h)
		}
		if d > 1e-6 {
			near(t, "age back from degree", h.AgeAt(d), age, 1e-6)
			near(t, "rate", h.Rate(age), (h.Degree(age*1.0001)-h.Degree(age*0.9999))/(0.0002*age), 1e-4)
		}
	}
	h := Hydration{Ultimate: 0.7, TauH: 15, Beta: 0.7}
	if h.Degree(0) != 0 || h.Rate(0) != 0 || h.AgeAt(0) != 0 || !math.IsInf(h.AgeAt(0.7), 1) {
		t.Error("ends of the curve")
	}
	if _, err := CementComposition("lime"); err == nil {
		t.Error("lime was taken for a cement")
	}
}
