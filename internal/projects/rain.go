package projects

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"time"

	"dryslot/internal/history"
	"dryslot/internal/place"
	"dryslot/internal/pour"
)

// longestLogged bounds the rain of one entry that is spread over hours.
const longestLogged = 24

// verifiedLate is how long after an hour its rain is still kept anew when the
// log changes (judgement): feeds are verified by it within a day of theirs.
const verifiedLate = 7 * 24 * time.Hour

// SeenRain is the rain of one hour, as a builder saw it.
type SeenRain struct {
	Hour time.Time
	MM   float64
}

// keepRain keeps all rain in the log, for verifying the feeds.
// An amount counts from the spell's beginning on, over its minutes, evenly;
// without minutes it is its hour's. Builders log rain and not its absence, so
// that a logged amount only corrects the feed's own account upwards. None lies
// in the future: what is not over has no amount. What was undone goes.
func (s *Service) keepRain(ctx context.Context, tx Tx, p pour.Project, spells []history.Spell) error {
	since := s.Now().Add(-verifiedLate).UTC().Truncate(time.Hour)
	most := map[time.Time]float64{}
	for _, x := range spells {
		start, hours, known := hoursOf(x)
		if !known {
			continue
		}
		for i := range hours {
			hour := start.Add(time.Duration(i) * time.Hour)
			if !hour.Before(since) {
				most[hour] = max(most[hour], *x.RainMM/float64(hours))
			}
		}
	}
	seen := make([]SeenRain, 0, len(most))
	for _, hour := range slices.SortedFunc(maps.Keys(most), time.Time.Compare) {
		seen = append(seen, SeenRain{hour, most[hour]})
	}
	if err := tx.KeepSeenRain(ctx, p.ID, place.CellOf(p.Latitude, p.Longitude), since, seen); err != nil {
		return fmt.Errorf("projects: keep the rain that was seen: %w", err)
	}
	return nil
}

// hoursOf returns the hours over which a spell's amount is spread; known is false
// where there is none, or where it is not known well enough when it fell.
func hoursOf(x history.Spell) (start time.Time, hours int, known bool) {
	if x.RainMM == nil || *x.RainMM <= 0 || x.Open {
		return time.Time{}, 0, false
	}
	start, hours = x.From.UTC().Truncate(time.Hour), 1
	if x.Minutes != nil && *x.Minutes > 60 {
		end := x.From.Add(time.Duration(*x.Minutes * float64(time.Minute)))
		hours = int((end.Sub(start) + time.Hour - 1) / time.Hour)
	}
	return start, hours, hours <= longestLogged
}
