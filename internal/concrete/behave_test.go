package concrete

import (
	"math"
	"math/rand/v2"
	"reflect"
	"testing"
	"time"

	"dryslot/internal/checkedtest"
	"dryslot/internal/unit"
)

// steady is weather that does not change.
func steady(hours int, air, rh, wind, cloud, sun float64) Hourly {
	fill := func(v float64) []float64 {
		s := make([]float64, hours)
		for i := range s {
			s[i] = v
		}
		return s
	}
	return Hourly{Start: time.Date(2027, 5, 4, 0, 0, 0, 0, time.UTC), AirC: fill(air), HumidityPct: fill(rh),
		WindMS: fill(wind), CloudPct: fill(cloud), ShortwaveWM2: fill(sun)}
}

// daily is weather that swings about a mean with its peak at 15 h, with a sun
// from 6 to 18 h.
func daily(hours int, mean, swing, rh, wind, cloud, sun float64) Hourly {
	w := steady(hours, mean, rh, wind, cloud, 0)
	for i := range w.AirC {
		up := math.Cos(2 * math.Pi * float64(i-15) / 24)
		w.AirC[i] += swing * up
		w.HumidityPct[i] = min(100, max(5, rh-2.5*swing*up))
		if h := float64(i%24) + 0.5; h > 6 && h < 18 {
			w.ShortwaveWM2[i] = sun * math.Sin(math.Pi*(h-6)/12)
		}
	}
	return w
}

func casting(w Hourly, mixC float64) Casting {
	return Casting{Thickness: 0.075, Finish: "broom", Placed: w.Start.Add(8 * time.Hour), Weather: w,
		Mix: Mix{Cement: "general", WaterCement: 0.52, CementKgM3: 320, Strength28dMPa: 28,
			TemperatureC: celsius(mixC), SetFactor: 1},
		Site: Site{Latitude: 47, Longitude: -1, ElevationM: 80, WindFactor: 0.55, Subgrade: "sand"}}
}

// anyCasting is a slab somewhere between a warm day and a cold one.
func anyCasting(rnd *rand.Rand) Casting {
	mean := 3 + 27*rnd.Float64()
	w := daily(240, mean, 8*rnd.Float64(), 30+60*rnd.Float64(), 6*rnd.Float64(), 100*rnd.Float64(),
		200+600*rnd.Float64())
	c := casting(w, max(4, mean-3+8*rnd.Float64()))
	c.Placed = w.Start.Add(24*time.Hour + time.Duration(rnd.IntN(24*60))*time.Minute)
	c.Thickness = unit.Metres(0.05 + 0.15*rnd.Float64())
	c.Mix.Cement = []string{"general", "rapid", "slow"}[rnd.IntN(3)]
	c.Mix.WaterCement = 0.42 + 0.35*rnd.Float64()
	c.Finish = []string{"broom", "trowel"}[rnd.IntN(2)]
	c.Site.Subgrade = []string{"sand", "gravel", "clay", "soil", "insulated"}[rnd.IntN(5)]
	if rnd.IntN(3) == 0 {
		c.Covers = []CoverSpan{{Kind: []string{"plastic", "burlap", "blanket"}[rnd.IntN(3)],
			From: time.Duration(rnd.IntN(10)) * time.Hour, Until: 48 * time.Hour, ResistanceM2KW: rnd.Float64() - 0.3}}
	}
	return c
}

func TestAWarmMorning(t *testing.T) {
	for _, mean := range []float64{22, 25, 28} {
		c := casting(daily(240, mean, 7, 60, 3, 30, 850), 0)
		c.Placed = c.Weather.Start.Add(32 * time.Hour)
		c.Mix.TemperatureC = celsius(c.Weather.AirC[32] + 2)
		b := Behave(c)
		checkedtest.Between(t, checkedtest.CommonPractice+": a warm mix is finished some two hours after placing",
			"hours", b.FinishFrom.Hours(), 1.5, 2.75)
		checkedtest.Between(t, checkedtest.CommonPractice+": stripped the next morning", "hours", b.StripFrom.Hours(),
			12, 24)
		checkedtest.Between(t, checkedtest.CommonPractice+": walked on after a day or two, sooner when warm", "hours",
			b.WalkFrom.Hours(), 9, 48)
		checkedtest.Between(t, "ACI 308: 7 days or 70 % of strength, from memory", "days", b.CuredBy.Hours()/24, 3, 7)
	}
}

