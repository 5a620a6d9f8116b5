package watch

import (
	"context"
	"fmt"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/forecast"
	"dryslot/internal/history"
	"dryslot/internal/place"
	"dryslot/internal/pour"
)

// settled is how long after an hour its rain is taken as known. Judgement:
// global models are run every six hours and take some five to come out, so that
// the feed's account of the hour is then an analysis or nearly; and a day's
// rain has been logged by the evening.
const settled = 12 * time.Hour

// Everywhere is the scope of all places together.
const Everywhere = "everywhere"

// Verification is what was counted of one cell's forecasts.
type Verification struct {
	Of     string          // whose chances of what
	Until  time.Time       // hours that begin before it are counted; zero: none yet
	Rain   forecast.Rain   // that fell lately, for what is not counted yet
	Counts forecast.Counts // so far
}

// SystemVerify is the part of SystemTx that keeps and verifies forecasts.
type SystemVerify interface {
	// KeepStated keeps the chances that a forecast stated, and the correction
	// that is to be used with it; nil: none.
	KeepStated(ctx context.Context, forecastID int64, cell place.Cell, s forecast.Stated, cal *forecast.Recalibration) error
	// Stated lists the chances of the same event that forecasts of the cell
	// stated from a time on.
	Stated(ctx context.Context, cell place.Cell, of string, since time.Time) ([]forecast.Stated, error)
	// LoggedRain puts rain that builders logged in the cell since a time into r.
	LoggedRain(ctx context.Context, cell place.Cell, since time.Time, r *forecast.Rain) error
	// LockVerification returns what was counted of a cell, locked for this
	// transaction; with nothing but Of the first time.
	LockVerification(ctx context.Context, cell place.Cell, of string) (Verification, error)
	// KeepVerification keeps it.
	KeepVerification(ctx context.Context, cell place.Cell, v Verification) error
	// CountEverywhere adds to what was counted at all places, and returns that.
	// An empty addition only reads.
	CountEverywhere(ctx context.Context, of string, add *forecast.Counts) (forecast.Counts, error)
}

// AccountVerify is the part of Tx that serves it.
type AccountVerify interface {
	// LogRain keeps rain that a builder saw fall in each of the cell's hours
	// from start on, for verifying: no account is named.
	LogRain(ctx context.Context, cell place.Cell, start time.Time, hours int, mmEach float64) error
	// Counted returns what was counted of a cell's forecasts, and of all
	// cells'; empty where nothing was.
	Counted(ctx context.Context, cell place.Cell, of string) (here, everywhere forecast.Counts, err error)
}

// verify counts what came of earlier forecasts of the cell, by the rain that
// the new one tells of in its past hours and by what builders logged, and keeps
// the new one's chances with the correction that was learned. Each hour is
// counted once: the same transaction moves the mark up to which all is counted.
func (s *Service) verify(ctx context.Context, tx SystemTx, kept forecast.Kept, now time.Time) error {
	f := &kept.Forecast
	stated, ok := f.Stated()
	if !ok {
		return nil // it states no chances
	}
	v, err := tx.LockVerification(ctx, f.Cell, stated.Of)
	if fault.KindOf(err) == fault.Invalid { // no reason to lose a forecast
		s.log().Error("counting begins anew", "cell", f.Cell.Key(), "error", err)
		v, err = Verification{Of: stated.Of}, nil
	}
	if err != nil {
		return err
	}
	v.Rain.Note(f, now)
	to := now.Add(-settled - stated.Wet.Period).Truncate(time.Hour).Add(time.Hour)
	longest := forecast.Leads[forecast.NumLeads-1]
	if v.Until.IsZero() {
		v.Until = now.Truncate(time.Hour) // nothing was stated before
	}
	due := &forecast.Counts{}
	if v.Until.Before(to) {
		if err := tx.LoggedRain(ctx, f.Cell, v.Until, &v.Rain); err != nil {
			return err
		}
		earlier, err := tx.Stated(ctx, f.Cell, stated.Of, v.Until.Add(-longest))
		if err != nil {
			return err
		}
		due = forecast.CountDue(earlier, &v.Rain, v.Until, to)
		v.Until = to
		v.Counts.Merge(due)
	}
	if err := tx.KeepVerification(ctx, f.Cell, v); err != nil {
		return err
	}
	// The one row that all cells share is taken last, and so held shortest.
	everywhere, err := tx.CountEverywhere(ctx, stated.Of, due)
	if fault.KindOf(err) == fault.Invalid {
		s.log().Error("counted for the cell alone", "cell", f.Cell.Key(), "error", err)
		everywhere, err = v.Counts, nil
	}
	if err != nil {
		return err
	}
	cal, _ := forecast.LearnCounts(&v.Counts, &everywhere, stated.Members)
	return tx.KeepStated(ctx, kept.ID, f.Cell, stated, cal)
}

// Proved tells how the forecasts of a kept forecast's cell proved: whose
// chances of what, and a report for each band of forecast.Leads. It is false
// where the forecast states no chances.
func (s *Service) Proved(ctx context.Context, tx Tx, kept forecast.Kept) (of string, reports [forecast.NumLeads]forecast.LeadReport, ok bool, err error) {
	stated, ok := kept.Forecast.Stated()
	if !ok {
		return "", reports, false, nil
	}
	here, everywhere, err := tx.Counted(ctx, kept.Forecast.Cell, stated.Of)
	if err != nil {
		return "", reports, false, fmt.Errorf("watch: how forecasts proved: %w", err)
	}
	_, reports = forecast.LearnCounts(&here, &everywhere, stated.Members)
	return stated.Of, reports, true, nil
}

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
		return fmt.Errorf("watch: keep logged rain: %w", err)
	}
	return nil
}
