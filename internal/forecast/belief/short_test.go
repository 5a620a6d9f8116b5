package belief

import (
	"testing"
	"time"

	"dryslot/internal/forecast"
	"dryslot/internal/unit"
)

func TestWhatAShortRangeProductSays(t *testing.T) {
	now := time.Date(2026, 11, 28, 10, 40, 0, 0, time.UTC)
	rate := func(from time.Time, mmH ...float64) *forecast.ShortRange {
		s := &forecast.ShortRange{Radar: forecast.RadarOK}
		for i, v := range mmH {
			s.Steps = append(
				s.Steps,
				forecast.ShortStep{
					Start:   from.Add(time.Duration(i) * 15 * time.Minute),
					Length:  15 * time.Minute,
					RainMMH: unit.Some(v),
				},
			)
		}
		return s
	}
	for _, c := range []struct {
		name string
		s    *forecast.ShortRange
		want Nowcast
	}{
		{"nothing", nil, Nowcast{}},
		{"dry for two hours", rate(now.Add(-10*time.Minute), 0, 0, 0, 0, 0, 0, 0, 0, 0, 0), Nowcast{SaidDry, SaidDry,
			SaidDry}},
		{"a shower after eleven", rate(now.Add(-10*time.Minute), 0, 0, 4, 4, 0, 0, 0, 0, 0, 0),
			Nowcast{SaidDry, SaidWet, SaidDry}},
		{"heavy, and the rest of the hour counts by its rate", rate(now.Add(-10*time.Minute), 9, 9, 9, 9, 9, 9, 0, 0, 0,
			0), Nowcast{SaidHeavy, SaidHeavy, SaidDry}},
		{"too short to serve", rate(now, 9, 9), Nowcast{}},
	} {
		got := Short(c.s, now)
		for k := range c.want {
			if got[k] != c.want[k] {
				t.Errorf("%s: %v, want %v", c.name, got, c.want)
				break
			}
		}
	}
	blind := rate(now, 0, 0, 0, 0, 0, 0, 0, 0)
	blind.Radar = forecast.RadarNoCoverage
	if Short(blind, now) != (Nowcast{}) {
		t.Error("a radar that does not see says that it is dry")
	}
	chances := rate(now)
	for i := range 8 {
		v := 0.2
		if i >= 4 {
			v = 0.6
		}
		chances.Steps = append(
			chances.Steps,
			forecast.ShortStep{
				Start:      now.Truncate(time.Hour).Add(time.Duration(i) * time.Hour),
				Length:     time.Hour,
				RainChance: unit.Some(v),
			},
		)
	}
	if got := Short(chances, now); got[0] != SaidDry || got[4] != SaidWet || got[6] != SaidWet {
		t.Errorf("chances: %v", got)
	}
}
