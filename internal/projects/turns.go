package projects

import (
	"context"
	"errors"
	"fmt"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/message"
	"dryslot/internal/work"
)

// Turns in the queue for plans. A turn is leased in its row for longer than a
// job may last, so that a plan whose worker died is made by another. Judgement:
// a first retry after 15 s, then doubled up to five minutes; after mostTurns
// tries it is left to the project's own row, which asks for a plan again.
const (
	turnLease   = 30 * time.Second
	turnRetry   = 15 * time.Second
	turnSlowest = 5 * time.Minute
	mostTurns   = 4
)

// MakeNext makes the plan that is next, whosever it is: accounts take turns.
// Nothing is done when none waits. When the context ends the turn goes back to
// the front of the queue; when a plan can't be made it waits to be tried again,
// and others go before it. The error is fault.Unavailable with RetryAfter then.
func (s *Service) MakeNext(ctx context.Context) error {
	var turn Turn
	taken := false
	err := s.Store.InSystem(ctx, func(ctx context.Context, tx SystemTx) (err error) {
		turn, taken, err = tx.TakeTurn(ctx, turnLease)
		return err
	})
	if err != nil {
		return fmt.Errorf("projects: the next turn: %w", err)
	}
	if !taken {
		return nil
	}
	_, err = s.Reconsider(ctx, turn.Account, turn.Project, turn.Because)
	stopped := errors.Is(ctx.Err(), context.Canceled) // canceled, not out of time
	// What came of it is recorded even when the job's time is up meanwhile.
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), 5*time.Second)
	defer cancel()
	wait := work.Backoff(turnRetry, turnSlowest, turn.Project, turn.Tries+1)
	ended := s.Store.InSystem(ctx, func(ctx context.Context, tx SystemTx) error {
		switch {
		case err == nil, errors.Is(err, fault.NotFound):
			return tx.EndTurn(ctx, turn)
		case stopped:
			return tx.PutBack(ctx, turn, 0, false)
		case turn.Tries+1 >= mostTurns:
			s.log().ErrorContext(ctx, "no plan, and it is not tried again by itself", "project", turn.Project,
				"error", err)
			return tx.EndTurn(ctx, turn)
		}
		return tx.PutBack(ctx, turn, wait, true)
	})
	switch {
	case ended != nil:
		return fmt.Errorf("projects: end a turn: %w", errors.Join(err, ended))
	case err == nil, errors.Is(err, fault.NotFound):
		return nil
	case stopped:
		return fmt.Errorf("projects: the plan of %s was given up: %w", turn.Project, err)
	case turn.Tries+1 >= mostTurns:
		return nil
	}
	s.log().WarnContext(ctx, "no plan", "project", turn.Project, "again_in", wait.Round(time.Second), "error", err)
	return &fault.Error{Kind: fault.Unavailable, Message: message.New(PlanNotMade), RetryAfter: wait}
}
