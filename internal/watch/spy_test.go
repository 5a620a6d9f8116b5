package watch_test

import (
	"context"
	"slices"
	"sync"
	"time"

	"dryslot/internal/watch"
	"dryslot/internal/work"
)

// spy is a store that tells what work was asked for, keeps no plan while refuse
// says why not, and lists no deliveries while blind does.
type spy struct {
	watch.Store
	mu     sync.Mutex
	work   []work.Work
	refuse error
	blind  error // why deliveries can't be listed
}

func (s *spy) InAccount(ctx context.Context, account string, fn func(context.Context, watch.Tx) error) error {
	return s.Store.InAccount(ctx, account, func(ctx context.Context, tx watch.Tx) error { return fn(ctx, spied{tx, s}) })
}

func (s *spy) InSystem(ctx context.Context, fn func(context.Context, watch.SystemTx) error) error {
	return s.Store.InSystem(ctx, func(ctx context.Context, tx watch.SystemTx) error { return fn(ctx, spiedSystem{tx, s}) })
}

// asked tells whether some work was asked for.
func (s *spy) asked(w work.Work) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return slices.Contains(s.work, w)
}

type spied struct {
	watch.Tx
	spy *spy
}

func (t spied) Enqueue(ctx context.Context, w ...work.Work) error {
	t.spy.mu.Lock()
	t.spy.work = append(t.spy.work, w...)
	t.spy.mu.Unlock()
	return t.Tx.Enqueue(ctx, w...)
}

func (t spied) AddPlan(ctx context.Context, project string, k watch.KeptPlan) (watch.KeptPlan, error) {
	if t.spy.refuse != nil {
		return k, t.spy.refuse
	}
	return t.Tx.AddPlan(ctx, project, k)
}

type spiedSystem struct {
	watch.SystemTx
	spy *spy
}

func (t spiedSystem) Enqueue(ctx context.Context, w ...work.Work) error {
	t.spy.mu.Lock()
	t.spy.work = append(t.spy.work, w...)
	t.spy.mu.Unlock()
	return t.SystemTx.Enqueue(ctx, w...)
}

func (t spiedSystem) DueDeliveries(ctx context.Context, now time.Time, limit int) ([]work.DeliveryRef, error) {
	if t.spy.blind != nil {
		return nil, t.spy.blind
	}
	return t.SystemTx.DueDeliveries(ctx, now, limit)
}
