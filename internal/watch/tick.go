package watch

import (
	"context"
	"fmt"
	"time"
)

// Looking for what is due.
const (
	tickLease = 2 * time.Minute // what was listed is not listed again before
	tickBatch = 500
	// cellHold is the same for cells: a provider that bears one request at a
	// time takes minutes over some thousands.
	cellHold = 10 * time.Minute
	// tickGrace leaves a delivery to its own job; one that is still due after
	// it has lost its job.
	tickGrace = 20 * time.Second
)

// Tick looks for what is due in the rows and enqueues it: cells to fetch,
// projects to look at, and deliveries whose own job was lost. It may run at
// any number of workers at the same time.
func (s *Service) Tick(ctx context.Context) error {
	for _, list := range [...]func(context.Context, SystemTx, time.Time) (int, error){dueCells, dueProjects, dueDeliveries} {
		for {
			n := 0
			now := s.Now()
			err := s.Store.InSystem(ctx, func(ctx context.Context, tx SystemTx) (err error) {
				n, err = list(ctx, tx, now)
				return err
			})
			if err != nil {
				return fmt.Errorf("watch: look for what is due: %w", err)
			}
			if n < tickBatch {
				break
			}
		}
	}
	return nil
}

func dueCells(ctx context.Context, tx SystemTx, now time.Time) (int, error) {
	cells, err := tx.DueCells(ctx, now, now.Add(cellHold), tickBatch)
	if err != nil {
		return 0, err
	}
	work := make([]Work, len(cells))
	for i, c := range cells {
		work[i] = FetchCell{Cell: c.Cell}
	}
	return len(cells), tx.Enqueue(ctx, work...)
}

func dueProjects(ctx context.Context, tx SystemTx, now time.Time) (int, error) {
	refs, err := tx.DueProjects(ctx, now, now.Add(tickLease), tickBatch)
	if err != nil {
		return 0, err
	}
	work := make([]Work, len(refs))
	for i, r := range refs {
		work[i] = RaiseAlerts(r)
	}
	return len(refs), tx.Enqueue(ctx, work...)
}

// dueDeliveries lists one batch only: what it lists is not leased, and would
// be listed again.
func dueDeliveries(ctx context.Context, tx SystemTx, now time.Time) (int, error) {
	refs, err := tx.DueDeliveries(ctx, now.Add(-tickGrace), tickBatch)
	if err != nil {
		return 0, err
	}
	work := make([]Work, len(refs))
	for i, r := range refs {
		work[i] = Deliver(r)
	}
	return 0, tx.Enqueue(ctx, work...)
}

// Prune forgets what is older than it is kept.
func (s *Service) Prune(ctx context.Context) error {
	return s.Store.InSystem(ctx, func(ctx context.Context, tx SystemTx) error { return tx.Prune(ctx, s.Now()) })
}
