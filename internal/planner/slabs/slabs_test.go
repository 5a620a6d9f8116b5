package slabs

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"dryslot/internal/concrete"
	"dryslot/internal/forecast"
	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

// invented draws a week of weather, from frost to heat, with a few hours that
// are not known.
func invented(r *rand.Rand) *forecast.Scenarios {
	w := forecast.Weather{}
	mean, swing := -6+34*r.Float64(), 8*r.Float64()
	for h := range 24 * 9 {
		air := mean - swing*math.Cos(float64(h%24-3)/24*2*math.Pi)
		if r.IntN(400) == 0 {
			air = math.NaN()
		}
		w.AirC = append(w.AirC, air)
		w.HumidityPct = append(w.HumidityPct, 40+50*r.Float64())
		w.WindMS = append(w.WindMS, 8*r.Float64())
		w.CloudPct = append(w.CloudPct, 100*r.Float64())
		w.ShortwaveWM2 = append(w.ShortwaveWM2, max(0, 700*math.Sin(float64(h%24-6)/12*math.Pi)))
		w.RainMM = append(w.RainMM, 0)
	}
	return &forecast.Scenarios{Start: time.Date(2026, 4, 1, 0, 0, 0, 0, time.UTC), Hours: len(w.AirC), Tracks: 1,
		WetMM: 0.1, Members: []forecast.Weather{w}}
}

// What a brief answer gives is what the whole one gives.
func TestBriefAnswersEqualWholeOnes(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 7))
	froze := 0
	for range 120 {
		spec := pour.DefaultSpec()
		spec.Latitude, spec.Longitude = 50, 8
		if r.IntN(2) == 0 {
			spec.Crew.Finish = "trowel"
		}
		wx := invented(r)
		s, err := New(spec, wx, Options{})
		if err != nil {
			t.Fatal(err)
		}
		q := Query{Kind: Kind{Thickness: unit.Metres(0.05 + 0.15*r.Float64())},
			Placed: wx.Start.Add(time.Duration(24+r.IntN(40)) * time.Hour)}
		if r.IntN(3) == 0 {
			q.Cover, q.CoverR = "blanket", concrete.BlanketM2KW
		}
		whole := *s.Behave(q)
		q.Brief = true
		brief := *s.Behave(q)
		type told struct {
			initial, final, from, until, over time.Duration
			peakAt                            time.Duration
			peak                              float64
			freezes, unknown                  bool
		}
		of := func(b concrete.Behaviour) told {
			return told{b.InitialSet, b.FinalSet, b.FinishFrom, b.FinishUntil, b.EvapOver1, b.EvapPeakAt, b.EvapPeak,
				b.Freezes, b.Unknown}
		}
		if a, b := of(brief), of(whole); a != b {
			t.Errorf("%+v: brief %+v, whole %+v", q, a, b)
		}
		if whole.Freezes {
			froze++
		}
	}
	if froze < 10 || froze > 110 {
		t.Errorf("%d of 120 slabs freeze: too few of one sort", froze)
	}
}
