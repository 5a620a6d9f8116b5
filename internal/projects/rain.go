package projects

import (
	"context"
	"fmt"
	"time"

	"dryslot/internal/history"
	"dryslot/internal/place"
	"dryslot/internal/pour"
)

// longestLogged bounds the rain of one entry that is spread over hours.
const longestLogged = 24

// logRain keeps the rain of a spell that was logged for verifying. An amount
// counts from the spell's beginning on, over its minutes, evenly; without
// minutes it is its hour's. Builders log rain and not its absence, so that a
// logged amount only corrects the feed's own account upwards. None lies in the
// future: what is not over has no amount.
func (s *Service) logRain(ctx context.Context, tx Tx, p pour.Project, e history.Spell) error {
	if e.RainMM == nil || *e.RainMM <= 0 || e.Open {
		return nil
	}
	start, hours := e.From.UTC().Truncate(time.Hour), 1
	if e.Minutes != nil && *e.Minutes > 60 {
		end := e.From.Add(time.Duration(*e.Minutes * float64(time.Minute)))
		hours = int((end.Sub(start) + time.Hour - 1) / time.Hour)
	}
	if hours > longestLogged {
		return nil // when it fell is not known well enough
	}
	err := tx.LogRain(ctx, place.CellOf(p.Latitude, p.Longitude), start, hours, *e.RainMM/float64(hours))
	if err != nil {
		return fmt.Errorf("fetching: keep logged rain: %w", err)
	}
	return nil
}
