package emulate

import (
	"math/rand/v2"
	"time"

	"dryslot/internal/forecast"
	"dryslot/internal/place"
	"dryslot/internal/unit"
)

// Run returns the forecast issued at an instant as one run with hourly chances
// of more than 0.1 mm: those of the weighted days, without drawing members; an
// amount from a single day drawn by the same weights; no other variable. It
// begins on the day after the issue. ok as of Issue.
func (s *Station) Run(n *Noise, at time.Time, days int) (_ *forecast.Forecast, ok bool) {
	day0 := s.DayOf(at) + 1
	return s.run(n, at, s.hourOfDay(day0), day0, day0+days)
}

// run returns the hours from one on, of the days [from, until).
func (s *Station) run(n *Noise, at time.Time, hour, from, until int) (_ *forecast.Forecast, ok bool) {
	if from < 0 || until > s.Days() {
		return nil, false
	}
	f := &forecast.Forecast{Cell: place.CellOf(s.Latitude, s.Longitude), Wet: forecast.DefaultWet,
		Sources: []forecast.Source{{Feed: "emulated", FetchedAt: at}}}
	var w []float64
	for d := from; d < until; d++ {
		run := runOf(s.first.Add(time.Duration(d)*dayHours*time.Hour + 12*time.Hour).Sub(at).Hours())
		signal, _ := s.signal(n, d, run)
		if w = s.weights(w[:0], d, signal, n[run]*widen); len(w) == 0 {
			return nil, false
		}
		rnd := rand.New(rand.NewPCG(s.id, uint64(at.Unix())+uint64(d)<<40))
		one := s.drawDays(w, d, 1, rnd)[0]
		chance := s.shares(w, d, f.Wet.OverMM)
		for hod := range dayHours {
			if s.hourOfDay(d)+hod < hour {
				continue
			}
			h := forecast.Hour{Start: s.first.Add(time.Duration(d*dayHours+hod) * time.Hour)}
			h.Values[forecast.RainChance] = unit.Some(min(1, chance[hod]))
			h.Values[forecast.RainMM] = unit.Some(s.RainMM[s.hourOfDay(int(one))+hod])
			f.Hours = append(f.Hours, h)
		}
	}
	return f, true
}

// shares returns the weight of the days with more than mm in each hour.
func (s *Station) shares(w []float64, d int, mm float64) (p [dayHours]float64) {
	for i, k := range s.season[d] {
		if w[i] < 1e-12 {
			continue
		}
		a := s.hourOfDay(int(k))
		for hod, x := range s.RainMM[a : a+dayHours] {
			if x > mm {
				p[hod] += w[i]
			}
		}
	}
	return p
}
