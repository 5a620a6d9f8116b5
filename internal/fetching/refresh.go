package fetching

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/forecast"
	"dryslot/internal/place"
	"dryslot/internal/work"
)

// When to fetch. Judgement: the feeds' models are run every one to six hours,
// and half of an hour's tries may fail before a forecast is called aged.
const (
	fetchEvery   = time.Hour
	fetchSpread  = 10 * time.Minute // by which cells differ, so that they spread
	fetchLease   = 90 * time.Second // longer than any fetch lasts
	fetchRetry   = 30 * time.Second // after a first failure
	fetchSlowest = 30 * time.Minute // between tries, however many have failed
)

// Refresh fetches one cell's forecast when it is due, from the feeds in order
// of preference, keeps it, and enqueues a new plan of every project that plans
// from it, in the same transaction. A document is taken whole or not at all.
// Nothing is done when another worker is fetching the cell or it is not due. A
// failure is recorded with when to try again. Errors: failing to record, and
// fault.Unavailable with RetryAfter where the provider's limits require a wait.
func (s *Service) Refresh(ctx context.Context, cell place.Cell) error {
	if paused := s.pausedFor(s.wall()); paused != nil {
		return s.postpone(ctx, cell, paused)
	}
	state, live, taken, err := s.leaseCell(ctx, cell)
	if err != nil || !taken {
		return err
	}
	got, troubles := s.ask(ctx, state, live)
	// What came of it is recorded even when the job's time is up meanwhile.
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), 5*time.Second)
	defer cancel()
	now := s.Now()
	if len(got) == 0 {
		return s.recordFailure(ctx, state, now, troubles)
	}
	merged, err := forecast.Merge(got...)
	if err == nil {
		err = merged.Usable()
	}
	if err != nil {
		return s.recordFailure(ctx, state, now, append(troubles, trouble{err: err}))
	}
	merged.Fill()
	err = s.Store.InSystem(ctx, func(ctx context.Context, tx SystemTx) error {
		cells, err := tx.CellsWatched(ctx, now)
		if err != nil {
			return fmt.Errorf("fetching: count the cells: %w", err)
		}
		next := now.Add(s.interval(cells, live, got) + work.Jitter(fetchSpread, cell.Key(), now.Hour()))
		return s.keep(ctx, tx, merged, now, later(next, merged.NextFetch), troubles)
	})
	if err != nil {
		return errors.Join(err, s.release(ctx, cell, now))
	}
	return nil
}

// release gives a cell back whose forecast could not be kept, so that the job's next
// try finds it due and not leased to the one before.
func (s *Service) release(ctx context.Context, cell place.Cell, now time.Time) error {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), 5*time.Second)
	defer cancel()
	err := s.Store.InSystem(ctx, func(ctx context.Context, tx SystemTx) error {
		return tx.PostponeFetch(ctx, cell, now, Trouble{})
	})
	if err != nil {
		return fmt.Errorf("fetching: release %s: %w", cell.Key(), err)
	}
	return nil
}

// keep keeps a cell's forecast of now, which is fetched again at next, and has
// its projects planned anew unless the weather is as it was.
func (s *Service) keep(ctx context.Context, tx SystemTx, f forecast.Forecast, now, next time.Time,
	troubles []trouble) error {
	cell := f.Cell
	held, err := newest(ctx, tx, cell)
	if err != nil {
		return err
	}
	if held != nil && f.SameWeather(&held.Forecast) {
		return s.confirm(ctx, tx, f, next, troubles)
	}
	if held != nil {
		keepPast(&f, &held.Forecast, now)
	}
	kept, err := tx.KeepForecast(ctx, f, next)
	if err != nil {
		return fmt.Errorf("fetching: keep the forecast of %s: %w", cell.Key(), err)
	}
	if err := noteTrouble(ctx, tx, cell, troubles); err != nil {
		return err
	}
	if err := s.verify(ctx, tx, kept, now); err != nil {
		return fmt.Errorf("fetching: verify the forecasts of %s: %w", cell.Key(), err)
	}
	refs, err := tx.ProjectsOfCell(ctx, cell)
	if err != nil {
		return fmt.Errorf("fetching: projects of %s: %w", cell.Key(), err)
	}
	plans := make([]work.Work, len(refs))
	for i, r := range refs {
		plans[i] = work.Replan{Account: r.Account, Project: r.Project, Because: "new forecast"}
	}
	if err := tx.Enqueue(ctx, plans...); err != nil {
		return fmt.Errorf("fetching: enqueue replans: %w", err)
	}
	// A day under way does not wait for the turn of its plan.
	if err := enqueueLooks(ctx, tx, cell, now); err != nil {
		return err
	}
	for i := range kept.Forecast.Sources {
		if x := &kept.Forecast.Sources[i]; len(x.LeftOut) > 0 {
			s.log().WarnContext(ctx, "left out of a forecast", "cell", cell.Key(), "feed", x.Feed, "fields", x.LeftOut)
		}
	}
	s.log().InfoContext(ctx, "forecast kept", "cell", cell.Key(), "feed", kept.Forecast.Sources[0].Feed, "projects",
		len(refs))
	return nil
}

