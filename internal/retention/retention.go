// Package retention owns how long things are kept: it forgets what is older, a
// part at a time.
package retention

import (
	"context"
	"fmt"
	"time"

	"dryslot/internal/fault"
)

// Store is what retention needs of the database.
type Store interface {
	// InAccount runs fn in one transaction that sees one account's rows only.
	InAccount(ctx context.Context, account string, fn func(context.Context, Tx) error) error
	// InSystem runs fn in one transaction that sees no account's rows.
	InSystem(ctx context.Context, fn func(context.Context, SystemTx) error) error
}

// Tx is one account's transaction.
type Tx interface {
	// ForgetAnswers forgets up to limit answers that are older than they are
	// kept, and sets when the account is due for it again.
	ForgetAnswers(ctx context.Context, now time.Time, limit int) error
}

// SystemTx is a transaction over what belongs to no account.
type SystemTx interface {
	// Prune forgets sessions, cells, forecasts, chances and logged rain older
	// than they are kept, up to limit rows of each, except forecasts that a
	// current plan was made from. More is true when a limit was reached.
	Prune(ctx context.Context, now time.Time, limit int) (more bool, err error)
	// DueAccounts lists up to limit accounts of which something is to be
	// forgotten.
	DueAccounts(ctx context.Context, now time.Time, limit int) ([]string, error)
}

// Service forgets what is older than it is kept. It may be used by several
// goroutines.
type Service struct {
	Store Store
	Now   func() time.Time // the service's clock
	Wall  func() time.Time // the real clock, for how long a run lasts; nil: Now
}

func (s *Service) wall() time.Time {
	if s.Wall != nil {
		return s.Wall()
	}
	return s.Now()
}

// Forgetting. It goes in parts, each in a transaction of its own, so that what
// is done stays done and the rest is found again; one part of forecasts is some
// 0.1 GB, and takes well under a second.
const (
	pruneBatch    = 1000             // rows of each sort
	pruneAccounts = 100              // at a time
	pruneFor      = 10 * time.Second // half of what a job may last
	pruneAgain    = time.Second
)

// Prune forgets what is older than it is kept. With more to forget than there
// is time for it returns fault.Unavailable with RetryAfter: call it again.
func (s *Service) Prune(ctx context.Context) error {
	begun := s.wall()
	for {
		more, err := s.pruneSome(ctx)
		switch {
		case err != nil:
			return fmt.Errorf("retention: forget what is old: %w", err)
		case !more:
			return nil
		case s.wall().Sub(begun) >= pruneFor:
			return &fault.Error{Kind: fault.Unavailable, Message: fault.Stated("there is more to forget").Message,
				RetryAfter: pruneAgain}
		}
	}
}

// pruneSome forgets one part; more is true when there may be another.
func (s *Service) pruneSome(ctx context.Context) (more bool, err error) {
	now := s.Now()
	var accounts []string
	err = s.Store.InSystem(ctx, func(ctx context.Context, tx SystemTx) error {
		if more, err = tx.Prune(ctx, now, pruneBatch); err != nil {
			return err
		}
		accounts, err = tx.DueAccounts(ctx, now, pruneAccounts)
		return err
	})
	if err != nil {
		return false, err
	}
	for _, a := range accounts {
		err := s.Store.InAccount(ctx, a, func(ctx context.Context, tx Tx) error {
			return tx.ForgetAnswers(ctx, now, pruneBatch)
		})
		if err != nil {
			return false, err
		}
	}
	return more || len(accounts) > 0, nil
}
