package postgres

import (
	"context"

	"dryslot/internal/alerts"
	"dryslot/internal/fetching"
	"dryslot/internal/projects"
	"dryslot/internal/retention"
)

// AccountView is the store as one caller sees it. Its transactions over one
// account's rows have the methods of A, the interface that the caller declares,
// and no others.
type AccountView[A any] struct {
	*Store
	account func(*AccountTx) A
}

// ViewOfAccounts returns the view of a caller that works on accounts' rows.
func ViewOfAccounts[A any](s *Store, account func(*AccountTx) A) AccountView[A] {
	return AccountView[A]{s, account}
}

// InAccount is Store.InAccount with the caller's interface.
func (v AccountView[A]) InAccount(ctx context.Context, account string, fn func(context.Context, A) error) error {
	return v.Store.InAccount(ctx, account, func(ctx context.Context, tx *AccountTx) error {
		return fn(ctx, v.account(tx))
	})
}

// View is AccountView with the transactions, of the methods of S, over what
// belongs to no account.
type View[A, S any] struct {
	AccountView[A]
	system func(*SystemTx) S
}

// InSystem is Store.InSystem with the caller's interface.
func (v View[A, S]) InSystem(ctx context.Context, fn func(context.Context, S) error) error {
	return v.Store.InSystem(ctx, func(ctx context.Context, tx *SystemTx) error { return fn(ctx, v.system(tx)) })
}

// ViewOf returns the view of a caller.
func ViewOf[A, S any](s *Store, account func(*AccountTx) A, system func(*SystemTx) S) View[A, S] {
	return View[A, S]{AccountView[A]{s, account}, system}
}

// Projects is the store of the service that keeps projects.
func (s *Store) Projects() View[projects.Tx, projects.SystemTx] {
	return ViewOf(s, func(t *AccountTx) projects.Tx { return t }, func(t *SystemTx) projects.SystemTx { return t })
}

// Alerts is the store of the service that raises and delivers alerts.
func (s *Store) Alerts() View[alerts.Tx, alerts.SystemTx] {
	return ViewOf(s, func(t *AccountTx) alerts.Tx { return t }, func(t *SystemTx) alerts.SystemTx { return t })
}

// Fetching is the store of the service that fetches forecasts.
func (s *Store) Fetching() View[fetching.Tx, fetching.SystemTx] {
	return ViewOf(s, func(t *AccountTx) fetching.Tx { return t }, func(t *SystemTx) fetching.SystemTx { return t })
}

// Retention is the store of the service that forgets what is old.
func (s *Store) Retention() View[retention.Tx, retention.SystemTx] {
	return ViewOf(s, func(t *AccountTx) retention.Tx { return t }, func(t *SystemTx) retention.SystemTx { return t })
}
