package postgres

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"dryslot/internal/accounts"
	"dryslot/internal/fault"
)

// Holdings counts what is kept of an account. One that is not there is
// fault.NotFound.
func (t *Tokens) Holdings(ctx context.Context, account string) (h accounts.Holdings, err error) {
	err = t.ofAccount(ctx, account, func(tx pgx.Tx) error {
		h, err = holdings(ctx, tx, account)
		return err
	})
	return h, wrapOwner("counting what an account holds", err)
}

// DeleteAccount deletes an account with everything that is kept of it, the work
// that waits for it too, and returns what that was. One that is not there is
// fault.NotFound. Backups of before keep it.
func (t *Tokens) DeleteAccount(ctx context.Context, account string) (h accounts.Holdings, err error) {
	err = t.ofAccount(ctx, account, func(tx pgx.Tx) error {
		if h, err = holdings(ctx, tx, account); err != nil {
			return err
		}
		return deleteAccount(ctx, tx, account)
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
		if err := tx.QueryRow(ctx, `select exists (select from accounts where id = $1)`,
			account).Scan(&there); err != nil {
			return err
		}
		if !there {
			return fault.New(fault.NotFound, "there is no account "+account)
		}
		return fn(tx)
	})
}

func holdings(ctx context.Context, tx pgx.Tx, account string) (h accounts.Holdings, err error) {
	for table, n := range map[string]*int{"projects": &h.Projects, "log_entries": &h.Entries, "plans": &h.Plans,
		"photos":     &h.Photos,
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

// deleteAccount deletes the account that the transaction is tied to.
func deleteAccount(ctx context.Context, tx pgx.Tx, account string) error {
	_, err := tx.Exec(ctx, `select delete_account($1)`, account)
	return err
}

// Holdings implements accounts.Store.
func (s *Store) Holdings(ctx context.Context, account string) (h accounts.Holdings, err error) {
	err = s.in(ctx, account, func(tx pgx.Tx) error {
		h, err = holdings(ctx, tx, account)
		return wrap("counting what an account holds", err)
	})
	return h, err
}

// DeleteAccount implements accounts.Store.
func (s *Store) DeleteAccount(ctx context.Context, account string) error {
	return s.in(ctx, account, func(tx pgx.Tx) error {
		return wrap("deleting an account", deleteAccount(ctx, tx, account))
	})
}

// CreateArchiveLink implements accounts.Store.
func (s *Store) CreateArchiveLink(ctx context.Context, account string, expires time.Time) (string, error) {
	key := newSecret()
	_, err := s.pool.Exec(ctx, `insert into archive_links (digest, account, expires_at) values ($1, $2, $3)`,
		digest(key), account, expires)
	return key, wrap("making a link to an archive", err)
}

// AccountByArchiveLink implements accounts.Store.
func (s *Store) AccountByArchiveLink(ctx context.Context, key string, now time.Time) (string, error) {
	return s.accountOfLink(ctx, `select account::text from archive_links where digest = $1 and expires_at > $2`,
		key, now)
}

// UseArchiveLink implements accounts.Store.
func (s *Store) UseArchiveLink(ctx context.Context, key string, now time.Time) (string, error) {
	return s.accountOfLink(ctx,
		`delete from archive_links where digest = $1 and expires_at > $2 returning account::text`, key, now)
}
