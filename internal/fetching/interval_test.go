package fetching

import (
	"testing"
	"testing/quick"
	"time"

	"dryslot/internal/forecast"
)

// However many cells there are, fetching each once an interval keeps the limits,
// and few cells are fetched every hour.
func TestTheIntervalKeepsTheLimits(t *testing.T) {
	t.Parallel()
	property := func(cells uint16, perHour, perDay uint16, tenths uint8) bool {
		l := forecast.Limits{PerHour: int(perHour), PerDay: int(perDay), Weight: float64(tenths) / 10}
		weight := l.Weight
		if weight == 0 {
			weight = 1
		}
		every := intervalOf(l, int(cells))
		hourly := float64(cells) * weight / every.Hours()
		kept := (perHour == 0 || hourly <= float64(perHour)) && (perDay == 0 || 24*hourly <= float64(perDay))
		return every >= fetchEvery && every <= slowest && (every == slowest || kept)
	}
	if err := quick.Check(property, nil); err != nil {
		t.Error(err)
	}
	free := forecast.Limits{PerHour: 5000, PerDay: 10000, Weight: 1.3}
	if got := intervalOf(free, 200); got != fetchEvery {
		t.Errorf("200 cells are fetched every %v", got)
	}
	if got := intervalOf(free, 2000); got < 6*time.Hour || got > 8*time.Hour {
		t.Errorf("2,000 cells on the free service are fetched every %v", got)
	}
}
