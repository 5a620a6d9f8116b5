package watch

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

// Rhythm of fetching. Judgement: the feeds' models are run every one to six
// hours, and half of an hour's tries may fail before a forecast is called aged.
const (
	fetchEvery   = time.Hour
	fetchSpread  = 10 * time.Minute // by which cells differ, so that they spread
	fetchLease   = 90 * time.Second // longer than any fetch lasts
	fetchRetry   = 30 * time.Second // after a first failure
	fetchSlowest = 30 * time.Minute // between tries, however many have failed
	// lostAfter is how long a request under way counts as one of those that a
	// provider bears at the same time: longer than a job lasts.
	lostAfter = 25 * time.Second
	// waitHere is how long a fetch waits for its turn before it goes back to
	// the queue.
	waitHere = 3 * time.Second
)

// Limited is a feed whose provider states limits.
type Limited interface{ Limits() forecast.Limits }

// Refresh fetches one cell's forecast when it is due, from the feeds in order
// of preference, keeps it, and asks for a new plan of every project that plans
// from it, in the same transaction. A document is believed whole or not at
// all. It does nothing when another worker is fetching the cell or it is not
// due. A failure is recorded with when to try again; only failing to record is
// returned, and fault.Unavailable with RetryAfter when the provider's limits
// ask for patience.
func (s *Service) Refresh(ctx context.Context, cell place.Cell) error {
	if shut := s.shutFor(s.wall()); shut != nil {
		return s.postpone(ctx, cell, shut)
	}
	state, taken, err := s.leaseCell(ctx, cell)
	if err != nil || !taken {
		return err
	}
	got, troubles := s.ask(ctx, state)
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
	return s.Store.InSystem(ctx, func(ctx context.Context, tx SystemTx) error {
		cells, err := tx.CellsWatched(ctx, now)
		if err != nil {
			return fmt.Errorf("watch: rhythm of fetching: %w", err)
		}
		next := now.Add(s.rhythm(cells, got) + work.Jitter(fetchSpread, cell.Key(), now.Hour()))
		next = later(next, merged.NextFetch)
		if err := remember(ctx, tx, &merged, now); err != nil {
			return err
		}
		kept, err := tx.KeepForecast(ctx, merged, next)
		if err != nil {
			return fmt.Errorf("watch: keep the forecast of %s: %w", cell.Key(), err)
		}
		if err := noteTrouble(ctx, tx, cell, troubles); err != nil {
			return err
		}
		if err := s.verify(ctx, tx, kept, now); err != nil {
			return fmt.Errorf("watch: verify the forecasts of %s: %w", cell.Key(), err)
		}
		refs, err := tx.ProjectsOfCell(ctx, cell)
		if err != nil {
			return fmt.Errorf("watch: projects of %s: %w", cell.Key(), err)
		}
		plans := make([]work.Work, len(refs))
		for i, r := range refs {
			plans[i] = work.Replan{Account: r.Account, Project: r.Project, Because: "new forecast"}
		}
		if err := tx.Enqueue(ctx, plans...); err != nil {
			return fmt.Errorf("watch: enqueue replans: %w", err)
		}
		s.log().Info("forecast kept", "cell", cell.Key(), "feed", kept.Forecast.Sources[0].Feed, "projects", len(refs))
		return nil
	})
}

// remember puts the night before in front of a forecast whose feed begins with
// the hour at hand: rain and frost on the base, and the weather of pads placed
// since, are not forgotten at the next fetch. Sample weather is not carried
// into real weather.
func remember(ctx context.Context, tx SystemTx, f *forecast.Forecast, now time.Time) error {
	const reachesBack = 36 * time.Hour // a night and the day before it
	if !f.Hours[0].Start.After(now.Add(-reachesBack)) {
		return nil
	}
	held, err := tx.Forecast(ctx, f.Cell)
	switch {
	case errors.Is(err, fault.NotFound):
		return nil
	case err != nil:
		return fmt.Errorf("watch: the forecast of before: %w", err)
	case held.Forecast.Sources[0].Feed == sampleFeed && f.Sources[0].Feed != sampleFeed:
		return nil
	}
	f.Remember(&held.Forecast, now.Add(-forecast.PastHours))
	return nil
}

