package postgres

import (
	"context"
	"errors"
	"time"

	"github.com/jackc/pgx/v5"

	"dryslot/internal/accounts"
	"dryslot/internal/fault"
	"dryslot/internal/work"
)

// CreateMailOrder implements accounts.Store.
func (s *Store) CreateMailOrder(ctx context.Context, o accounts.MailOrder) error {
	id, err := newID()
	if err != nil {
		return err
	}
	return s.InSystem(ctx, func(ctx context.Context, tx *SystemTx) error {
		_, err := tx.tx.Exec(ctx, `insert into mail_orders (id, address, language, next, opens, expires_at)
			values ($1, $2, $3, $4, nullif($5, '')::uuid, $6)`, id, o.Address, o.Language, o.Next, o.Account,
			o.ExpiresAt)
		if err != nil {
			return wrap("keeping the order of a mail", err)
		}
		return tx.Enqueue(ctx, work.MailLink{Order: id})
	})
}

// orderNotice keeps the order of a notice to an account's address, if it has one,
// in the transaction that adds what it tells of.
func (s *Store) orderNotice(ctx context.Context, t pgx.Tx, account, name string, n accounts.Notice) error {
	if n.Code == "" {
		return nil
	}
	id, err := newID()
	if err != nil {
		return err
	}
	tag, err := t.Exec(ctx, `insert into mail_orders (id, address, language, next, opens, notice, named, expires_at)
		select $1, address, $3, '', account, $4, $5, $6 from account_mails where account = $2`, id, account, n.Language,
		string(n.Code), name, n.ExpiresAt)
	if err != nil || tag.RowsAffected() == 0 {
		return wrap("keeping the order of a notice", err)
	}
	return weather{t, s.queue}.Enqueue(ctx, work.MailNotice{Order: id})
}

// MailOrder implements accounts.Store.
func (s *Store) MailOrder(ctx context.Context, id string, now time.Time) (accounts.MailOrder, error) {
	o := accounts.MailOrder{ID: id}
	err := s.pool.QueryRow(ctx, `select address, language, next, coalesce(opens::text, ''), coalesce(notice, ''),
		coalesce(named, ''), expires_at
		from mail_orders where id = $1 and expires_at > $2`, id, now).Scan(&o.Address, &o.Language, &o.Next, &o.Account,
		&o.Notice, &o.Named, &o.ExpiresAt)
	if errors.Is(err, pgx.ErrNoRows) {
		return o, fault.New(fault.NotFound, "the mail is sent, or nobody waits for it any more")
	}
	return o, wrap("reading the order of a mail", err)
}

// DeleteMailOrder implements accounts.Store.
func (s *Store) DeleteMailOrder(ctx context.Context, id string) error {
	_, err := s.pool.Exec(ctx, `delete from mail_orders where id = $1`, id)
	return wrap("deleting the order of a mail", err)
}

// AccountByMail implements accounts.Store.
func (s *Store) AccountByMail(ctx context.Context, address string) (string, error) {
	var account string
	err := s.pool.QueryRow(ctx, `select account::text from mail_keys where digest = $1`, digest(address)).Scan(&account)
	if errors.Is(err, pgx.ErrNoRows) {
		return "", fault.New(fault.NotFound, "no account has this address")
	}
	return account, wrap("looking an address up", err)
}

// MailOf implements accounts.Store.
func (s *Store) MailOf(ctx context.Context, account string) (address string, err error) {
	err = s.in(ctx, account, func(t pgx.Tx) error { address, err = mailOf(ctx, t, account); return err })
	return address, err
}

func mailOf(ctx context.Context, t pgx.Tx, account string) (address string, err error) {
	err = t.QueryRow(ctx, `select address from account_mails where account = $1`, account).Scan(&address)
	if errors.Is(err, pgx.ErrNoRows) {
		return "", nil
	}
	return address, wrap("reading an account's address", err)
}

// MailOfAccount implements alerts.Tx.
func (t *AccountTx) MailOfAccount(ctx context.Context) (string, error) {
	return mailOf(ctx, t.tx, t.account)
}

