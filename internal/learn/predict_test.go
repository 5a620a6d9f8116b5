package learn

import (
	"testing"
	"time"

	"dryslot/internal/concrete"
)

// spring is a mild day's weather, hours long.
func spring(hours int) concrete.Hourly {
	w := concrete.Hourly{Start: dawn.Add(-2 * time.Hour)}
	for range hours {
		w.AirC = append(w.AirC, 14)
		w.HumidityPct = append(w.HumidityPct, 60)
		w.WindMS = append(w.WindMS, 2)
		w.CloudPct = append(w.CloudPct, 50)
		w.ShortwaveWM2 = append(w.ShortwaveWM2, 150)
	}
	return w
}

func TestPredict(t *testing.T) {
	c := concrete.Casting{Thickness: 0.075, Placed: dawn, Finish: "broom", Weather: spring(72),
		Mix:  concrete.Mix{Cement: "general", WaterCement: 0.51, CementKgM3: 320, Strength28dMPa: 28, TemperatureC: 16, SetFactor: 1},
		Site: concrete.Site{Latitude: 44, WindFactor: 0.55, Subgrade: "sand"}}
	p, ok := Predict("T0", c)
	if !ok || p.Pad != "T0" || !p.PlacedAt.Equal(dawn) || p.FinishFrom <= 0 || p.FinishUntil <= p.FinishFrom {
		t.Fatalf("got %+v, %v", p, ok)
	}
	// What was learned before does not feed back into what is learned.
	c.Mix.SetFactor = 1.5
	if again, _ := Predict("T0", c); again != p {
		t.Errorf("a learned factor moved the prediction: %+v, %+v", again, p)
	}
	c.Weather = spring(3)
	if p, ok := Predict("T0", c); ok {
		t.Errorf("weather that ends too early gave %+v", p)
	}
}
