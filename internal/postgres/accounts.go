package postgres

import (
	"context"
	"crypto/rand"
	"encoding/base64"
	"errors"

	"github.com/jackc/pgx/v5"

	"dryslot/internal/fault"
)

// shortestToken is how many bytes a bearer token has at least; what is kept of
// it is a plain digest, which a short token would not protect.
const shortestToken = 32

// newSecret returns 32 random bytes as text for an address or a cookie.
func newSecret() string {
	b := make([]byte, 32)
	_, _ = rand.Read(b) // never fails: crypto/rand ends the program instead
	return base64.RawURLEncoding.EncodeToString(b)
}

// AccountByToken implements accounts.Store.
func (s *Store) AccountByToken(ctx context.Context, token string) (string, error) {
	var account string
	err := s.pool.QueryRow(ctx, accountOfToken, digest(token)).Scan(&account)
	if errors.Is(err, pgx.ErrNoRows) {
		return "", noToken()
	}
	return account, wrap("looking a token up", err)
}

// EnsureToken returns the account of a token, and makes one where there is none. A token that was revoked is
// fault.Conflict: it must not open an account again.
func (s *Store) EnsureToken(ctx context.Context, token string) (string, error) {
	if len(token) < shortestToken {
		var bad fault.List
		bad.Add("token", "(hidden)", "must have 32 characters or more")
		return "", bad.Err("the token is too short")
	}
	account, err := s.AccountByToken(ctx, token)
	if !errors.Is(err, fault.Forbidden) {
		return account, err
	}
	if account, err = newID(); err != nil {
		return "", err
	}
	err = s.in(ctx, account, func(t pgx.Tx) error {
		if _, err := t.Exec(ctx, `insert into accounts (id) values ($1)`, account); err != nil {
			return wrap("making an account", err)
		}
		_, err := t.Exec(ctx, `insert into tokens (digest, account) values ($1, $2)`, digest(token), account)
		return wrap("keeping a token", err)
	})
	if errors.Is(err, fault.Conflict) {
		// Another process was first, and its account holds; or it is there and
		// opens nothing.
		if account, err = s.AccountByToken(ctx, token); errors.Is(err, fault.Forbidden) {
			return "", fault.Wrap(fault.Conflict,
				"this token was revoked: give another in DRYSLOT_TOKEN; that of a demonstration lies in "+
					"DRYSLOT_DATA/token", err)
		}
		return account, err
	}
	if err != nil {
		return "", err
	}
	return account, nil
}

// ProjectByCalendarKey implements api.Store.
func (s *Store) ProjectByCalendarKey(ctx context.Context, key string) (account, project string, err error) {
	err = s.pool.QueryRow(ctx, `select account::text, project::text from calendar_keys where digest = $1`,
		digest(key)).Scan(&account, &project)
	if errors.Is(err, pgx.ErrNoRows) {
		return "", "", fault.New(fault.NotFound, "no calendar has this key")
	}
	return account, project, wrap("looking a calendar up", err)
}
