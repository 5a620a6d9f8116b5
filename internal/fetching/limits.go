package fetching

import (
	"context"
	"fmt"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/forecast"
	"dryslot/internal/message"
)

// Waiting for a feed's limits.
const (
	// lostAfter is how long a request under way counts against the requests that
	// a provider takes at the same time: longer than a job lasts.
	lostAfter = 25 * time.Second
	// waitHere is how long a fetch waits for the limits before it goes back to
	// the queue.
	waitHere = 3 * time.Second
)

// slot waits for one of a feed's slots in this process, so that workers of one
// process do not contend for the feed's row. Leave frees it.
func (s *Service) slot(ctx context.Context, feed string, atOnce int) (leave func(), err error) {
	if atOnce <= 0 {
		return func() {}, nil
	}
	v, _ := s.slots.LoadOrStore(feed, make(chan struct{}, atOnce))
	slots := v.(chan struct{})
	leave = func() { <-slots }
	select {
	case slots <- struct{}{}:
		return leave, nil
	default:
	}
	if s.After != nil {
		select {
		case slots <- struct{}{}:
			return leave, nil
		case <-s.After(waitHere):
		case <-ctx.Done():
		}
	}
	return nil, fault.Of(fault.Unavailable, FeedNoSlot, message.Name("feed", feed))
}

// take counts one request against the feed's limits, for which it waits up to
// waitHere. GiveUp identifies the request, to done.
func (s *Service) take(ctx context.Context, feed string, l forecast.Limits, p purpose) (
	giveUp time.Time, wait time.Duration, err error) {
	left := waitHere
	if s.After == nil {
		left = 0
	}
	for {
		now := s.wall()
		giveUp = now.Add(lostAfter).Truncate(time.Microsecond)
		var why message.Message
		err = s.Store.InSystem(ctx, func(ctx context.Context, tx SystemTx) error {
			st, err := tx.FeedState(ctx, feed)
			if err != nil {
				return err
			}
			if wait, why = st.Take(l, p, now, giveUp); wait > 0 {
				return nil
			}
			return tx.SetFeedState(ctx, st)
		})
		switch {
		case err != nil:
			return giveUp, 0, fmt.Errorf("fetching: limits of %s: %w", feed, err)
		case wait == 0:
			return giveUp, 0, nil
		case wait > left:
			s.pauses.Store(feed, pause{now, now.Add(wait), why})
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

// done records what became of a request.
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
