package projects_test

import (
	"context"
	"slices"
	"sync"

	"dryslot/internal/alerts"
	"dryslot/internal/projects"
	"dryslot/internal/work"
)

// spy is a store that tells what work was asked for, and keeps no plan while
// refuse says why not.
type spy struct {
	projects.Store
	mu     sync.Mutex
	work   []work.Work
	refuse error
}

func (s *spy) InAccount(ctx context.Context, account string, fn func(context.Context, projects.Tx) error) error {
	return s.Store.InAccount(ctx, account, func(ctx context.Context, tx projects.Tx) error {
		return fn(ctx, spied{tx, s})
	})
}

func (s *spy) InSystem(ctx context.Context, fn func(context.Context, projects.SystemTx) error) error {
	return s.Store.InSystem(ctx, func(ctx context.Context, tx projects.SystemTx) error {
		return fn(ctx, spiedSystem{tx, s})
	})
}

// asked reports whether some work was asked for.
func (s *spy) asked(w work.Work) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return slices.Contains(s.work, w)
}

type spied struct {
	projects.Tx
	spy *spy
}

func (t spied) Enqueue(ctx context.Context, w ...work.Work) error {
	t.spy.mu.Lock()
	t.spy.work = append(t.spy.work, w...)
	t.spy.mu.Unlock()
	return t.Tx.Enqueue(ctx, w...)
}

func (t spied) AddPlan(ctx context.Context, project string, k projects.KeptPlan) (projects.KeptPlan, error) {
	if t.spy.refuse != nil {
		return k, t.spy.refuse
	}
	return t.Tx.AddPlan(ctx, project, k)
}

type spiedSystem struct {
	projects.SystemTx
	spy *spy
}

func (t spiedSystem) Enqueue(ctx context.Context, w ...work.Work) error {
	t.spy.mu.Lock()
	t.spy.work = append(t.spy.work, w...)
	t.spy.mu.Unlock()
	return t.SystemTx.Enqueue(ctx, w...)
}

// unlisted is a store of alerts that lists no deliveries while why says so.
type unlisted struct {
	alerts.Store
	why error
}

func (s *unlisted) InSystem(ctx context.Context, fn func(context.Context, alerts.SystemTx) error) error {
	if s.why != nil {
		return s.why
	}
	return s.Store.InSystem(ctx, fn)
}
