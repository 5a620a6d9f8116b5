package projects

import (
	"context"
	"errors"
	"fmt"
	"time"

	"dryslot/internal/work"
)

// Looking for what is due.
const (
	dueLease = 2 * time.Minute // what was listed is not listed again before
	dueBatch = 500
)

// EnqueueDue looks for what is due in the rows and enqueues it: projects to look at,
// and plans whose job was lost. What can't be listed keeps nothing else from
// being found. Any number of workers may do so at the same time.
func (s *Service) EnqueueDue(ctx context.Context) error {
	var failed []error
	for _, list := range [...]func(context.Context, SystemTx, time.Time) (int, error){dueProjects, lostTurns} {
		for {
			n := 0
			now := s.Now()
			err := s.Store.InSystem(ctx, func(ctx context.Context, tx SystemTx) (err error) {
				n, err = list(ctx, tx, now)
				return err
			})
			if err != nil {
				failed = append(failed, fmt.Errorf("projects: look for what is due: %w", err))
			}
			if err != nil || n < dueBatch {
				break
			}
		}
	}
	return errors.Join(failed...)
}

func dueProjects(ctx context.Context, tx SystemTx, now time.Time) (int, error) {
	refs, err := tx.DueProjects(ctx, now, now.Add(dueLease), dueBatch)
	if err != nil {
		return 0, err
	}
	todo := make([]work.Work, len(refs))
	for i, r := range refs {
		todo[i] = work.RaiseAlerts(r)
	}
	return len(refs), tx.Enqueue(ctx, todo...)
}

// lostTurns asks for the plans whose job was lost, one batch at a time.
func lostTurns(ctx context.Context, tx SystemTx, _ time.Time) (int, error) {
	n, err := tx.LostTurns(ctx)
	if err != nil {
		return 0, err
	}
	todo := make([]work.Work, min(n, dueBatch))
	for i := range todo {
		todo[i] = work.NextPlan{}
	}
	return 0, tx.Enqueue(ctx, todo...)
}
