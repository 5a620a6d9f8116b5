package fetching

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"time"

	"dryslot/internal/forecast"
	"dryslot/internal/place"
	"dryslot/internal/work"
)

// Feed fetches one cell's forecast from one provider. It returns the whole
// forecast or an error: fault.Unavailable with a retry-after where the
// provider gave one, and forecast.ErrNotModified when nothing is new.
type Feed interface {
	Name() string
	Fetch(ctx context.Context, cell place.Cell, validator string, now time.Time) (forecast.Forecast, error)
}

// Limited is a feed whose provider states limits.
type Limited interface{ Limits() forecast.Limits }

// Service fetches forecasts. Its fields are set once, before use; it may be
// used by several goroutines.
type Service struct {
	Store Store
	Feeds []Feed                               // in order of preference
	Now   func() time.Time                     // the service's clock
	Wall  func() time.Time                     // the real clock, for feeds' limits; nil: Now
	After func(time.Duration) <-chan time.Time // time.After, to wait for a slot; nil: the fetch goes back to the queue
	Log   *slog.Logger                         // nil: nothing is logged

	slots  sync.Map // feed name to its slots in this process, chan struct{}
	pauses sync.Map // feed name to the last pause read of it, pause
}

func (s *Service) wall() time.Time {
	if s.Wall != nil {
		return s.Wall()
	}
	return s.Now()
}

func (s *Service) log() *slog.Logger {
	if s.Log != nil {
		return s.Log
	}
	return slog.New(slog.DiscardHandler)
}

// Looking for cells that are due.
const (
	// listedFor is how long a cell that was listed is not listed again: a
	// provider that takes one request at a time needs minutes for some thousands.
	listedFor = 10 * time.Minute
	listBatch = 500
)

// EnqueueDue enqueues the fetch of each cell that is due, those with a day under
// way first. Any number of workers may do so at the same time.
func (s *Service) EnqueueDue(ctx context.Context) error {
	return errors.Join(s.enqueueShort(ctx), s.enqueueCells(ctx))
}

func (s *Service) enqueueCells(ctx context.Context) error {
	for {
		listed := 0
		now := s.Now()
		err := s.Store.InSystem(ctx, func(ctx context.Context, tx SystemTx) error {
			cells, err := tx.DueCells(ctx, now, now.Add(listedFor), listBatch)
			if err != nil {
				return err
			}
			listed = len(cells)
			todo := make([]work.Work, len(cells))
			for i, c := range cells {
				todo[i] = work.FetchCell{Cell: c.Cell}
			}
			return tx.Enqueue(ctx, todo...)
		})
		if err != nil {
			return fmt.Errorf("fetching: list due cells: %w", err)
		}
		if listed < listBatch {
			return nil
		}
	}
}
