package backtest

import (
	"time"

	"dryslot/internal/forecast"
	"dryslot/internal/measure/emulate"
)

// Lessons are what the service would have learned of a region's forecasts by
// each week, had it run at every station from the first day of the record: the
// chances that the forecasts of 05:00 and 19:00 stated are counted against the
// rain that came, and corrections learned from them, by the service's own
// functions.
type Lessons struct {
	weeks map[*emulate.Station][]*forecast.Recalibration
}

const (
	learnDays  = 7  // a correction is learned anew so often
	statedDays = 4  // that a forecast states chances for, its own included
	settleH    = 20 // from noon back: 13 h before 05:00, since an hour's rain counts 12 h after its end
)

// Learn returns a region's lessons; every table shares them.
func Learn(r *emulate.Region) *Lessons {
	l := &Lessons{weeks: map[*emulate.Station][]*forecast.Recalibration{}}
	byYear := map[int][]*emulate.Station{}
	for _, s := range r.Stations {
		byYear[s.Date(0).Year] = append(byYear[s.Date(0).Year], s)
	}
	for _, stations := range byYear {
		l.learn(r, stations)
	}
	return l
}

// at returns the correction in use at an instant; nil where nothing has been
// learned, as on a first day.
func (l *Lessons) at(s *emulate.Station, at time.Time) *forecast.Recalibration {
	week := s.DayOf(at) / learnDays
	if of := l.weeks[s]; week >= 0 && week < len(of) {
		return of[week]
	}
	return nil
}

func (l *Lessons) learn(r *emulate.Region, stations []*emulate.Station) {
	stated := make([][]forecast.Stated, len(stations))
	rain := make([]*forecast.Rain, len(stations))
	here := make([]forecast.Counts, len(stations))
	var everywhere forecast.Counts
	weeks := 0
	for i, s := range stations {
		rain[i] = &forecast.Rain{Start: s.Start, MM: s.RainMM}
		for d := range s.Days() {
			for _, at := range []time.Time{s.Dawn(d), s.Evening(d)} {
				f, ok := s.Forecast(&r.Noise, at, statedDays-1)
				if !ok {
					continue
				}
				if x, ok := f.Stated(); ok {
					stated[i] = append(stated[i], x)
				}
			}
		}
		weeks = max(weeks, s.Days()/learnDays+1)
	}
	for week := range weeks {
		for i, s := range stations {
			from := s.Midday((week - 1) * learnDays).Add(-settleH * time.Hour).Truncate(time.Hour)
			to := from.AddDate(0, 0, learnDays)
			due := forecast.CountDue(lately(stated[i], from, to), rain[i], from, to)
			here[i].Merge(due)
			everywhere.Merge(due)
		}
		for i, s := range stations {
			cal, _ := forecast.LearnCounts(&here[i], &everywhere, false)
			l.weeks[s] = append(l.weeks[s], cal)
		}
	}
}

// lately returns the forecasts that state chances of hours of a span.
func lately(all []forecast.Stated, from, to time.Time) []forecast.Stated {
	var out []forecast.Stated
	for i := range all {
		end := all[i].Start.Add(time.Duration(len(all[i].Chances)) * time.Hour)
		if all[i].Start.Before(to) && end.After(from) {
			out = append(out, all[i])
		}
	}
	return out
}
