package fetching

import (
	"context"
	"fmt"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/message"
	"dryslot/internal/place"
	"dryslot/internal/work"
)

// pause is why a feed may not be asked for a while, as its row said when it was
// read last: its limits are used up, or its circuit is open.
type pause struct {
	read, until time.Time // by the real clock
	why         message.Message
}

// pauseHeld is how long a pause holds without reading the feed's row again:
// another worker's success may have ended it (judgement).
const pauseHeld = 10 * time.Second

// pausedFor returns nil when a feed may be asked, or when that is not known, else
// how long to wait for the first of them. It spares the feeds' rows while some
// thousand cells wait for a provider's minute to pass.
func (s *Service) pausedFor(now time.Time) *fault.Error {
	var first *fault.Error
	for _, f := range s.Feeds {
		v, ok := s.pauses.Load(f.Name())
		if !ok {
			return nil
		}
		n := v.(pause)
		if !now.Before(n.until) || now.After(n.read.Add(pauseHeld)) || now.Before(n.read) {
			return nil
		}
		if wait := n.until.Sub(now); first == nil || wait < first.RetryAfter {
			first = &fault.Error{Kind: fault.Unavailable, Message: n.why, RetryAfter: wait}
		}
	}
	return first
}

// postpone moves a cell that is due to when its feed may be asked again, and
// returns that as an error with RetryAfter; nil when the cell is not due or is
// being fetched.
func (s *Service) postpone(ctx context.Context, cell place.Cell, paused *fault.Error) error {
	now := s.Now()
	wait := spread(paused.RetryAfter, cell, now)
	taken := false
	err := s.Store.InSystem(ctx, func(ctx context.Context, tx SystemTx) (err error) {
		if _, taken, err = tx.LeaseCell(ctx, cell, now, now.Add(fetchLease)); err != nil || !taken {
			return err
		}
		return tx.PostponeFetch(ctx, cell, now.Add(wait), Trouble{paused.Message.String(),
			[]message.Message{paused.Message}})
	})
	switch {
	case err != nil:
		return fmt.Errorf("fetching: postpone %s: %w", cell.Key(), err)
	case !taken:
		return nil
	}
	return &fault.Error{Kind: fault.Unavailable, Message: paused.Message, RetryAfter: wait}
}

// spread lengthens a wait by jitter, the more the longer it is, so that cells
// that waited together are not fetched together.
func spread(wait time.Duration, cell place.Cell, now time.Time) time.Duration {
	const least, most = 20 * time.Second, 5 * time.Minute
	return wait + work.Jitter(max(least, min(wait, most)), cell.Key(), now.Minute())
}
