package fetching

import (
	"time"

	"dryslot/internal/forecast"
)

// retryShare is what is left of a provider's limits for trying again
// (judgement).
const retryShare = 0.1

// slowest bounds the interval: beyond it a feed is of no use, and the figure
// would not fit a time.Duration.
const slowest = 365 * 24 * time.Hour

// intervalOf returns how often each of so many cells can be fetched within a
// provider's hourly and daily limits. All cells are fetched, if less often, and
// none is left out. Too many cells for a provider's free service therefore make
// forecasts older, which every verdict takes into account and says.
func intervalOf(l forecast.Limits, cells int) time.Duration {
	every := fetchEvery
	weight := l.Weight
	if weight <= 0 {
		weight = 1
	}
	for _, w := range [...]struct {
		most   int
		length time.Duration
	}{{l.PerHour, time.Hour}, {l.PerDay, 24 * time.Hour}} {
		if w.most > 0 {
			length := float64(w.length) * float64(cells) * weight / (float64(w.most) * (1 - retryShare))
			every = max(every, time.Duration(min(length, float64(slowest))))
		}
	}
	return every
}

// interval is the longest of the feeds that were asked.
func (s *Service) interval(cells, live int, asked []forecast.Forecast) time.Duration {
	every := fetchEvery
	for _, f := range s.Feeds {
		limited, ok := f.(Limited)
		if !ok {
			continue
		}
		for _, a := range asked {
			if len(a.Sources) > 0 && a.Sources[0].Feed == f.Name() {
				every = max(every, intervalOf(less(limited.Limits(), reserveOf(limited.Limits(), live)), cells))
			}
		}
	}
	return every
}
