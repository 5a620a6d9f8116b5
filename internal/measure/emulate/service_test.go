package emulate

import (
	"math"
	"testing"

	"dryslot/internal/forecast"
)

// What is foreseen is told as a gauge tells it: whole steps, a wet hour at
// least one of them, dry and unknown hours as they are.
func TestForeseenRainIsReadAsAGaugeReadsIt(t *testing.T) {
	for _, c := range []struct{ step, mm, want float64 }{
		{0.254, 0, 0}, {0.254, 0.1, 0.1}, {0.254, 0.11, 0.254}, {0.254, 0.24, 0.254}, {0.254, 0.4, 0.508},
		{0.254, 2.5, 2.54}, {0.1, 0.11, 0.2}, {0.1, 0.24, 0.2}, {0.1, 0.26, 0.3},
	} {
		if got := gaugeReads(c.mm, c.step); math.Abs(got-c.want) > 1e-9 {
			t.Errorf("a gauge of %v mm reads %v of %v mm, want %v", c.step, got, c.mm, c.want)
		}
	}
	if got := gaugeReads(math.NaN(), 0.1); !math.IsNaN(got) {
		t.Errorf("unknown rain reads %v", got)
	}
	for _, r := range mustRegions(t) {
		if want := map[string]float64{"ireland": 0.1, "newyork": 0.254}[r.Name]; r.step != want {
			t.Errorf("%s counts in %v mm, want %v", r.Name, r.step, want)
		}
		s := r.Stations[0]
		at := s.Dawn(s.Days() / 2)
		sc, ok := r.Scenarios(s, at, Extent{Days: 1, Members: 50, Tracks: 2}, nil)
		if !ok {
			t.Fatalf("%s: no forecast", s.Station)
		}
		for _, m := range sc.Members {
			for _, mm := range m.RainMM {
				if steps := mm / r.step; mm > forecast.DefaultWet.OverMM && math.Abs(steps-math.Round(steps)) > 1e-6 {
					t.Fatalf("%s: %v mm is no reading", s.Station, mm)
				}
			}
		}
	}
}