// noteTrouble shows why feeds gave nothing that another made up for.
func noteTrouble(ctx context.Context, tx SystemTx, cell place.Cell, troubles []trouble) error {
	var why []string
	for _, t := range troubles {
		if t.wait == 0 { // it was asked
			why = append(why, t.String())
		}
	}
	if len(why) == 0 {
		return nil
	}
	if err := tx.NoteTrouble(ctx, cell, cut(strings.Join(why, "; "))); err != nil {
		return fmt.Errorf("watch: note why a feed was not used for %s: %w", cell.Key(), err)
	}
	return nil
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

func (s *Service) leaseCell(ctx context.Context, cell place.Cell) (state CellState, taken bool, err error) {
	now := s.Now()
	err = s.Store.InSystem(ctx, func(ctx context.Context, tx SystemTx) error {
		state, taken, err = tx.LeaseCell(ctx, cell, now, now.Add(fetchLease))
		return err
	})
	if err != nil {
		return CellState{}, false, fmt.Errorf("watch: lease %s: %w", cell.Key(), err)
	}
	return state, taken, nil
}

// ask asks the feeds in order until the picture of the hours is whole.
func (s *Service) ask(ctx context.Context, state CellState) (got []forecast.Forecast, troubles []trouble) {
	for _, f := range s.Feeds {
		validator := ""
		if len(s.Feeds) == 1 {
			validator = state.Validator // of merged forecasts no document is whole enough to be sent back
		}
		fc, wait, err := s.askFeed(ctx, f, state.Cell, validator)
		if errors.Is(err, forecast.ErrNotModified) {
			fc, err = s.confirmed(ctx, state, fc)
		}
		if err == nil {
			err = fc.CheckAhead(s.Now())
		}
		if err != nil {
			troubles = append(troubles, trouble{f.Name(), err, wait})
			continue
		}
		got = append(got, fc)
		if whole(fc) {
			break
		}
	}
	return got, troubles
}

// needed is what a morning is judged by. What no feed gives stays unknown.
var needed = [...]forecast.Variable{forecast.AirC, forecast.HumidityPct, forecast.WindMS, forecast.CloudPct, forecast.RainMM, forecast.RainChance}

// whole reports whether the coming three days lack nothing that is needed: a
// second feed is then not asked.
func whole(f forecast.Forecast) bool {
	from := f.FetchedAt()
	for i := range f.Hours {
		h := &f.Hours[i]
		if h.Start.Before(from) || h.Start.After(from.Add(72*time.Hour)) {
			continue
		}
		for _, v := range needed {
			if !h.Get(v).Known && (v != forecast.RainChance || len(f.Members) == 0) {
				return false
			}
		}
	}
	return true
}

// confirmed is the forecast that is held, said by its feed to be the newest
// still: age counts from this fetch on, where the document says no other time.
func (s *Service) confirmed(ctx context.Context, state CellState, said forecast.Forecast) (forecast.Forecast, error) {
	var held forecast.Kept
	err := s.Store.InSystem(ctx, func(ctx context.Context, tx SystemTx) (err error) {
		held, err = tx.Forecast(ctx, state.Cell)
		return err
	})
	if err != nil {
		return forecast.Forecast{}, fmt.Errorf("not modified, but none is held: %w", err)
	}
	f := held.Forecast
	f.Sources = append([]forecast.Source(nil), f.Sources...)
	for i := range f.Sources {
		f.Sources[i].FetchedAt = s.Now()
	}
	f.NextFetch = said.NextFetch
	return f, nil
}

// askFeed asks one feed within its provider's limits. A wait that is not zero
// says that it was not asked.
func (s *Service) askFeed(ctx context.Context, f Feed, cell place.Cell, validator string) (fc forecast.Forecast, wait time.Duration, err error) {
	var l forecast.Limits
	if limited, ok := f.(Limited); ok {
		l = limited.Limits()
	}
	leave, err := s.turn(ctx, f.Name(), l.AtOnce)
	if err != nil {
		return fc, waitHere, err
	}
	defer leave()
	giveUp, wait, err := s.take(ctx, f.Name(), l)
	if err != nil {
		return fc, wait, err
	}
	fc, err = f.Fetch(ctx, cell, validator, s.Now())
	done, cancel := context.WithTimeout(context.WithoutCancel(ctx), 5*time.Second)
	defer cancel()
	if e := s.done(done, f.Name(), giveUp, outcomeOf(err)); e != nil {
		s.log().Error("feed state", "feed", f.Name(), "error", e)
	}
	return fc, 0, err
}

// turn waits for one of the turns of a feed in this process, so that workers
// of one process do not contend for the row.
func (s *Service) turn(ctx context.Context, feed string, atOnce int) (leave func(), err error) {
	if atOnce <= 0 {
		return func() {}, nil
	}
	v, _ := s.turns.LoadOrStore(feed, make(chan struct{}, atOnce))
	turns := v.(chan struct{})
	leave = func() { <-turns }
	select {
	case turns <- struct{}{}:
		return leave, nil
	default:
	}
	if s.After != nil {
		select {
		case turns <- struct{}{}:
			return leave, nil
		case <-s.After(waitHere):
		case <-ctx.Done():
		}
	}
	return nil, fault.New(fault.Unavailable, "no turn came free")
}

// take takes one request out of the feed's limits, waiting a little for it.
func (s *Service) take(ctx context.Context, feed string, l forecast.Limits) (giveUp time.Time, wait time.Duration, err error) {
	left := waitHere
	if s.After == nil {
		left = 0
	}
	for {
		now := s.wall()
		giveUp = now.Add(lostAfter).Truncate(time.Microsecond)
		var why string
		err = s.Store.InSystem(ctx, func(ctx context.Context, tx SystemTx) error {
			st, err := tx.FeedState(ctx, feed)
			if err != nil {
				return err
			}
			if wait, why = st.Take(l, now, giveUp); wait > 0 {
				return nil
			}
			return tx.SetFeedState(ctx, st)
		})
		switch {
		case err != nil:
			return giveUp, 0, fmt.Errorf("watch: limits of %s: %w", feed, err)
		case wait == 0:
			return giveUp, 0, nil
		case wait > left:
			s.shuts.Store(feed, shut{now, now.Add(wait), why})
			return giveUp, wait, &fault.Error{Kind: fault.Unavailable, Message: why, RetryAfter: wait}
		}
		left -= wait
		select {
		case <-s.After(wait):
		case <-ctx.Done():
			return giveUp, wait, ctx.Err()
		}
	}
}

func (s *Service) done(ctx context.Context, feed string, giveUp time.Time, o FeedOutcome) error {
	return s.Store.InSystem(ctx, func(ctx context.Context, tx SystemTx) error {
		st, err := tx.FeedState(ctx, feed)
		if err != nil {
			return err
		}
		st.Done(giveUp, s.wall(), o)
		return tx.SetFeedState(ctx, st)
	})
}

// outcomeOf tells a feed's own failure from a refusal of one cell.
func outcomeOf(err error) FeedOutcome {
	if err == nil || errors.Is(err, forecast.ErrNotModified) || errors.Is(err, fault.Invalid) || errors.Is(err, fault.NotFound) {
		return FeedOutcome{}
	}
	o := FeedOutcome{Failed: true, Why: err.Error()}
	var e *fault.Error
	if errors.As(err, &e) {
		o.RetryAfter = e.RetryAfter
	}
	return o
}

// recordFailure says why the cell has no new forecast and when it is tried
// again. Where no feed was even asked, nothing has failed: it is postponed.
func (s *Service) recordFailure(ctx context.Context, state CellState, now time.Time, troubles []trouble) error {
	var why []string
	postponed, wish := true, time.Duration(0)
	for _, t := range troubles {
		why = append(why, t.String())
		postponed = postponed && t.wait > 0
		var e *fault.Error
		if errors.As(t.err, &e) {
			wish = max(wish, e.RetryAfter)
		}
	}
	if len(s.Feeds) == 0 {
		why, postponed = []string{"no feed is set up"}, false
	}
	wait := work.Backoff(fetchRetry, fetchSlowest, state.Cell.Key(), state.Failures+1)
	if postponed {
		wait = spread(wish, state.Cell, now)
	} else {
		wait = max(wait, min(wish, fetchSlowest)+work.Jitter(20*time.Second, state.Cell.Key(), now.Minute()))
	}
	reason := cut(strings.Join(why, "; "))
	s.log().Warn("no new forecast", "cell", state.Cell.Key(), "postponed", postponed, "again_in", wait.Round(time.Second), "why", reason)
	err := s.Store.InSystem(ctx, func(ctx context.Context, tx SystemTx) error {
		if postponed {
			return tx.PostponeFetch(ctx, state.Cell, now.Add(wait), reason)
		}
		return tx.FetchFailed(ctx, state.Cell, now, now.Add(wait), reason)
	})
	if err != nil {
		return fmt.Errorf("watch: record why %s was not fetched: %w", state.Cell.Key(), err)
	}
	if postponed {
		return &fault.Error{Kind: fault.Unavailable, Message: reason, RetryAfter: wait}
	}
	return nil
}