func TestTimesKeepTheirOrder(t *testing.T) {
	rnd := rand.New(rand.NewPCG(15, 16))
	var s Solver
	for range 400 {
		c := anyCasting(rnd)
		b := s.Behave(&c)
		if b.Unknown {
			t.Fatalf("unknown: %+v", c)
		}
		if !(0 < b.FinishFrom && b.FinishFrom <= b.InitialSet && b.FinishFrom <= b.FinishUntil &&
			b.FinishUntil <= b.FinalSet &&
			b.FinalSet <= b.StripFrom && b.FrostSafe == b.WalkFrom && b.StripFrom >= 12*time.Hour) {
			t.Fatalf("%+v\n%+v", c, b)
		}
		closes := map[string]time.Duration{"broom": b.InitialSet, "trowel": b.FinalSet}[c.Finish]
		if b.FinishUntil != min(closes, b.Crusts) || !(b.CrustRisk >= 0 && b.CrustRisk <= 1) || b.Crusts != Never &&
			b.CrustRisk < 0.5 {
			t.Fatalf("finishing until %v, initial set %v, final set %v, crust %v with chance %v", b.FinishUntil,
				b.InitialSet, b.FinalSet, b.Crusts, b.CrustRisk)
		}
		if b.CornerC > b.EdgeC || b.EdgeC > b.ColdestC {
			t.Fatalf("coldest %v, edge %v, corner %v", b.ColdestC, b.EdgeC, b.CornerC)
		}
		if b.EvapOver1 > 0 != (b.EvapPeak > 1) || b.Freezes != (b.CornerC < 0) {
			t.Fatalf("%+v", b)
		}
		if b.InitialSet != Never && len(b.EvapRate) != int(b.InitialSet/time.Hour)+1 &&
			len(b.EvapRate) != int(b.InitialSet/time.Hour)+2 {
			t.Fatalf("%d hours of evaporation until %v", len(b.EvapRate), b.InitialSet)
		}
	}
}

func TestHotterConcreteNeverSetsLater(t *testing.T) {
	rnd := rand.New(rand.NewPCG(17, 18))
	var s Solver
	for range 400 {
		c := anyCasting(rnd)
		cool := s.Behave(&c)
		c.Mix.TemperatureC += unit.Celsius(10 * rnd.Float64())
		if rnd.IntN(2) == 0 {
			warmer := 6 * rnd.Float64()
			c.Weather.AirC = append([]float64(nil), c.Weather.AirC...)
			for i := range c.Weather.AirC {
				c.Weather.AirC[i] += warmer
			}
		}
		hot := s.Behave(&c)
		if hot.InitialSet > cool.InitialSet || hot.FinalSet > cool.FinalSet {
			t.Fatalf("set %v, %v; hotter %v, %v: %+v", cool.InitialSet, cool.FinalSet, hot.InitialSet, hot.FinalSet, c)
		}
	}
}

// While heat goes out through the bare surface in every step so far, a blanket
// leaves no part of the slab colder.
func TestABlanketNeverCoolsALosingSlab(t *testing.T) {
	rnd := rand.New(rand.NewPCG(19, 20))
	steps := 0
	for range 200 {
		c := anyCasting(rnd)
		c.Covers = nil
		var bare, covered Solver
		bare.open(t, &c, 1)
		c.Covers = []CoverSpan{{Kind: "blanket", Until: 1000 * time.Hour, ResistanceM2KW: 0.05 + rnd.Float64()}}
		covered.open(t, &c, 1)
		for bare.hour < bare.placed+48 {
			before := bare.in
			bare.step(bare.next(stepSetting))
			covered.step(covered.next(stepSetting))
			if bare.in > before {
				break
			}
			steps++
			for i := range bare.col.slab + 1 {
				if covered.col.temp[i] < bare.col.temp[i]-1e-6 {
					t.Fatalf("%.2f h on, node %d: bare %v C, under a blanket %v C: %+v", bare.now.hours, i,
						bare.col.temp[i], covered.col.temp[i], c)
				}
			}
		}
	}
	if steps < 2000 {
		t.Errorf("only %d steps lost heat", steps)
	}
}