// confirm notes that a cell's weather is as it was: no plan can come out
// otherwise, and none is made.
func (s *Service) confirm(ctx context.Context, tx SystemTx, f forecast.Forecast, next time.Time,
	troubles []trouble) error {
	if err := tx.ConfirmForecast(ctx, f.Cell, f.FetchedAt(), next, f.Validator); err != nil {
		return fmt.Errorf("fetching: confirm the forecast of %s: %w", f.Cell.Key(), err)
	}
	s.log().InfoContext(ctx, "forecast unchanged", "cell", f.Cell.Key(), "feed", f.Sources[0].Feed)
	return noteTrouble(ctx, tx, f.Cell, troubles)
}

// newest returns the newest forecast of a cell; nil: none yet.
func newest(ctx context.Context, tx SystemTx, cell place.Cell) (*forecast.Kept, error) {
	held, err := tx.Forecast(ctx, cell)
	switch {
	case errors.Is(err, fault.NotFound):
		return nil, nil
	case err != nil:
		return nil, fmt.Errorf("fetching: the forecast of before: %w", err)
	}
	return &held, nil
}

// keepPast puts the hours before now, from the forecast held, in front of one
// whose feed begins with the current hour: rain and frost on the base, and the
// weather of pads placed since, are still needed. Sample weather is not carried
// into real weather.
func keepPast(f, held *forecast.Forecast, now time.Time) {
	const reachesBack = 36 * time.Hour // a night and the day before it
	sample := held.Sources[0].Feed == forecast.SampleFeed && f.Sources[0].Feed != forecast.SampleFeed
	if f.Hours[0].Start.After(now.Add(-reachesBack)) && !sample {
		f.Remember(held, now.Add(-forecast.PastHours))
	}
}

// noteTrouble records why feeds gave nothing where another's forecast is kept.
func noteTrouble(ctx context.Context, tx SystemTx, cell place.Cell, troubles []trouble) error {
	var asked []trouble
	for _, t := range troubles {
		if t.wait == 0 {
			asked = append(asked, t)
		}
	}
	if len(asked) == 0 {
		return nil
	}
	if err := tx.NoteTrouble(ctx, cell, together(asked)); err != nil {
		return fmt.Errorf("fetching: note why a feed was not used for %s: %w", cell.Key(), err)
	}
	return nil
}

// together is the trouble that several feeds gave.
func together(all []trouble) Trouble {
	var out Trouble
	var texts []string
	for _, t := range all {
		texts = append(texts, t.String())
		out.Data = append(out.Data, whyNot(t.feed, t.err))
	}
	out.Text = cut(strings.Join(texts, "; "))
	return out
}

// cut shortens a reason to what fits a row.
func cut(reason string) string {
	if len(reason) > 500 {
		reason = strings.ToValidUTF8(reason[:500], "") + "..."
	}
	return reason
}

// trouble is why one feed gave nothing.
type trouble struct {
	feed string
	err  error
	wait time.Duration // it was not asked, for so long; 0: it was
}

func (t trouble) String() string {
	if t.feed == "" {
		return t.err.Error()
	}
	return t.feed + ": " + t.err.Error()
}

// leaseCell takes a cell for one fetch, and counts the cells with a day under way.
func (s *Service) leaseCell(ctx context.Context, cell place.Cell) (state CellState, live int, taken bool, err error) {
	now := s.Now()
	err = s.Store.InSystem(ctx, func(ctx context.Context, tx SystemTx) error {
		if state, taken, err = tx.LeaseCell(ctx, cell, now, now.Add(fetchLease)); err != nil || !taken {
			return err
		}
		live, err = tx.CellsLive(ctx, now)
		return err
	})
	if err != nil {
		return CellState{}, 0, false, fmt.Errorf("fetching: lease %s: %w", cell.Key(), err)
	}
	return state, live, taken, nil
}

// recordFailure says why the cell has no new forecast and when it is tried
// again. Where no feed was even asked, nothing has failed: it is postponed.
func (s *Service) recordFailure(ctx context.Context, state CellState, now time.Time, troubles []trouble) error {
	postponed, wish := true, time.Duration(0)
	for _, t := range troubles {
		postponed = postponed && t.wait > 0
		var e *fault.Error
		if errors.As(t.err, &e) {
			wish = max(wish, e.RetryAfter)
		}
	}
	if len(s.Feeds) == 0 {
		troubles, postponed = []trouble{{err: fault.Of(fault.Invalid, NoFeed)}}, false
	}
	wait := work.Backoff(fetchRetry, fetchSlowest, state.Cell.Key(), state.Failures+1)
	if postponed {
		wait = spread(wish, state.Cell, now)
	} else {
		wait = max(wait, min(wish, fetchSlowest)+work.Jitter(20*time.Second, state.Cell.Key(), now.Minute()))
	}
	why := together(troubles)
	s.log().WarnContext(ctx, "no new forecast", "cell", state.Cell.Key(), "postponed", postponed,
		"again_in", wait.Round(time.Second), "why", why.Text)
	err := s.Store.InSystem(ctx, func(ctx context.Context, tx SystemTx) error {
		if postponed {
			return tx.PostponeFetch(ctx, state.Cell, now.Add(wait), why)
		}
		return tx.FetchFailed(ctx, state.Cell, now, now.Add(wait), why)
	})
	if err != nil {
		return fmt.Errorf("fetching: record why %s was not fetched: %w", state.Cell.Key(), err)
	}
	if postponed {
		return &fault.Error{Kind: fault.Unavailable, Message: why.Data[0], RetryAfter: wait}
	}
	return nil
}
