package concrete

import (
	"math"
	"math/rand/v2"
	"testing"

	"dryslot/internal/checkedtest"
	"dryslot/internal/unit"
)

const (
	astmC1074   = "ASTM C1074 equivalent age, 5000 K, computed"
	fhp1977     = "Freiesleben Hansen and Pedersen 1977, computed"
	eurocodeB10 = "EN 1992-1-1 (B.10), the same as CEB-FIP MC90, computed"
)

func TestAgeFactors(t *testing.T) {
	for _, r := range checkedtest.Rows(t, "handbook/maturity_age_factors_calc.csv") {
		c, at := unit.Celsius(r.Float("T_C")), "at "+r.Text("T_C")+" C"
		// Factors are printed to four decimals.
		const half = 0.6e-4
		// These were computed with a gas constant rounded to 8.314, which is worth up to 8e-5 of the factor.
		rounded := func(factor float64) float64 { return half + 8e-5*factor }
		checkedtest.Near(t, astmC1074, "reference 20 C "+at, Arrhenius(c, 5000, 20), r.Float("Arrh_Q5000K_ref20"), half)
		checkedtest.Near(t, astmC1074, "reference 23 C "+at, Arrhenius(c, 5000, 23), r.Float("Arrh_Q5000K_ref23"), half)
		checkedtest.Near(t, "Arrhenius, 33.5 kJ/mol, computed", at, Arrhenius(c, 33.5e3/gasConstant, 20),
			r.Float("Arrh_33.5kJ_ref20"), rounded(2))
		checkedtest.Near(t, "Arrhenius, 45 kJ/mol, computed", at, Arrhenius(c, 45e3/gasConstant, 20),
			r.Float("Arrh_45kJ_ref20"), rounded(3))
		checkedtest.Near(t, fhp1977, at, Freiesleben(c), r.Float("FHP_1977_ref20"), rounded(2))
		checkedtest.Near(t, eurocodeB10, at, Eurocode(c), r.Float("EC2_MC90_factor"), half)
	}
}

// A temperature history with its maturity by trapezoid means.
func TestMaturityOfAHistory(t *testing.T) {
	hour := []float64{0, 2, 4, 6, 8, 10, 12, 14, 16, 18, 20, 22, 24}
	temp := []float64{12, 14, 18, 22, 25, 26, 25, 22, 19, 16, 14, 12, 11}
	var age Age
	for i := range hour[1:] {
		dt, mean := hour[i+1]-hour[i], unit.Celsius((temp[i]+temp[i+1])/2)
		age = age.Plus(Gain(mean), dt)
	}
	checkedtest.Near(t, astmC1074, "equivalent age", age.Arrhenius, 23.058, 0.001)
	checkedtest.Near(t, eurocodeB10, "equivalent age", age.Eurocode, 23.053, 0.001)
}

func TestEquivalentAgeIsLinearInTimeAtConstantTemperature(t *testing.T) {
	rnd := rand.New(rand.NewPCG(3, 4))
	for range 500 {
		c := unit.Celsius(rnd.Float64()*60 - 15)
		g := Gain(c)
		total := 1 + 300*rnd.Float64()
		var age Age
		for left := total; left > 0; {
			dt := min(left, 0.01+5*rnd.Float64())
			age = age.Plus(g, dt)
			left -= dt
		}
		for _, p := range [][2]float64{{age.Eurocode, g.Eurocode}, {age.Arrhenius, g.Arrhenius}, {age.Freiesleben,
			g.Freiesleben}} {
			if d := math.Abs(p[0] - total*p[1]); d > 1e-9*total {
				t.Fatalf("%v h at %v C in pieces give an age of %v h, in one %v h", total, c, p[0], total*p[1])
			}
		}
		if age.Low() > age.High() {
			t.Fatalf("low age %v above high age %v", age.Low(), age.High())
		}
	}
}

func TestHydrationStopsInFrozenConcrete(t *testing.T) {
	for _, c := range []unit.Celsius{-2, -5, -20} {
		if g := Gain(c); g != (Age{}) {
			t.Errorf("at %v C concrete ages by %v", c, g)
		}
	}
	if a, b := Gain(-1), Gain(0); !(a.Low() > 0 && a.Low() < b.Low()) {
		t.Errorf("at -1 C %v, at 0 C %v", a, b)
	}
}

func TestTablesOfRatesFollowTheirFunctions(t *testing.T) {
	rnd := rand.New(rand.NewPCG(5, 6))
	comp, err := CementComposition("rapid")
	if err != nil {
		t.Fatal(err)
	}
	h := HydrationOf(comp, 0.45)
	table := hydrationTableOf("rapid")
	for range 2000 {
		c := rnd.Float64()*100 - 30
		if d := math.Abs(table.speedAt(c) - unfrozen(celsius(c))*h.Speed(celsius(c))); d > 6e-5*max(1,
			table.speedAt(c)) {
			t.Fatalf("speed at %v C off by %v", c, d)
		}
		if d := math.Abs(gainAt(gainTable(), c).Freiesleben - Gain(celsius(c)).Freiesleben); d > 6e-5*max(1,
			Gain(celsius(c)).Freiesleben) {
			t.Fatalf("gain at %v C off by %v", c, d)
		}
		e, slope := linear(saturations(), c)
		near(t, "saturation", e, SaturationKPa(c), 2e-5)
		near(t, "slope", slope, (SaturationKPa(c+0.05)-SaturationKPa(c-0.05))/0.1, 1e-2)
		age := rnd.Float64() * 900
		if d := math.Abs(table.degreeAt(age)*h.Ultimate - h.Degree(age)); d > 1e-4 {
			t.Fatalf("degree at %v h off by %v", age, d)
		}
	}
}

// near fails unless got is want within a share of it.
func near(t *testing.T, what string, got, want, share float64) {
	t.Helper()
	if !(math.Abs(got-want) <= share*math.Abs(want)+1e-12) {
		t.Fatalf("%s: %v, want %v", what, got, want)
	}
}