// linkDigest is what is kept of a mailed link.
func linkDigest(l accounts.MailedLink) []byte { return digest(l.Key + " " + l.Address) }

// CreateMailLink implements accounts.Store.
func (s *Store) CreateMailLink(ctx context.Context, account, address string, expires time.Time) (string, error) {
	key := newSecret()
	_, err := s.pool.Exec(ctx,
		`insert into mail_links (digest, account, expires_at) values ($1, nullif($2, '')::uuid, $3)`,
		linkDigest(accounts.MailedLink{Key: key, Address: address}), account, expires)
	if err != nil {
		return "", wrap("making a link for a mail", err)
	}
	return key, nil
}

// MailLink implements accounts.Store.
func (s *Store) MailLink(ctx context.Context, l accounts.MailedLink, now time.Time) (account string, err error) {
	return mailLink(ctx, s.pool,
		`select coalesce(account::text, '') from mail_links where digest = $1 and expires_at > $2`, l, now)
}

func mailLink(ctx context.Context, q querier, sql string, l accounts.MailedLink,
	now time.Time) (account string, err error) {
	err = q.QueryRow(ctx, sql, linkDigest(l), now).Scan(&account)
	if errors.Is(err, pgx.ErrNoRows) {
		return "", accounts.ErrLinkSpent()
	}
	return account, wrap("looking a mailed link up", err)
}

// UseMailLink implements accounts.Store. An account that another link has made
// meanwhile for the same address is taken.
func (s *Store) UseMailLink(ctx context.Context, l accounts.MailedLink, now time.Time) (account string, err error) {
	err = s.in(ctx, "", func(t pgx.Tx) error {
		account, err = mailLink(ctx, t, `delete from mail_links where digest = $1 and expires_at > $2
			returning coalesce(account::text, '')`, l, now)
		if err != nil {
			return err
		}
		// Two links of one address at the same time would both make an account.
		if _, err := t.Exec(ctx, `select pg_advisory_xact_lock(hashtext('mail ' || $1))`, l.Address); err != nil {
			return wrap("using a mailed link", err)
		}
		if account == "" {
			err := t.QueryRow(ctx, `select account::text from mail_keys where digest = $1`,
				digest(l.Address)).Scan(&account)
			if err == nil || !errors.Is(err, pgx.ErrNoRows) {
				return wrap("looking an address up", err)
			}
			if account, err = newID(); err != nil {
				return err
			}
			if err := actAs(ctx, t, account); err != nil {
				return err
			}
			if _, err := t.Exec(ctx, `insert into accounts (id) values ($1)`, account); err != nil {
				return wrap("making an account", err)
			}
		}
		if err := actAs(ctx, t, account); err != nil {
			return err
		}
		return setMail(ctx, t, account, l.Address)
	})
	return account, err
}

// actAs has row-level security tie the rest of a transaction to an account.
func actAs(ctx context.Context, t pgx.Tx, account string) error {
	_, err := t.Exec(ctx, `select set_config('dryslot.account', $1, true)`, account)
	return wrap("a transaction", err)
}

// setMail makes an address that of an account, in place of the one it had.
func setMail(ctx context.Context, t pgx.Tx, account, address string) error {
	batch := &pgx.Batch{}
	batch.Queue(`insert into account_mails (account, address) values ($1, $2)
		on conflict (account) do update set address = excluded.address`, account, address)
	batch.Queue(`delete from mail_keys where account = $1 and digest <> $2`, account, digest(address))
	batch.Queue(`insert into mail_keys (digest, account) values ($1, $2)
		on conflict (digest) do update set account = excluded.account where mail_keys.account = excluded.account`,
		digest(address), account)
	results := t.SendBatch(ctx, batch)
	for range 2 {
		if _, err := results.Exec(); err != nil {
			return errors.Join(wrap("keeping an account's address", err), results.Close())
		}
	}
	tag, err := results.Exec()
	if err = errors.Join(err, results.Close()); err == nil && tag.RowsAffected() == 0 {
		return fault.Of(fault.Conflict, accounts.MailTaken)
	}
	return wrap("keeping an account's address", err)
}
