package concrete

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"dryslot/internal/unit"
)

// Where an hour is not known, what stands in for it must not make the slab
// look safer from frost or sooner set, and the caller must learn of it.
func TestUnknownWeatherIsTakenOnTheColdSide(t *testing.T) {
	nan := math.NaN()
	for name, series := range map[string]func(*Hourly) *[]float64{
		"air":      func(h *Hourly) *[]float64 { return &h.AirC },
		"humidity": func(h *Hourly) *[]float64 { return &h.HumidityPct },
		"wind":     func(h *Hourly) *[]float64 { return &h.WindMS },
		"cloud":    func(h *Hourly) *[]float64 { return &h.CloudPct },
		"sun":      func(h *Hourly) *[]float64 { return &h.ShortwaveWM2 },
	} {
		c := casting(daily(240, 14, 4, 60, 3, 50, 400), 14)
		c.Placed = c.Weather.Start.Add(34 * time.Hour)
		whole := Behave(c)
		v := series(&c.Weather)
		*v = append([]float64(nil), *v...)
		(*v)[36], (*v)[37] = nan, nan
		if b := Behave(c); !b.Unknown || b.InitialSet == Never || b.InitialSet < whole.InitialSet-10*time.Minute {
			t.Errorf("%s unknown for two hours: %+v", name, b)
		}
		if name == "air" {
			continue
		}
		*v = nil
		b := Behave(c)
		if !b.Unknown || b.InitialSet == Never || b.InitialSet < whole.InitialSet || b.ColdestC > whole.ColdestC {
			t.Errorf("%s wholly unknown: set %v, coldest %v; known: %v, %v", name, b.InitialSet, b.ColdestC,
				whole.InitialSet, whole.ColdestC)
		}
	}
}

func TestWithoutWeatherNothingIsClaimed(t *testing.T) {
	none := casting(Hourly{Start: time.Date(2027, 5, 4, 0, 0, 0, 0, time.UTC)}, 20)
	late := casting(steady(20, 20, 60, 2, 50, 0), 20)
	late.Placed = late.Weather.Start.Add(30 * time.Hour)
	early := casting(steady(20, 20, 60, 2, 50, 0), 20)
	early.Placed = early.Weather.Start.Add(-72 * time.Hour)
	flat := casting(steady(20, 20, 60, 2, 50, 0), 20)
	flat.Thickness = 0
	for name, c := range map[string]Casting{"none": none, "late": late, "early": early, "no thickness": flat} {
		b := Behave(c)
		if !b.Unknown || b.InitialSet != Never || b.FinishFrom != Never || b.WalkFrom != Never ||
			b.StripFrom != Never || b.CuredBy != Never {
			t.Errorf("%s: %+v", name, b)
		}
	}
}

// The hours that a feed leaves empty after its last are the end of the
// weather, not unknown weather.
func TestWeatherEndsWithItsLastKnownHour(t *testing.T) {
	c := casting(steady(40, 12, 60, 2, 50, 0), 12)
	for i := 22; i < 40; i++ {
		c.Weather.AirC[i] = math.NaN()
	}
	b := Behave(c)
	if b.Unknown || b.InitialSet == Never || b.FrostSafe != Never || b.WalkFrom != Never {
		t.Errorf("%+v", b)
	}
	if n := len(b.SurfaceC); n != 15 {
		t.Errorf("%d hours of surface temperature in 14 h of weather", n)
	}
}

// What is missing long after final set casts no doubt on the setting; it is
// told as a guess at what comes later, on the cold side.
func TestWhatIsMissingAfterFinalSetLeavesTheSettingKnown(t *testing.T) {
	for name, series := range map[string]func(*Hourly) []float64{
		"air":      func(h *Hourly) []float64 { return h.AirC },
		"humidity": func(h *Hourly) []float64 { return h.HumidityPct },
		"cloud":    func(h *Hourly) []float64 { return h.CloudPct },
		"sun":      func(h *Hourly) []float64 { return h.ShortwaveWM2 },
	} {
		c := casting(daily(96, 7, 3, 60, 3, 50, 200), 12)
		whole := Behave(c)
		if whole.Unknown || whole.LateGuess || whole.FinalSet == Never {
			t.Fatalf("known weather: %+v", whole)
		}
		set := int((whole.FinalSet + c.Placed.Sub(c.Weather.Start)) / time.Hour)
		v := series(&c.Weather)
		v[set+8], v[set+9] = math.NaN(), math.NaN() // in the morning: what stands in is colder
		b := Behave(c)
		if b.Unknown || !b.LateGuess || (b.FinalSet-whole.FinalSet).Abs() > time.Minute ||
			b.FrostSafe < whole.FrostSafe {
			t.Errorf("%s missing after final set: %+v, known %+v", name, b, whole)
		}
		v[set-3] = math.NaN()
		if b := Behave(c); !b.Unknown || b.LateGuess {
			t.Errorf("%s missing before final set: unknown %v, late %v", name, b.Unknown, b.LateGuess)
		}
	}
}

