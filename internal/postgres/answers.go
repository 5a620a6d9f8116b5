package postgres

import (
	"context"
	"encoding/json"
	"errors"
	"time"

	"github.com/jackc/pgx/v5"

	"dryslot/internal/fault"
	"dryslot/internal/idempotency"
)

// answersKept is how long an answer is kept for a repeated request: a day, as
// the contract says.
const answersKept = 24 * time.Hour

// Remembered implements web.Tx.
func (t *AccountTx) Remembered(ctx context.Context, route, key string, now time.Time) (idempotency.Answer, error) {
	var a idempotency.Answer
	if err := checkText("Idempotency-Key", key); err != nil {
		return a, err
	}
	// Held until the transaction ends, whichever way. Two keys with one hash
	// would only make one of them wait.
	var mine bool
	err := t.tx.QueryRow(ctx, `select pg_try_advisory_xact_lock(hashtextextended($1 || ' ' || $2 || ' ' || $3, 0))`,
		t.account, route, key).Scan(&mine)
	if err != nil {
		return a, wrap("taking an idempotency key", err)
	}
	if !mine {
		return a, fault.New(fault.Conflict, "a request with this Idempotency-Key is under way")
	}
	var header []byte
	err = t.tx.QueryRow(ctx, `select body_hash, status, header, body from answers
		where account = $1 and route = $2 and key = $3 and kept_at > $4`, t.account, route, key, now.Add(-answersKept)).
		Scan(&a.BodyHash, &a.Status, &header, &a.Body)
	if errors.Is(err, pgx.ErrNoRows) {
		return a, fault.New(fault.NotFound, "nothing is remembered under this Idempotency-Key")
	}
	if err == nil {
		err = json.Unmarshal(header, &a.Header)
	}
	return a, wrap("reading a remembered answer", err)
}

// forgottenWithOne is how many expired answers go with each that is kept: more
// than one, so that what was left comes to an end, and few enough for a request
// that has someone waiting.
const forgottenWithOne = 10

// Remember implements web.Tx. Some of the account's expired answers go with
// it, whether or not somebody prunes.
func (t *AccountTx) Remember(ctx context.Context, route, key string, a idempotency.Answer, now time.Time) error {
	header, err := jsonb(a.Header)
	if err != nil {
		return wrap("remembering an answer", err)
	}
	batch := &pgx.Batch{}
	expired := now.Add(-answersKept)
	// Under a key that is used again first, which may not be among the oldest.
	batch.Queue(`delete from answers where account = $1 and route = $2 and key = $3 and kept_at <= $4`, t.account,
		route, key, expired)
	batch.Queue(forgetAnswers, t.account, expired, forgottenWithOne)
	batch.Queue(
		`insert into answers (account, route, key, body_hash, status, header, body, kept_at)
			values ($1, $2, $3, $4, $5, $6, $7, $8)`, t.account, route, key, notNil(a.BodyHash), a.Status, header,
		notNil(a.Body), now)
	batch.Queue(`insert into due_accounts (account, forget_at) values ($1, $2) on conflict (account) do nothing`,
		t.account, now.Add(answersKept))
	return wrap("remembering an answer", t.tx.SendBatch(ctx, batch).Close())
}
