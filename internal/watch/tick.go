package watch

import (
	"context"
	"errors"
	"fmt"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/work"
)

// Looking for what is due.
const (
	tickLease = 2 * time.Minute // what was listed is not listed again before
	tickBatch = 500
	// tickGrace leaves a delivery to its own job; one that is still due after
	// it has lost its job.
	tickGrace = 20 * time.Second
)

// Tick looks for what is due in the rows and enqueues it: deliveries whose own
// job was lost, projects to look at, and plans whose job was lost, in this
// order. What can't be looked for keeps nothing else from being found. It may run at any
// number of workers at the same time.
func (s *Service) Tick(ctx context.Context) error {
	var failed []error
	for _, list := range [...]func(context.Context, SystemTx, time.Time) (int, error){dueDeliveries, dueProjects, lostTurns} {
		for {
			n := 0
			now := s.Now()
			err := s.Store.InSystem(ctx, func(ctx context.Context, tx SystemTx) (err error) {
				n, err = list(ctx, tx, now)
				return err
			})
			if err != nil {
				failed = append(failed, fmt.Errorf("watch: look for what is due: %w", err))
			}
			if err != nil || n < tickBatch {
				break
			}
		}
	}
	return errors.Join(failed...)
}

func dueProjects(ctx context.Context, tx SystemTx, now time.Time) (int, error) {
	refs, err := tx.DueProjects(ctx, now, now.Add(tickLease), tickBatch)
	if err != nil {
		return 0, err
	}
	todo := make([]work.Work, len(refs))
	for i, r := range refs {
		todo[i] = work.RaiseAlerts(r)
	}
	return len(refs), tx.Enqueue(ctx, todo...)
}

// dueDeliveries lists one batch only: what it lists is not leased, and would
// be listed again.
func dueDeliveries(ctx context.Context, tx SystemTx, now time.Time) (int, error) {
	refs, err := tx.DueDeliveries(ctx, now.Add(-tickGrace), tickBatch)
	if err != nil {
		return 0, err
	}
	todo := make([]work.Work, len(refs))
	for i, r := range refs {
		todo[i] = work.Deliver(r)
	}
	return 0, tx.Enqueue(ctx, todo...)
}

// lostTurns asks for the plans whose job was lost, one batch at a time.
func lostTurns(ctx context.Context, tx SystemTx, _ time.Time) (int, error) {
	n, err := tx.LostTurns(ctx)
	if err != nil {
		return 0, err
	}
	todo := make([]work.Work, min(n, tickBatch))
	for i := range todo {
		todo[i] = work.NextPlan{}
	}
	return 0, tx.Enqueue(ctx, todo...)
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
			return fmt.Errorf("watch: forget what is old: %w", err)
		case !more:
			return nil
		case s.wall().Sub(begun) >= pruneFor:
			return &fault.Error{Kind: fault.Unavailable, Message: "there is more to forget", RetryAfter: pruneAgain}
		}
	}
}

// pruneSome forgets one part; more tells whether there may be another.
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
		err := s.Store.InAccount(ctx, a, func(ctx context.Context, tx Tx) error { return tx.ForgetAnswers(ctx, now, pruneBatch) })
		if err != nil {
			return false, err
		}
	}
	return more || len(accounts) > 0, nil
}
