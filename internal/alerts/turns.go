package alerts

import "sync"

// triesAtOnce is how many tries of one account's alerts this process makes at a
// time, half of those that a worker makes in all: webhooks that never answer must
// not keep the alerts of others waiting (judgement).
const triesAtOnce = 4

// turns counts the tries under way of each account.
type turns struct {
	mu sync.Mutex
	of map[string]int
}

// take reports whether one more try of an account may be made now; leave must be
// called after it.
func (t *turns) take(account string) (leave func(), ok bool) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.of[account] >= triesAtOnce {
		return nil, false
	}
	if t.of == nil {
		t.of = map[string]int{}
	}
	t.of[account]++
	return func() {
		t.mu.Lock()
		defer t.mu.Unlock()
		if t.of[account]--; t.of[account] == 0 {
			delete(t.of, account)
		}
	}, true
}
