package postgres

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"

	"dryslot/internal/fault"
)

// Holdings is what is kept of one account.
type Holdings struct {
	Projects, Entries, Plans, Recipients, Alerts, Tokens, Sessions int
	Members                                                        int // of other accounts, on its projects
	MemberOf                                                       int // projects of other accounts
}

// Holdings counts what is kept of an account. One that is not there is
// fault.NotFound.
func (t *Tokens) Holdings(ctx context.Context, account string) (h Holdings, err error) {
	err = t.ofAccount(ctx, account, func(tx pgx.Tx) error {
		h, err = holdings(ctx, tx, account)
		return err
	})
	return h, wrapOwner("counting what an account holds", err)
}

// DeleteAccount deletes an account with everything that is kept of it, the work
// that waits for it too, and returns what that was. One that is not there is
// fault.NotFound. Backups of before keep it.
func (t *Tokens) DeleteAccount(ctx context.Context, account string) (h Holdings, err error) {
	err = t.ofAccount(ctx, account, func(tx pgx.Tx) error {
		if h, err = holdings(ctx, tx, account); err != nil {
			return err
		}
		batch := &pgx.Batch{} // what belongs to no account, then the account, with which its rows go
		batch.Queue(`delete from river_job where args ->> 'account' = $1`, account)
		batch.Queue(`delete from seen_rain where observer = $1`, digest(account))
		batch.Queue(`delete from accounts where id = $1`, account)
		return tx.SendBatch(ctx, batch).Close()
	})
	return h, wrapOwner("deleting an account", err)
}

// ofAccount runs fn in a transaction of the owner's that sees one account's rows.
func (t *Tokens) ofAccount(ctx context.Context, account string, fn func(pgx.Tx) error) error {
	if _, err := parseID(account); err != nil {
		return fault.Wrap(fault.NotFound, "there is no account "+account, err)
	}
	return pgx.BeginFunc(ctx, t.conn, func(tx pgx.Tx) error {
		if _, err := tx.Exec(ctx, `select set_config('dryslot.account', $1, true)`, account); err != nil {
			return err
		}
		var there bool
		if err := tx.QueryRow(ctx, `select exists (select from accounts where id = $1)`, account).Scan(&there); err != nil {
			return err
		}
		if !there {
			return fault.New(fault.NotFound, "there is no account "+account)
		}
		return fn(tx)
	})
}

func holdings(ctx context.Context, tx pgx.Tx, account string) (h Holdings, err error) {
	for table, n := range map[string]*int{"projects": &h.Projects, "log_entries": &h.Entries, "plans": &h.Plans,
		"recipients": &h.Recipients, "deliveries": &h.Alerts, "tokens": &h.Tokens, "sessions": &h.Sessions,
		"members": &h.Members} {
		err := tx.QueryRow(ctx, `select count(*) from `+table+` where account = $1`, account).Scan(n)
		if err != nil {
			return h, fmt.Errorf("postgres: count %s: %w", table, err)
		}
	}
	err = tx.QueryRow(ctx, `select count(*) from members where member = $1`, account).Scan(&h.MemberOf)
	return h, err
}
