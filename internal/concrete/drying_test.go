package concrete

import (
	"math/rand/v2"
	"testing"
	"time"

	"dryslot/internal/checkedtest"
)

// The balance keeps its water: what evaporates comes out of the pores or off
// the surface, never faster than a wet surface would lose it.
func TestDryingKeepsItsWater(t *testing.T) {
	rnd := rand.New(rand.NewPCG(31, 32))
	for range 2000 {
		from, rate, h := rnd.Float64()-0.4, 3*rnd.Float64(), 0.01+rnd.Float64()
		after, share := dried(from, rate, h)
		if !(share > 0 && share <= 1+1e-12 && after > from) {
			t.Fatalf("from %v at %v for %v h: %v, share %v", from, rate, h, after, share)
		}
		half, _ := dried(from, rate, h/2)
		twice, _ := dried(half, rate, h/2)
		checkedtest.Near(t, "two half steps are one", "kg/m2", twice, after, 1e-9)
	}
}

// In hot dry air without sun, wind takes heat to the slab; what it dries off is
// bounded, so that it can't put set off.
func TestHotWindDoesNotPutSetOff(t *testing.T) {
	for _, air := range []float64{32, 36, 40} {
		calm, windy := casting(steady(96, air, 20, 2, 0, 0), air), casting(steady(96, air, 20, 8, 0, 0), air)
		calm.Site.WindFactor, windy.Site.WindFactor = 1, 1
		a, b := Behave(calm), Behave(windy)
		if b.InitialSet > a.InitialSet || b.FinalSet > a.FinalSet || b.FinishUntil > a.FinishUntil {
			t.Errorf("%v C: calm %v, %v, finish until %v; windy %v, %v, %v", air, a.InitialSet, a.FinalSet,
				a.FinishUntil, b.InitialSet, b.FinalSet, b.FinishUntil)
		}
		if b.DriedKgM2 > 1.2 || b.DriedKgM2 <= a.DriedKgM2 {
			t.Errorf("%v C: %v kg/m2 dried off, calm %v", air, b.DriedKgM2, a.DriedKgM2)
		}
		if b.Crusts == Never || b.CrustRisk < 0.9 || b.FinishUntil != b.Crusts || !(b.FinishFrom < b.FinishUntil) {
			t.Errorf("%v C: %+v", air, b)
		}
	}
}

// What is done against drying never raises the risk of a crust nor brings the
// end of the finishing window forward by more than the warmer surface does.
func TestGuardsHelpAgainstDrying(t *testing.T) {
	c := casting(daily(96, 30, 5, 30, 7, 10, 800), 28)
	bare := Behave(c)
	for _, p := range []Protection{{Windbreak: true}, {Film: true}, {Fog: true}, {Film: true, Windbreak: true},
		{Shade: true}} {
		g := GuardOf(p, 20*time.Minute, bare.InitialSet)
		c.Guard = &g
		b := Behave(c)
		if !(b.CrustRisk <= bare.CrustRisk && b.DriedKgM2 < bare.DriedKgM2) {
			t.Errorf("%+v: crust %v, dried %v; without %v, %v", p, b.CrustRisk, b.DriedKgM2, bare.CrustRisk,
				bare.DriedKgM2)
		}
	}
}

func TestMoreWaterNeverSetsOrCuresEarlier(t *testing.T) {
	rnd := rand.New(rand.NewPCG(33, 34))
	var s Solver
	for range 300 {
		c := anyCasting(rnd)
		c.Mix.StrengthWaterCement = 0.42
		a := s.Behave(&c)
		c.Mix.WaterCement += 0.2 * rnd.Float64()
		b := s.Behave(&c)
		if b.InitialSet < a.InitialSet || b.FinalSet < a.FinalSet || b.CuredBy < a.CuredBy {
			t.Fatalf("%v, %v, cured %v; with more water %v, %v, %v: %+v", a.InitialSet, a.FinalSet, a.CuredBy,
				b.InitialSet, b.FinalSet, b.CuredBy, c)
		}
		c.Mix.CementIsGuessed = true
		if u := s.Behave(&c); u.CuredBy < b.CuredBy {
			t.Fatalf("cured %v with the cement known, %v without: %+v", b.CuredBy, u.CuredBy, c)
		}
	}
}

// A blanket that stays on through a frosty night never lowers that night's
// lowest slab temperature, wherever the slab is, and two never less than one.
func TestABlanketThroughAFrostyNightNeverLowersItsMinimum(t *testing.T) {
	rnd := rand.New(rand.NewPCG(35, 36))
	var s Solver
	night := func(c *Casting) float64 {
		s.open(t, c, 1)
		low := 100.0
		for s.hour < 42 { // 08:00 of the second day
			s.step(s.next(stepSetting))
			if s.hour >= 18 {
				low = min(low, s.col.coldest())
			}
		}
		return low
	}
	for range 300 {
		w := daily(120, 8*rnd.Float64()-5, 3+4*rnd.Float64(), 70, 5*rnd.Float64(), 100*rnd.Float64(), 400*rnd.Float64())
		c := casting(w, 10+10*rnd.Float64())
		c.Placed = w.Start.Add(time.Duration(7+rnd.IntN(6)) * time.Hour)
		bare := night(&c)
		from := time.Duration(4+rnd.IntN(4)) * time.Hour
		c.Covers = []CoverSpan{{Kind: "blanket", From: from, Until: 96 * time.Hour, ResistanceM2KW: 0.35}}
		one := night(&c)
		c.Covers[0].ResistanceM2KW = 0.70
		if two := night(&c); one < bare-1e-6 && bare < 0 || two < one-0.02 && one < 0 {
			t.Fatalf("lowest without %.3f, with a blanket %.3f, with two %.3f: %+v", bare, one, two, c.Site)
		}
	}
}

func TestCapillariesCloseLaterWithMoreWater(t *testing.T) {
	const powers = "Powers, Copeland and Mann 1959, from memory"
	for wc, days := range map[float64]float64{0.40: 3, 0.45: 7, 0.50: 14, 0.60: 180, 0.70: 365} {
		checkedtest.Near(t, powers, "days", poresClose(wc), days, 1e-9)
	}
	for _, cement := range []string{"general", "rapid", "slow"} {
		last := 0.0
		for wc := 0.35; wc < 0.9; wc += 0.01 {
			d := DampDays(cement, wc, true)
			if d < last || DampDays(cement, wc, false) < d {
				t.Fatalf("%s at %v: %v days, before %v, unknown %v", cement, wc, d, last, DampDays(cement, wc, false))
			}
			last = d
		}
	}
	checkedtest.Near(t, "ACI 308, 7 days, from memory", "days", DampDays("general", 0.45, true), 7, 1e-9)
	checkedtest.Near(t, "ACI 308, 3 days with high early strength, from memory", "days", DampDays("rapid", 0.45,
		true), 3, 1e-9)
}
