package fetching

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/forecast"
	"dryslot/internal/place"
	"dryslot/internal/work"
)

// ShortFeed is a feed with a short-range product. It returns a whole one or an
// error, as Feed does.
type ShortFeed interface {
	FetchShort(ctx context.Context, cell place.Cell, now time.Time) (forecast.ShortRange, error)
}

// When to fetch short-range products. Judgement: providers renew them every 5 to
// 15 minutes.
const (
	shortEvery   = 15 * time.Minute
	shortLease   = time.Minute      // longer than any fetch lasts
	shortRetry   = time.Minute      // after a first failure
	shortSlowest = 15 * time.Minute // between tries, however many have failed
	shortSpread  = 30 * time.Second // by which cells differ
)

// RefreshShort fetches the short-range product of one cell when it is due, from
// the first feed that has one for it, keeps it, and has every project with a
// day under way there looked at, in the same transaction. A failure is recorded
// with when to try again; the product held stays. Errors are those of Refresh.
func (s *Service) RefreshShort(ctx context.Context, cell place.Cell) error {
	now := s.Now()
	var state ShortState
	var live int
	taken := false
	err := s.Store.InSystem(ctx, func(ctx context.Context, tx SystemTx) (err error) {
		if state, taken, err = tx.LeaseShort(ctx, cell, now, now.Add(shortLease)); err != nil || !taken {
			return err
		}
		live, err = tx.CellsLive(ctx, now)
		return err
	})
	if err != nil {
		return fmt.Errorf("fetching: lease the short range of %s: %w", cell.Key(), err)
	}
	if !taken {
		return nil
	}
	product, troubles := s.askShort(ctx, cell)
	// What came of it is recorded even when the job's time is up meanwhile.
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), 5*time.Second)
	defer cancel()
	now = s.Now()
	if product == nil {
		err = s.shortFailed(ctx, state, now, troubles)
	} else {
		err = s.keepShort(ctx, *product, now, live, troubles)
	}
	if err != nil {
		return errors.Join(err, s.releaseShort(ctx, cell))
	}
	return nil
}

// keepShort keeps a product of now, says when the next is fetched, and has the days
// under way looked at.
func (s *Service) keepShort(ctx context.Context, product forecast.ShortRange, now time.Time, live int,
	troubles []trouble) error {
	cell := product.Cell
	return s.Store.InSystem(ctx, func(ctx context.Context, tx SystemTx) error {
		every := s.shortInterval(product.Source.Feed, live)
		if product.OldAfter > 0 {
			every = min(every, product.OldAfter/2) // it is of no use beyond that
		}
		next := later(now.Add(every+work.Jitter(shortSpread, cell.Key(), now.Minute())), product.NextFetch)
		if err := tx.KeepShort(ctx, product, now, next, together(troubles)); err != nil {
			return fmt.Errorf("fetching: keep the short range of %s: %w", cell.Key(), err)
		}
		s.log().InfoContext(ctx, "short range kept", "cell", cell.Key(), "feed", product.Source.Feed)
		return enqueueLooks(ctx, tx, cell, now)
	})
}

// releaseShort gives a cell back whose product, or why there is none, could not be
// kept, so that the job's next try does not find it leased to the one before. That
// try is counted against the feeds' limits as any other.
func (s *Service) releaseShort(ctx context.Context, cell place.Cell) error {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), 5*time.Second)
	defer cancel()
	err := s.Store.InSystem(ctx, func(ctx context.Context, tx SystemTx) error { return tx.ReleaseShort(ctx, cell) })
	if err != nil {
		return fmt.Errorf("fetching: release the short range of %s: %w", cell.Key(), err)
	}
	return nil
}

// enqueueLooks has the projects of a cell that have a day under way looked at.
func enqueueLooks(ctx context.Context, tx SystemTx, cell place.Cell, now time.Time) error {
	refs, err := tx.LiveProjects(ctx, cell, now)
	if err != nil {
		return fmt.Errorf("fetching: projects under way in %s: %w", cell.Key(), err)
	}
	looks := make([]work.Work, len(refs))
	for i, r := range refs {
		looks[i] = work.RaiseAlerts(r)
	}
	if err := tx.Enqueue(ctx, looks...); err != nil {
		return fmt.Errorf("fetching: enqueue looks: %w", err)
	}
	return nil
}

// askShort asks the feeds that have a short-range product, in order, until one
// answers with a document that serves the hours ahead; nil: none did.
func (s *Service) askShort(ctx context.Context, cell place.Cell) (*forecast.ShortRange, []trouble) {
	var troubles []trouble
	for _, f := range s.Feeds {
		short, ok := f.(ShortFeed)
		if !ok {
			continue
		}
		var got forecast.ShortRange
		wait, err := s.within(ctx, f, purpose{short: true}, func() (err error) {
			got, err = short.FetchShort(ctx, cell, s.Now())
			return err
		})
		if err == nil {
			err = got.CheckAhead(s.Now())
		}
		if err == nil {
			return &got, troubles
		}
		troubles = append(troubles, trouble{f.Name(), err, wait})
	}
	return nil, troubles
}

// shortFailed says why a cell has no new short-range product and when it is
// tried again.
func (s *Service) shortFailed(ctx context.Context, state ShortState, now time.Time, troubles []trouble) error {
	wish := time.Duration(0)
	level := slog.LevelWarn
	if len(troubles) == 0 {
		level = slog.LevelInfo // so it stays until the settings change
		troubles, wish = []trouble{{err: fault.Of(fault.Invalid, NoShortFeed)}}, 24*time.Hour
	}
	why := together(troubles)
	for _, t := range troubles {
		var e *fault.Error
		if errors.As(t.err, &e) {
			wish = max(wish, e.RetryAfter)
		}
	}
	wait := max(work.Backoff(shortRetry, shortSlowest, state.Cell.Key(), state.Failures+1), wish)
	s.log().Log(ctx, level, "no new short range", "cell", state.Cell.Key(), "again_in", wait.Round(time.Second), "why",
		why.Text)
	err := s.Store.InSystem(ctx, func(ctx context.Context, tx SystemTx) error {
		return tx.ShortFailed(ctx, state.Cell, now, now.Add(wait), why)
	})
	if err != nil {
		return fmt.Errorf("fetching: record why the short range of %s was not fetched: %w", state.Cell.Key(), err)
	}
	return nil
}

// enqueueShort enqueues the fetches of short-range products that are due.
func (s *Service) enqueueShort(ctx context.Context) error {
	now := s.Now()
	err := s.Store.InSystem(ctx, func(ctx context.Context, tx SystemTx) error {
		cells, err := tx.DueShort(ctx, now, now.Add(shortLease), listBatch)
		if err != nil {
			return err
		}
		todo := make([]work.Work, len(cells))
		for i, c := range cells {
			todo[i] = work.FetchShort{Cell: c}
		}
		return tx.Enqueue(ctx, todo...)
	})
	if err != nil {
		return fmt.Errorf("fetching: list due short ranges: %w", err)
	}
	return nil
}
