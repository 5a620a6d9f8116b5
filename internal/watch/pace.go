package watch

import (
	"time"

	"dryslot/internal/forecast"
)

// retryShare is what is left of a provider's limits for trying again
// (judgement).
const retryShare = 0.1

// slowest bounds the rhythm: beyond it a feed is of no use, and the figure
// would not fit a time.Duration.
const slowest = 365 * 24 * time.Hour

// paceOf returns the rhythm of fetching so many cells that a provider's
// hourly and daily limits bear: every cell gets its turn, later rather than
// some of them never. Too many cells for the free service of a provider so
// make forecasts older, which every verdict takes into account and says.
func paceOf(l forecast.Limits, cells int) time.Duration {
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

// rhythm is that of the feeds that were asked.
func (s *Service) rhythm(cells int, asked []forecast.Forecast) time.Duration {
	every := fetchEvery
	for _, f := range s.Feeds {
		limited, ok := f.(Limited)
		if !ok {
			continue
		}
		for _, a := range asked {
			if len(a.Sources) > 0 && a.Sources[0].Feed == f.Name() {
				every = max(every, paceOf(limited.Limits(), cells))
			}
		}
	}
	return every
}
