package postgres

import (
	"context"
	"errors"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"

	"dryslot/internal/accounts"
	"dryslot/internal/fault"
)

var _ accounts.Store = (*Store)(nil)

// shownID is what of a digest, $, names its row to the account that it belongs to.
const shownID = `left(encode(digest, 'hex'), 16)`

// ownRows returns the rows of a query as one account sees them.
func ownRows[T any](ctx context.Context, s *Store, account, sql string, args ...any) (list []T, err error) {
	err = s.in(ctx, account, func(t pgx.Tx) error {
		rows, err := t.Query(ctx, sql, args...)
		if err == nil {
			list, err = pgx.CollectRows(rows, pgx.RowToStructByName[T])
		}
		return wrap("listing what opens an account", err)
	})
	return list, err
}

// CreateSession implements accounts.Store.
func (s *Store) CreateSession(ctx context.Context, n accounts.NewSession) (string, error) {
	if _, err := parseID(n.Account); err != nil {
		return "", err
	}
	if len(n.Passkey) == 0 {
		n.Passkey = nil
	}
	var token []byte
	if n.Token != "" {
		token = digest(n.Token)
	}
	key := newSecret()
	err := s.in(ctx, n.Account, func(t pgx.Tx) error {
		_, err := t.Exec(ctx, `insert into sessions (digest, account, token, passkey, expires_at)
			values ($1, $2, $3, $4, $5)`, digest(key), n.Account, token, n.Passkey, n.ExpiresAt)
		if err != nil {
			return wrap("signing in", err)
		}
		_, err = t.Exec(ctx, `insert into session_browsers (account, digest, browser) values ($1, $2, $3)`, n.Account,
			digest(key), n.Browser)
		return wrap("signing in", err)
	})
	if err != nil {
		return "", err
	}
	return key, nil
}

// AccountBySession implements accounts.Store.
func (s *Store) AccountBySession(ctx context.Context, key string, now time.Time) (string, error) {
	var account string
	err := s.pool.QueryRow(ctx, accountOfSession, digest(key), now).Scan(&account)
	if errors.Is(err, pgx.ErrNoRows) {
		return "", noSession()
	}
	return account, wrap("looking a session up", err)
}

func noSession() error { return fault.New(fault.Forbidden, "nobody is signed in with this key") }

// DeleteSession implements accounts.Store.
func (s *Store) DeleteSession(ctx context.Context, key string) error {
	_, err := s.pool.Exec(ctx, `delete from sessions where digest = $1`, digest(key))
	return wrap("signing out", err)
}

// Sessions implements accounts.Store.
func (s *Store) Sessions(ctx context.Context, account string, now time.Time) ([]accounts.Session, error) {
	return ownRows[accounts.Session](ctx, s, account, `
		select `+shownID+` as id, coalesce(browser, '') as browser, created_at, expires_at
		from sessions left join session_browsers using (account, digest)
		where account = $1 and expires_at > $2 order by created_at desc, digest`, account, now)
}

// EndSession implements accounts.Store.
func (s *Store) EndSession(ctx context.Context, account, id string) error {
	tag, err := s.pool.Exec(ctx, `delete from sessions where account = $1 and `+shownID+` = $2`, account, id)
	if err == nil && tag.RowsAffected() == 0 {
		return fault.Of(fault.NotFound, accounts.NoSession)
	}
	return wrap("ending a session", err)
}

// CreateLink implements accounts.Store.
func (s *Store) CreateLink(ctx context.Context, account string, expires time.Time) (string, error) {
	if _, err := parseID(account); err != nil {
		return "", err
	}
	key := newSecret()
	_, err := s.pool.Exec(ctx, `insert into sign_in_links (digest, account, expires_at) values ($1, $2, $3)`,
		digest(key), account, expires)
	if err != nil {
		return "", wrap("making a sign-in link", err)
	}
	return key, nil
}

// AccountByLink implements accounts.Store.
func (s *Store) AccountByLink(ctx context.Context, key string, now time.Time) (string, error) {
	return s.accountOfLink(ctx, `select account::text from sign_in_links where digest = $1 and expires_at > $2`,
		key, now)
}

// UseLink implements accounts.Store.
func (s *Store) UseLink(ctx context.Context, key string, now time.Time) (string, error) {
	return s.accountOfLink(ctx, `delete from sign_in_links where digest = $1 and expires_at > $2
		returning account::text`,
		key, now)
}

func (s *Store) accountOfLink(ctx context.Context, sql, key string, now time.Time) (account string, err error) {
	err = s.pool.QueryRow(ctx, sql, digest(key), now).Scan(&account)
	if errors.Is(err, pgx.ErrNoRows) {
		return "", accounts.ErrLinkSpent()
	}
	return account, wrap("looking a sign-in link up", err)
}

