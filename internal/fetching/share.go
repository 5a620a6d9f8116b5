package fetching

import (
	"time"

	"dryslot/internal/forecast"
)

// How a provider's limits are shared. Days under way come first: what their
// short-range products take in a minute, an hour and a day is kept free of
// other requests, up to shortShare of each limit, so that the forecasts of
// days to come grow older before those of a day under way do. Where even that
// share is too small, short-range products are fetched less often, all cells
// alike. Judgement: a day under way lasts ten hours, and half of the limits
// keep forecasts of days to come fresh enough to plan by.
const (
	shortShare  = 0.5
	shortWeight = 1 // of one request: few variables, and half a day
	dayUnderWay = 10 * time.Hour
)

// purpose is what a request is for, as far as it matters for a provider's limits.
type purpose struct {
	short bool // of a day under way
	live  int  // cells with a day under way, for whose requests a share is kept free of others
}

// reserve is request weight in a minute, an hour and a day.
type reserve struct{ minute, hour, day float64 }

// shortIntervalOf returns how often the short-range product of each of so many
// cells can be fetched.
func shortIntervalOf(l forecast.Limits, live int) time.Duration {
	every := shortEvery
	for _, w := range [...]struct {
		most   int
		length time.Duration
	}{{l.PerHour, time.Hour}, {l.PerDay, dayUnderWay}} {
		if w.most > 0 {
			length := float64(w.length) * float64(live) * shortWeight / (float64(w.most) * shortShare)
			every = max(every, time.Duration(min(length, float64(slowest))))
		}
	}
	return every
}

// reserveOf is what short-range products of so many cells take.
func reserveOf(l forecast.Limits, live int) reserve {
	if live == 0 {
		return reserve{}
	}
	every := shortIntervalOf(l, live)
	in := func(length time.Duration, most int) float64 {
		need := float64(live) * shortWeight * max(1, float64(length)/float64(every))
		if most > 0 {
			need = min(need, shortShare*float64(most))
		}
		return need
	}
	return reserve{minute: float64(live) * shortWeight / max(1, every.Minutes()), hour: in(time.Hour, l.PerHour),
		day: in(dayUnderWay, l.PerDay)}
}

// less are the limits without what is reserved.
func less(l forecast.Limits, r reserve) forecast.Limits {
	cut := func(most int, by float64) int {
		if most <= 0 {
			return most
		}
		return max(1, most-int(by))
	}
	l.PerMinute, l.PerHour, l.PerDay = cut(l.PerMinute, r.minute), cut(l.PerHour, r.hour), cut(l.PerDay, r.day)
	return l
}

// shortInterval is that of a feed.
func (s *Service) shortInterval(feed string, live int) time.Duration {
	for _, f := range s.Feeds {
		if limited, ok := f.(Limited); ok && f.Name() == feed {
			return shortIntervalOf(limited.Limits(), live)
		}
	}
	return shortEvery
}
