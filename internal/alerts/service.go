package alerts

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/notify"
	"dryslot/internal/work"
)

// Channel delivers one message to one recipient. An error that is
// fault.Invalid is final; any other may be tried again.
type Channel interface {
	Kind() string // email or webhook
	Send(ctx context.Context, to notify.Recipient, m notify.Message) error
}

// AddressChecker is a channel that knows addresses to which nothing can ever be
// delivered: they are refused when they are entered.
type AddressChecker interface {
	CheckAddress(address string) *fault.Rule // the rule that it breaks; nil: none
}

// Projects is what alerts need of the projects.
type Projects interface {
	// Situation returns what alerts are raised from, by the plan in force.
	Situation(ctx context.Context, account, project string) (notify.Situation, error)
	// RaiseDue raises what the plan in force makes due, and sets when the
	// project is next looked at.
	RaiseDue(ctx context.Context, account, project string) error
}

// Service raises and delivers alerts. Its fields are set once, before use; it
// may be used by several goroutines.
type Service struct {
	Store    Store
	Projects Projects
	Channels map[string]Channel // by kind
	Now      func() time.Time   // the service's clock
	Random   io.Reader          // of secrets: crypto/rand.Reader
	Log      *slog.Logger       // nil: nothing is logged
	BaseURL  string             // of the pages, put in alerts; without a slash at the end
	// MostRecipients bounds the recipients of one project, for each of which
	// every alert is kept and tried; 0: as many as it likes.
	MostRecipients int
	SetClock       bool // Now was set to something else than the real time

	turns turns
}

func (s *Service) log() *slog.Logger {
	if s.Log != nil {
		return s.Log
	}
	return slog.New(slog.DiscardHandler)
}

func later(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}

// Looking for deliveries whose job was lost.
const (
	// ownJobFirst leaves a delivery to its own job; one that is still due after
	// it has lost its job.
	ownJobFirst = 20 * time.Second
	listBatch   = 500
)

// EnqueueDue enqueues deliveries that are due and whose own job was lost, one
// batch at a time.
func (s *Service) EnqueueDue(ctx context.Context) error {
	now := s.Now()
	err := s.Store.InSystem(ctx, func(ctx context.Context, tx SystemTx) error {
		refs, err := tx.DueDeliveries(ctx, now.Add(-ownJobFirst), listBatch)
		if err != nil {
			return err
		}
		todo := make([]work.Work, len(refs))
		for i, r := range refs {
			todo[i] = work.Deliver(r)
		}
		return tx.Enqueue(ctx, todo...)
	})
	if err != nil {
		return fmt.Errorf("alerts: list due deliveries: %w", err)
	}
	return nil
}
