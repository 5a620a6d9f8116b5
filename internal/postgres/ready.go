package postgres

import (
	"context"
	"errors"
	"time"

	"github.com/jackc/pgx/v5"

	"dryslot/internal/accounts"
	"dryslot/internal/fault"
	"dryslot/internal/ready"
)

const (
	// accountOfToken finds the account of the digest of a token.
	accountOfToken = `select account::text from tokens where digest = $1 and revoked_at is null`
	// accountOfSession finds the account of the digest of a browser's key at a time.
	accountOfSession = `select account::text from sessions where digest = $1 and expires_at > $2`
	// ownAccount is the account that a transaction is tied to.
	ownAccount = `nullif(current_setting('dryslot.account', true), '')::uuid`
	// readReady finds an answer. What is due of a project is written with every
	// plan, log entry and change of it, so that xmin, which names the transaction
	// that wrote a row last, reports whether anything was.
	readReady = `select d.xmin::text, r.tag, r.since,
			case when r.tag = any($6) or '*' = any($6) then null when $5 then r.packed else r.plain end
		from due_projects d left join ready_answers r on r.account = ` + ownAccount + ` and r.project = $1
			and r.name = $2 and r.language = $3 and r.basis = d.xmin::text and r.made_at <= $4 and r.until > $4
		where d.account = ` + ownAccount + ` and d.project = $1`
)

// ReadyAnswer returns the account of a token, and the answer of one of its projects
// that is kept and holds. An unknown token is fault.Forbidden.
func (s *Store) ReadyAnswer(ctx context.Context, token string, q ready.Query) (ready.Found, error) {
	f, err := s.readyOf(ctx, q, accountOfToken, digest(token))
	if err == nil && f.Account == "" {
		return f, noToken()
	}
	return f, err
}

// ReadyPage is ReadyAnswer for a browser that is signed in with a key. An
// unknown key is fault.Forbidden.
func (s *Store) ReadyPage(ctx context.Context, key string, q ready.Query) (ready.Found, error) {
	f, err := s.readyOf(ctx, q, accountOfSession, digest(key), q.Now)
	if err == nil && f.Account == "" {
		return f, noSession()
	}
	return f, err
}

// readyOf finds whose account it is, by a statement, and the answer, all in one
// round trip: the statements of a batch are one transaction, whose account the
// first sets.
func (s *Store) readyOf(ctx context.Context, q ready.Query, accountOf string, args ...any) (ready.Found, error) {
	var f ready.Found
	held := q.Held
	if held == nil {
		held = []string{}
	}
	batch := &pgx.Batch{}
	batch.Queue(`select set_config('dryslot.account', coalesce((`+accountOf+`), ''), true)`, args...)
	batch.Queue(readReady, q.Project, q.Name, q.Language, q.Now, q.Packed, held)
	sent := s.pool.SendBatch(ctx, batch)
	err := sent.QueryRow().Scan(&f.Account)
	var tag *string
	var since *time.Time
	if err == nil {
		err = sent.QueryRow().Scan(&f.Basis, &tag, &since, &f.Body)
		if errors.Is(err, pgx.ErrNoRows) {
			err = nil
		}
	}
	if err = errors.Join(err, sent.Close()); err != nil {
		return ready.Found{}, wrap("reading a ready answer", err)
	}
	if tag != nil {
		f.Tag, f.Since = *tag, instant(since)
	}
	return f, nil
}

func noToken() error { return fault.Of(fault.Forbidden, accounts.TokenUnknown) }

// touch writes the row of what is due of a project as it is, which ends its
// ready answers.
const touch = `update due_projects set held_until = held_until where account = $1 and project = $2`

// readyKept is how long after its end an answer is forgotten at the latest, if
// nobody asks for another of its project: within two prunings of a day.
const readyKept = 24 * time.Hour

// KeepReady keeps an answer in place of the one before. Basis is that which was
// found before the answer was made.
func (s *Store) KeepReady(ctx context.Context, account string, k ready.Key, basis string, a ready.Answer) error {
	return s.in(ctx, account, func(t pgx.Tx) error {
		batch := &pgx.Batch{}
		batch.Queue(`delete from ready_answers where account = $1 and project = $2 and until <= $3`, account, k.Project,
			a.From)
		batch.Queue(
			`insert into ready_answers (account, project, name, language, basis, tag, since, made_at, until, plain,
				packed)
			values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11)
			on conflict (account, project, name, language) do update set basis = excluded.basis, tag = excluded.tag,
			since = excluded.since,
				made_at = excluded.made_at, until = excluded.until, plain = excluded.plain, packed = excluded.packed`,
			account, k.Project, k.Name, k.Language, basis, a.Tag, maybe(a.Since), a.From, a.Until, a.Plain, a.Packed)
		batch.Queue(`insert into due_accounts (account, forget_at) values ($1, $2) on conflict (account) do nothing`,
			account, a.Until.Add(readyKept))
		return wrap("keeping an answer ready", t.SendBatch(ctx, batch).Close())
	})
}