func TestAPlacingBeforeTheWeatherTakesItsFirstHour(t *testing.T) {
	c := casting(steady(200, 15, 60, 2, 50, 0), 15)
	in := Behave(c)
	c.Placed = c.Weather.Start.Add(-90 * time.Minute)
	b := Behave(c)
	if !b.Unknown || (b.InitialSet-in.InitialSet).Abs() > 10*time.Minute { // the sky's emissivity has a daily term
		t.Errorf("set after %v, in the weather after %v", b.InitialSet, in.InitialSet)
	}
}

func TestStandInsForTheMix(t *testing.T) {
	c := casting(steady(200, 15, 60, 2, 50, 0), 15)
	for name, change := range map[string]func(*Casting){
		"cement":      func(c *Casting) { c.Mix.Cement = "lime" },
		"water":       func(c *Casting) { c.Mix.WaterCement = 0 },
		"temperature": func(c *Casting) { c.Mix.TemperatureC = unit.Celsius(math.NaN()) },
		"factor":      func(c *Casting) { c.Mix.SetFactor = math.NaN() },
		"wind":        func(c *Casting) { c.Site.WindFactor = math.NaN() },
	} {
		d := c
		change(&d)
		if b := Behave(d); !b.Unknown || b.InitialSet == Never {
			t.Errorf("%s unknown: %+v", name, b)
		}
	}
	c.Mix.Strength28dMPa = 0
	if b := Behave(c); !b.Unknown || b.WalkFrom != Never || b.InitialSet == Never {
		t.Errorf("strength unknown: %+v", b)
	}
}

// Whatever is handed in, Behave comes back.
func FuzzBehave(f *testing.F) {
	f.Add(uint64(1), 0.075, 0.5, 20.0, 1.0)
	f.Add(uint64(2), math.Inf(1), -1.0, 1e300, math.NaN())
	f.Fuzz(func(t *testing.T, seed uint64, thickness, wc, mix, factor float64) {
		rnd := rand.New(rand.NewPCG(seed, 1))
		odd := []float64{math.NaN(), math.Inf(1), math.Inf(-1), 0, -1e9, 1e9, 1e300, 45, -60}
		c := casting(daily(30+rnd.IntN(60), 10, 5, 60, 3, 50, 300), mix)
		c.Thickness, c.Mix.WaterCement, c.Mix.SetFactor = unit.Metres(thickness), wc, factor
		for _, v := range [][]float64{c.Weather.AirC, c.Weather.HumidityPct, c.Weather.WindMS, c.Weather.CloudPct,
			c.Weather.ShortwaveWM2} {
			for range rnd.IntN(6) {
				v[rnd.IntN(len(v))] = odd[rnd.IntN(len(odd))]
			}
		}
		c.Weather.CloudPct = c.Weather.CloudPct[:rnd.IntN(len(c.Weather.CloudPct)+1)]
		for _, v := range []*float64{&c.Site.ElevationM, &c.Site.Longitude, &c.Site.WindFactor, &c.Mix.CementKgM3,
			&c.Mix.Strength28dMPa} {
			if rnd.IntN(4) == 0 {
				*v = odd[rnd.IntN(len(odd))]
			}
		}
		for range rnd.IntN(3) {
			c.Covers = append(c.Covers, CoverSpan{Kind: []string{"plastic", "burlap", "blanket", "straw"}[rnd.IntN(4)],
				From: time.Duration(rnd.Int64N(1 << 50)), Until: time.Duration(rnd.Int64() - 1<<62),
				ResistanceM2KW: odd[rnd.IntN(len(odd))]})
		}
		c.Placed = c.Weather.Start.Add(time.Duration(rnd.IntN(200)-60) * time.Hour)
		b := Behave(c)
		for _, d := range []time.Duration{b.InitialSet, b.FinalSet, b.FinishFrom, b.FinishUntil, b.StripFrom,
			b.FrostSafe, b.WalkFrom, b.CuredBy} {
			if d < 0 {
				t.Fatalf("%+v", b)
			}
		}
	})
}