func TestFrostSafeNeverBefore24HoursOfAge(t *testing.T) {
	rnd := rand.New(rand.NewPCG(21, 22))
	safe := 0
	for range 200 {
		c := anyCasting(rnd)
		var s, again Solver
		b := s.Behave(&c)
		if b.FrostSafe == Never {
			continue
		}
		safe++
		again.open(t, &c, 1)
		again.to(b.FrostSafe.Hours(), stepSetting)
		// Behave's coarser steps and linear crossings are worth 1 %.
		if age := again.now.ageLow(); age < 0.99*24 {
			t.Fatalf("frost-safe at an age of %v h: %+v", age, c)
		}
		last := again.ages[again.col.slab]
		final := again.need.final / HydrationOf(mustCement(t, c.Mix.Cement), c.Mix.WaterCement).Speed(20)
		if low := StrengthRange(c.Mix, again.now.topAge, final).Low; low < 0.97*frostSafeMPa {
			t.Fatalf("frost-safe at %v MPa: %+v (%v)", low, c, last)
		}
	}
	if safe < 100 {
		t.Errorf("only %d slabs became safe", safe)
	}
}

func mustCement(t *testing.T, kind string) Composition {
	t.Helper()
	c, err := CementComposition(kind)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func TestWetConcreteAndUnknownCementNeedMore(t *testing.T) {
	c := casting(steady(300, 20, 60, 2, 100, 0), 20)
	plain := Behave(c)
	for _, change := range []func(*Mix){
		func(m *Mix) { m.WaterCement = 0.61 }, func(m *Mix) { m.CementKgM3 = 0 },
		func(m *Mix) { m.CementIsGuessed = true },
	} {
		d := c
		change(&d.Mix)
		if b := Behave(d); b.WalkFrom <= plain.WalkFrom+6*time.Hour {
			t.Errorf("walk from %v, with little known of the mix %v", plain.WalkFrom, b.WalkFrom)
		}
	}
}

func TestWaterAboveTheLabelCostsTime(t *testing.T) {
	c := casting(steady(300, 15, 60, 2, 100, 0), 15)
	c.Mix.StrengthWaterCement = 0.52
	a := Behave(c)
	c.Mix.WaterCement = 0.59
	if b := Behave(c); !(b.StripFrom > a.StripFrom && b.InitialSet > a.InitialSet) {
		t.Errorf("label's water: %v, %v; more: %v, %v", a.InitialSet, a.StripFrom, b.InitialSet, b.StripFrom)
	}
}

func TestSetFactorScalesSet(t *testing.T) {
	c := casting(steady(100, 20, 60, 2, 100, 0), 20)
	a := Behave(c)
	c.Mix.SetFactor = 1.3
	b := Behave(c)
	if r := float64(b.InitialSet) / float64(a.InitialSet); math.Abs(r-1.3) > 0.08 {
		t.Errorf("factor 1.3 moved initial set by %v", r)
	}
}

func TestEvaporationIsTheFormulasOwn(t *testing.T) {
	c := casting(daily(240, 14, 3, 85, 1.5, 90, 100), 14) // bleed water stands on it
	var s Solver
	b := s.Behave(&c)
	for h, rate := range b.EvapRate[:3] {
		i := 8 + h
		want := EvaporationRate(b.SurfaceC[h], c.Weather.AirC[i], c.Weather.HumidityPct[i],
			c.Weather.WindMS[i]*c.Site.WindFactor)
		checkedtest.Near(t, "Menzel 1954, computed", "rate at an hour", rate, want, 1e-3)
	}
}

// The shade of the morning takes the direct sun away, no more.
func TestMorningShade(t *testing.T) {
	c := casting(daily(240, 18, 6, 55, 2, 20, 800), 18)
	sunny := Behave(c)
	c.Site.ShadeUntil = c.Placed.Add(150 * time.Minute)
	shaded := Behave(c)
	c.Site.ShadeUntil = c.Placed.Add(-time.Hour)
	if past := Behave(c); !reflect.DeepEqual(past, sunny) {
		t.Error("shade that is past still shades")
	}
	if !(shaded.InitialSet > sunny.InitialSet && shaded.SurfaceC[2] < sunny.SurfaceC[2]) {
		t.Errorf("sun: set %v, surface %v; shade: %v, %v", sunny.InitialSet, sunny.SurfaceC[2], shaded.InitialSet,
			shaded.SurfaceC[2])
	}
}

func TestASolverIsReadyForTheNext(t *testing.T) {
	rnd := rand.New(rand.NewPCG(23, 24))
	var kept Solver
	for range 100 {
		c := anyCasting(rnd)
		if got, want := kept.Behave(&c), Behave(c); !reflect.DeepEqual(got, want) {
			t.Fatalf("a used solver says %+v, a new one %+v", got, want)
		}
	}
}
