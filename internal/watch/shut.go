package watch

import (
	"context"
	"fmt"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/place"
	"dryslot/internal/work"
)

// shut is what was heard of a feed that may not be asked for a while: its
// limits are used up, or its circuit is open.
type shut struct {
	heard, until time.Time // of the wall's clock
	why          string
}

// shutTrust is how long it is believed without looking at the feed's row
// again, which another worker's success may have opened (judgement).
const shutTrust = 10 * time.Second

// shutFor returns nil when a feed may be asked, or when that is not known, else
// how long to wait for the first of them. With some thousand cells waiting for
// a provider's minute to pass, the rows are spared so.
func (s *Service) shutFor(now time.Time) *fault.Error {
	var first *fault.Error
	for _, f := range s.Feeds {
		v, ok := s.shuts.Load(f.Name())
		if !ok {
			return nil
		}
		n := v.(shut)
		if !now.Before(n.until) || now.After(n.heard.Add(shutTrust)) || now.Before(n.heard) {
			return nil
		}
		if wait := n.until.Sub(now); first == nil || wait < first.RetryAfter {
			first = &fault.Error{Kind: fault.Unavailable, Message: n.why, RetryAfter: wait}
		}
	}
	return first
}

// postpone moves a cell that is due to when its feed may be asked again, and
// returns that wish; nil when the cell is not due or under way.
func (s *Service) postpone(ctx context.Context, cell place.Cell, shut *fault.Error) error {
	now := s.Now()
	wait := spread(shut.RetryAfter, cell, now)
	taken := false
	err := s.Store.InSystem(ctx, func(ctx context.Context, tx SystemTx) (err error) {
		if _, taken, err = tx.LeaseCell(ctx, cell, now, now.Add(fetchLease)); err != nil || !taken {
			return err
		}
		return tx.PostponeFetch(ctx, cell, now.Add(wait), shut.Message)
	})
	switch {
	case err != nil:
		return fmt.Errorf("watch: postpone %s: %w", cell.Key(), err)
	case !taken:
		return nil
	}
	return &fault.Error{Kind: fault.Unavailable, Message: shut.Message, RetryAfter: wait}
}

// spread returns a wait with something added that differs from cell to cell,
// the more the longer it is: those that waited together do not come together.
func spread(wait time.Duration, cell place.Cell, now time.Time) time.Duration {
	const least, most = 20 * time.Second, 5 * time.Minute
	return wait + work.Jitter(max(least, min(wait, most)), cell.Key(), now.Minute())
}
