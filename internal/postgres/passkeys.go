package postgres

import (
	"context"
	"errors"
	"time"

	"github.com/jackc/pgx/v5"

	"dryslot/internal/accounts"
	"dryslot/internal/fault"
)

// passkeyColumns are what every query of passkeys gives.
const passkeyColumns = `id, name, public_key, sign_count, backup_eligible, backed_up, transports, created_at, used_at`

// Passkeys implements accounts.Store.
func (s *Store) Passkeys(ctx context.Context, account string) ([]accounts.Passkey, error) {
	return ownRows[accounts.Passkey](ctx, s, account, `select `+passkeyColumns+` from passkeys where account = $1
		order by created_at, id`, account)
}

// CreateChallenge implements accounts.Store.
func (s *Store) CreateChallenge(ctx context.Context, challenge, account string, expires time.Time) error {
	_, err := s.pool.Exec(ctx, `insert into passkey_challenges (digest, account, expires_at)
		values ($1, nullif($2, '')::uuid, $3)`, digest(challenge), account, expires)
	return wrap("keeping a challenge", err)
}

// UseChallenge implements accounts.Store. One that was made for something else is
// used up too.
func (s *Store) UseChallenge(ctx context.Context, challenge, account string, now time.Time) error {
	var of string
	err := s.pool.QueryRow(ctx, `delete from passkey_challenges where digest = $1 and expires_at > $2
		returning coalesce(account::text, '')`, digest(challenge), now).Scan(&of)
	if errors.Is(err, pgx.ErrNoRows) || err == nil && of != account {
		return fault.Of(fault.Forbidden, accounts.PasskeyLate)
	}
	return wrap("using a challenge", err)
}

// CreatePasskey implements accounts.Store.
func (s *Store) CreatePasskey(ctx context.Context, account string, k accounts.Passkey, most int,
	n accounts.Notice) error {
	return s.in(ctx, account, func(t pgx.Tx) error {
		// Two at the same time would both be the last that is allowed.
		if _, err := t.Exec(ctx, `select pg_advisory_xact_lock(hashtext('passkeys ' || $1))`, account); err != nil {
			return wrap("keeping a passkey", err)
		}
		tag, err := t.Exec(ctx, `insert into passkeys (account, `+passkeyColumns+`)
			select $1, $2, $3, $4, $5, $6, $7, $8, $9, null
			where (select count(*) from passkeys where account = $1) < $10`,
			account, k.ID, k.Name, k.PublicKey, int64(k.SignCount), k.BackupEligible, k.BackedUp, k.Transports,
			k.CreatedAt, most)
		switch {
		case isCode(err, codeUnique):
			return fault.Of(fault.Conflict, accounts.PasskeyKnown).By(err)
		case err == nil && tag.RowsAffected() == 0:
			return fault.Of(fault.Conflict, accounts.TooManyPasskeys)
		case err != nil:
			return wrap("keeping a passkey", err)
		}
		return s.orderNotice(ctx, t, account, k.Name, n)
	})
}

// UsePasskey implements accounts.Store. Two uses at the same time follow each other,
// so that each sees what the other counted.
func (s *Store) UsePasskey(ctx context.Context, account string, id []byte, now time.Time,
	use func(accounts.Passkey) (accounts.Passkey, error)) error {
	if _, err := parseID(account); err != nil {
		return fault.Of(fault.Forbidden, accounts.PasskeyUnknown).By(err)
	}
	return s.in(ctx, account, func(t pgx.Tx) error {
		rows, err := t.Query(ctx, `select `+passkeyColumns+` from passkeys where account = $1 and id = $2 for update`,
			account, id)
		if err != nil {
			return wrap("looking a passkey up", err)
		}
		k, err := pgx.CollectExactlyOneRow(rows, pgx.RowToStructByName[accounts.Passkey])
		if errors.Is(err, pgx.ErrNoRows) {
			return fault.Of(fault.Forbidden, accounts.PasskeyUnknown)
		}
		if err != nil {
			return wrap("looking a passkey up", err)
		}
		if k, err = use(k); err != nil {
			return err
		}
		_, err = t.Exec(ctx, `update passkeys set sign_count = $3, backed_up = $4, used_at = $5
			where account = $1 and id = $2`, account, id, int64(k.SignCount), k.BackedUp, now)
		return wrap("counting the use of a passkey", err)
	})
}

// NamePasskey implements accounts.Store.
func (s *Store) NamePasskey(ctx context.Context, account, id, name string) error {
	return s.onPasskey(ctx, account,
		`update passkeys set name = $3 where account = $1 and `+passkeyID+` = $2`, id, name)
}

// DeletePasskey implements accounts.Store. The sessions that it began go with it,
// by their foreign key.
func (s *Store) DeletePasskey(ctx context.Context, account, id string) error {
	return s.onPasskey(ctx, account, `delete from passkeys where account = $1 and `+passkeyID+` = $2`, id)
}

// passkeyID names a passkey on a page.
const passkeyID = `left(encode(sha256(id), 'hex'), 16)`

func (s *Store) onPasskey(ctx context.Context, account, sql string, args ...any) error {
	return s.in(ctx, account, func(t pgx.Tx) error {
		tag, err := t.Exec(ctx, sql, append([]any{account}, args...)...)
		if err == nil && tag.RowsAffected() == 0 {
			return fault.Of(fault.NotFound, accounts.NoPasskey)
		}
		return wrap("changing a passkey", err)
	})
}