// Tokens implements accounts.Store.
func (s *Store) Tokens(ctx context.Context, account string) ([]accounts.Token, error) {
	return ownRows[accounts.Token](ctx, s, account, `
		select `+shownID+` as id, coalesce(name, '') as name, created_at
		from tokens left join token_names using (account, digest)
		where account = $1 and revoked_at is null order by created_at, digest`, account)
}

// CreateToken implements accounts.Store.
func (s *Store) CreateToken(ctx context.Context, account, name string, most int,
	n accounts.Notice) (string, accounts.Token, error) {
	secret, kept := newSecret(), accounts.Token{Name: name}
	err := s.in(ctx, account, func(t pgx.Tx) error {
		// Two at the same time would both be the last that is allowed.
		if _, err := t.Exec(ctx, `select pg_advisory_xact_lock(hashtext('tokens ' || $1))`, account); err != nil {
			return wrap("making a token", err)
		}
		err := t.QueryRow(ctx, `insert into tokens (digest, account)
			select $1, $2 where (select count(*) from tokens where account = $2 and revoked_at is null) < $3
			returning `+shownID+`, created_at`, digest(secret), account, most).Scan(&kept.ID, &kept.CreatedAt)
		if errors.Is(err, pgx.ErrNoRows) {
			return fault.Of(fault.Conflict, accounts.TooManyToken)
		}
		if err != nil {
			return wrap("making a token", err)
		}
		_, err = t.Exec(ctx, `insert into token_names (account, digest, name) values ($1, $2, $3)`, account,
			digest(secret), name)
		if err != nil {
			return wrap("naming a token", err)
		}
		return s.orderNotice(ctx, t, account, name, n)
	})
	if err != nil {
		return "", accounts.Token{}, err
	}
	return secret, kept, nil
}

// RevokeToken implements accounts.Store.
func (s *Store) RevokeToken(ctx context.Context, account, id string) error {
	return s.in(ctx, account, func(t pgx.Tx) error {
		tag, err := t.Exec(ctx,
			`update tokens set revoked_at = now() where account = $1 and revoked_at is null and `+shownID+` = $2`,
			account, id)
		if err != nil {
			return wrap("revoking a token", err)
		}
		if tag.RowsAffected() == 0 {
			return fault.Of(fault.NotFound, accounts.NoToken)
		}
		_, err = t.Exec(ctx, `delete from sessions where account = $1
			and token in (select digest from tokens where account = $1 and revoked_at is not null)`, account)
		return wrap("ending a token's sessions", err)
	})
}

// CountFailure implements accounts.Store. Keys are locked in their order, so
// that two tries don't wait for each other.
func (s *Store) CountFailure(ctx context.Context, keys []string, now time.Time, forget time.Duration,
	pause func(failures int) time.Duration) (wait time.Duration, err error) {
	err = s.in(ctx, "", func(t pgx.Tx) error {
		for _, key := range inOrder(keys) {
			left, err := failuresOf(ctx, t, key, now, forget, pause)
			if err != nil {
				return wrap("counting a failed try", err)
			}
			wait = max(wait, left)
		}
		if wait > 0 {
			return nil
		}
		for _, key := range inOrder(keys) {
			if _, err := t.Exec(ctx, `update sign_in_failures set failures = failures + 1, last_at = $2
				where digest = $1`,
				digest(key), now); err != nil {
				return wrap("counting a failed try", err)
			}
		}
		return nil
	})
	return wait, err
}

// failuresOf locks a key's row, which it makes if there is none, and returns
// how long the next try has to wait.
func failuresOf(ctx context.Context, t pgx.Tx, key string, now time.Time, forget time.Duration,
	pause func(failures int) time.Duration) (time.Duration, error) {
	var n int
	var last time.Time
	err := t.QueryRow(ctx, `insert into sign_in_failures as f (digest, failures, last_at) values ($1, 0, $2)
		on conflict (digest) do update set failures = case when f.last_at < $3 then 0 else f.failures end
		returning failures, last_at`, digest(key), now, now.Add(-forget)).Scan(&n, &last)
	if err != nil {
		return 0, err
	}
	return max(0, last.Add(pause(n)).Sub(now)), nil
}

// UncountFailure implements accounts.Store.
func (s *Store) UncountFailure(ctx context.Context, keys []string) error {
	return s.in(ctx, "", func(t pgx.Tx) error {
		for _, key := range inOrder(keys) {
			_, err := t.Exec(ctx, `update sign_in_failures set failures = greatest(0, failures - 1) where digest = $1`,
				digest(key))
			if err != nil {
				return wrap("taking a counted try back", err)
			}
		}
		return nil
	})
}

func inOrder(keys []string) []string { return slices.Compact(slices.Sorted(slices.Values(keys))) }
