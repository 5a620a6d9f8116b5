package concrete

import (
	"testing"
	"time"
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

func casting(w Hourly, mixC float64) Casting {
	return Casting{Thickness: 0.075, Finish: "broom", Placed: w.Start.Add(8 * time.Hour), Weather: w,
		Mix: Mix{Cement: "general", WaterCement: 0.52, CementKgM3: 320, Strength28dMPa: 28,
			TemperatureC: celsius(mixC), SetFactor: 1},
		Site: Site{Latitude: 47, Longitude: -122, ElevationM: 80, WindFactor: 0.55, Subgrade: "sand"}}
}

func TestLook(t *testing.T) {
	for _, c := range []float64{2, 5, 10, 15, 21, 27, 32} {
		b := Behave(casting(steady(336, c, 60, 3, 50, 0), c))
		t.Logf("%4.0f C: finish %v to %v set %v %v strip %v frost %v cured %v evap %.2f cold %.1f", c, b.FinishFrom, b.FinishUntil, b.InitialSet, b.FinalSet, b.StripFrom, b.FrostSafe, b.CuredBy, b.EvapPeak, b.ColdestC)
	}
}
