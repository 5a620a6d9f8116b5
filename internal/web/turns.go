package web

import (
	"context"
	"sync"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/message"
)

// atOnce is how many changes of one account are worked at a time in this
// process. Each holds a connection to the database, of which there are some
// sixteen, and changes of one project wait for each other anyway: a client that
// sends many must not keep the others waiting (judgement).
const atOnce = 4

// turns lets a bounded number of changes of each account through at a time.
type turns struct {
	mu sync.Mutex
	of map[string]*turn // of accounts with changes under way or waiting
}

type turn struct {
	free  chan struct{}
	users int // under way or waiting
}

// take waits for a turn of an account, until ctx ends. Leave gives it back.
func (t *turns) take(ctx context.Context, account string) (leave func(), err error) {
	t.mu.Lock()
	if t.of == nil {
		t.of = map[string]*turn{}
	}
	a := t.of[account]
	if a == nil {
		a = &turn{free: make(chan struct{}, atOnce)}
		t.of[account] = a
	}
	a.users++
	t.mu.Unlock()
	done := func() {
		t.mu.Lock()
		defer t.mu.Unlock()
		if a.users--; a.users == 0 {
			delete(t.of, account)
		}
	}
	select {
	case a.free <- struct{}{}:
		return func() { <-a.free; done() }, nil
	case <-ctx.Done():
		done()
		return nil, &fault.Error{Kind: fault.Unavailable, Message: message.New(TooManyAtOnce),
			RetryAfter: 5 * time.Second}
	}
}
