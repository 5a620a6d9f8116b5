package emulate

import (
	"math"
	"time"

	"dryslot/internal/forecast"
	"dryslot/internal/place"
	"dryslot/internal/unit"
)

// Run returns the forecast issued at an instant as one run with hourly chances
// of more than 0.1 mm, amounts, air and dew point; no other variable. The chances are those of
// the weighted days, without drawing members. It begins on the day after the
// issue. ok as of Issue.
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
		run := s.runFor(at, d)
		signal, airErr := s.signal(n, d, run)
		if w = s.weights(w[:0], n, d, run, signal); len(w) == 0 {
			return nil, false
		}
		chance := s.shares(w, d, f.Wet.OverMM)
		like, day := s.peer(s.season[d][likeliest(w)])
		amount := s.amounts(w, d, signal, like, day, chance)
		mean, _ := s.airOf(d, airErr, airNoise(leadOfRun(run)))
		for hod := range dayHours {
			if s.hourOfDay(d)+hod < hour {
				continue
			}
			h := forecast.Hour{Start: s.first.Add(time.Duration(d*dayHours+hod) * time.Hour)}
			h.Values[forecast.RainChance] = unit.Some(min(1, chance[hod]))
			h.Values[forecast.RainMM] = unit.Some(amount[hod])
			src := like.hourOfDay(day) + hod
			h.Values[forecast.AirC] = unit.Some(like.AirC[src] + mean - like.airMean[day])
			h.Values[forecast.HumidityPct] = unit.Some(like.Humidity[src])
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
		o, day := s.peer(k)
		a := o.hourOfDay(day)
		for hod, x := range o.RainMM[a : a+dayHours] {
			if x > mm {
				p[hod] += w[i]
			}
		}
	}
	return p
}

// likeliest returns which of some weights is the greatest.
func likeliest(w []float64) int {
	best := 0
	for i := range w {
		if w[i] > w[best] {
			best = i
		}
	}
	return best
}

// Bounds on how far one day's rain is multiplied to what a block is foreseen to
// have (judgement).
const leastScale, mostScale = 0.1, 10.0

// amounts returns the rain in mm of a single run: that of the likeliest day,
// block by block multiplied to what is midway between the signal and what the
// weighted days have on average, so that it goes with the truth as far as the
// signal does. In hours wet in the run and in truth the logarithms of the amounts
// correlate by 0.2 to 0.6 from region to region. A block in which the likeliest day
// is dry gets what is foreseen where that is rain, spread by the chances.
func (s *Station) amounts(w []float64, d int, signal description,
	like *Station, day int, chance [dayHours]float64) (mm [dayHours]float64) {
	var average description
	for i, k := range s.season[d] {
		o, of := s.peer(k)
		for b, z := range o.desc[of][longestShift] {
			average[b] += w[i] * z
		}
	}
	copy(mm[:], like.RainMM[like.hourOfDay(day):])
	for b, span := range blocks {
		has, chances := 0.0, 0.0
		for h := span[0]; h < span[1]; h++ {
			has, chances = has+mm[h], chances+chance[h]
		}
		wants := dampMM * math.Expm1(max(0, signal[b]+average[b])/2)
		for h := span[0]; h < span[1]; h++ {
			switch {
			case has > 0:
				mm[h] *= min(mostScale, max(leastScale, wants/has))
			case wants >= dampMM && chances > 0:
				mm[h] = wants * chance[h] / chances
			}
		}
	}
	return mm
}
