package fetching

import (
	"context"
	"fmt"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/forecast"
)

// knownAfter is how long after an hour its rain is taken as known. Judgement:
// global models are run every six hours and take some five to come out, so that
// the feed's account of the hour is then an analysis or nearly; and a day's
// rain has been logged by the evening.
const knownAfter = 12 * time.Hour

// Everywhere is the scope of all places together.
const Everywhere = "everywhere"

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
		s.log().ErrorContext(ctx, "counting begins anew", "cell", f.Cell.Key(), "error", err)
		v, err = Verification{Of: stated.Of}, nil
	}
	if err != nil {
		return err
	}
	v.Rain.Note(f, now)
	to := now.Add(-knownAfter - stated.Wet.Period).Truncate(time.Hour).Add(time.Hour)
	longest := forecast.Leads[forecast.NumLeads-1]
	if v.Until.IsZero() {
		v.Until = now.Truncate(time.Hour) // nothing was stated before
	}
	due := &forecast.Counts{}
	if v.Until.Before(to) {
		if err := tx.SeenRain(ctx, f.Cell, v.Until, &v.Rain); err != nil {
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
		s.log().ErrorContext(ctx, "counted for the cell alone", "cell", f.Cell.Key(), "error", err)
		everywhere, err = v.Counts, nil
	}
	if err != nil {
		return err
	}
	cal, _ := forecast.LearnCounts(&v.Counts, &everywhere, stated.Members)
	return tx.KeepStated(ctx, kept.ID, f.Cell, stated, cal)
}

// Reports are how chances that were stated compare with what came true, for each
// band of forecast.Leads.
type Reports [forecast.NumLeads]forecast.LeadReport

// Proved returns how the forecasts of a kept forecast's cell proved: whose
// chances of what, and a report for each band of forecast.Leads. It is false
// where the forecast states no chances. Any account may ask: the counts name
// none.
func (s *Service) Proved(ctx context.Context, account string, kept forecast.Kept) (
	of string, reports Reports, ok bool, err error) {
	stated, ok := kept.Forecast.Stated()
	if !ok {
		return "", reports, false, nil
	}
	var here, everywhere forecast.Counts
	err = s.Store.InAccount(ctx, account, func(ctx context.Context, tx Tx) (err error) {
		here, everywhere, err = tx.Counted(ctx, kept.Forecast.Cell, stated.Of)
		return err
	})
	if err != nil {
		return "", reports, false, fmt.Errorf("fetching: how forecasts proved: %w", err)
	}
	_, reports = forecast.LearnCounts(&here, &everywhere, stated.Members)
	return stated.Of, reports, true, nil
}
