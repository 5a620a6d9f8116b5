// Package alertstest owns a channel for tests that records what it takes.
package alertstest

import (
	"context"
	"sync"

	"dryslot/internal/notify"
)

// Letters is the channel. It is safe for use by several goroutines.
type Letters struct {
	Of string // its kind; empty: email

	mu   sync.Mutex
	sent []notify.Message
	fail error
}

// Kind returns the kind of channel that it stands in for.
func (l *Letters) Kind() string {
	if l.Of != "" {
		return l.Of
	}
	return notify.Email
}

// Send records a message, or fails as the test wants.
func (l *Letters) Send(_ context.Context, _ notify.Recipient, m notify.Message) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.fail != nil {
		return l.fail
	}
	l.sent = append(l.sent, m)
	return nil
}

// Set has each send fail from now on; nil: it succeeds.
func (l *Letters) Set(fail error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.fail = fail
}

// Sent is what was sent so far.
func (l *Letters) Sent() []notify.Message {
	l.mu.Lock()
	defer l.mu.Unlock()
	return append([]notify.Message(nil), l.sent...)
}

// Subjects are those of what was sent so far.
func (l *Letters) Subjects() []string {
	out := []string{}
	for _, m := range l.Sent() {
		out = append(out, m.Subject)
	}
	return out
}
