package postgres

import (
	"context"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
)

const (
	// wholeKept is how long forecasts are kept whole that no current plan was
	// made from: an ensemble's document takes some 0.1 MB, and a cell brings 24
	// a day.
	wholeKept = 7 * 24 * time.Hour
	// chancesKept is how long the chances that a forecast stated are kept, at a
	// byte an hour, and logged rain; only the scores outlive them. Cells that
	// nobody plans from are forgotten after as long.
	chancesKept = 30 * 24 * time.Hour
	// failuresKept is how long failed tries to sign in are kept: for longer than
	// they count (accounts.Pause).
	failuresKept = 48 * time.Hour
)

// unneeded holds of a forecast, $, that no current plan was made from and that
// is no cell's newest. The offsets keep these from being joined: each forecast
// is looked up by an index, and no part reads all projects.
const unneeded = `not exists (select from due_projects p where p.forecast = $ offset 0)
	and not exists (select from cells c where c.forecast = $ offset 0)`

// Prune implements retention.SystemTx. Rows to go are listed by an index and found
// again by their place: joined to their table, they would be looked for in the
// whole of it. Sessions end by the wall clock. Mornings of
// plans that were followed by others are not kept in the first place, answers
// belong to accounts, and River prunes its own jobs: an hour after they are
// done, seven days after it gave them up.
func (t *SystemTx) Prune(ctx context.Context, now time.Time, limit int) (more bool, err error) {
	whole, old := now.Add(-wholeKept), now.Add(-chancesKept)
	prunes := [...]struct {
		sql  string
		args []any
	}{
		{`delete from sessions where digest = any(array(select digest from sessions where expires_at <= now()
			order by expires_at limit $1))`, []any{limit}},
		{`delete from sign_in_links where digest = any(array(select digest from sign_in_links where expires_at <= now()
			order by expires_at limit $1))`, []any{limit}},
		{`delete from archive_links where digest = any(array(select digest from archive_links where expires_at <= now()
			order by expires_at limit $1))`, []any{limit}},
		{`delete from passkey_challenges where digest = any(array(select digest from passkey_challenges
			where expires_at <= now() order by expires_at limit $1))`, []any{limit}},
		{`delete from mail_links where digest = any(array(select digest from mail_links where expires_at <= now()
			order by expires_at limit $1))`, []any{limit}},
		{`delete from mail_orders where id = any(array(select id from mail_orders where expires_at <= now()
			order by expires_at limit $1))`, []any{limit}},
		{`delete from sign_in_failures where ctid = any(array(select ctid from sign_in_failures
			where last_at < now() - $2::interval order by last_at limit $1))`, []any{limit, failuresKept}},
		{`delete from forecasts where fetched_at < $2 and id = any(array(
			select id from forecasts f where fetched_at < $2 and ` + strings.ReplaceAll(unneeded, "$", "f.id") +
			` order by fetched_at limit $1))`, []any{limit, whole}},
		{`delete from stated_chances where forecast = any(array(
			select forecast from stated_chances s where stated_at < $2 and ` + strings.ReplaceAll(unneeded, "$",
			"s.forecast") + ` order by stated_at limit $1))`, []any{limit, old}},
		{`delete from logged_rain where ctid = any(array(select ctid from logged_rain where hour < $2 order by hour
			limit $1))`, []any{limit, old}},
		{`delete from seen_rain where ctid = any(array(select ctid from seen_rain where hour < $2 order by hour
			limit $1))`, []any{limit, old}},
		{`delete from short_ranges where ctid = any(array(select ctid from short_ranges where next_fetch_at < $2
			order by next_fetch_at limit $1))`,
			[]any{limit, whole}},
	}
	more, err = t.pruneCells(ctx, old, limit) // first: a cell holds its newest forecast
	if err != nil {
		return false, wrap("pruning cells", err)
	}
	for _, p := range prunes {
		tag, err := t.tx.Exec(ctx, p.sql, p.args...)
		if err != nil {
			return false, wrap("pruning", err)
		}
		more = more || tag.RowsAffected() >= int64(limit)
	}
	return more, nil
}

// pruneCells forgets cells that nobody has planned from for long. They are
// locked first: whoever begins to plan from one has locked it too, and one who
// did so before is seen by the second statement.
func (t *SystemTx) pruneCells(ctx context.Context, before time.Time, limit int) (more bool, err error) {
	const unwatched = `not exists (select from due_projects p where p.cell = c.cell)`
	keys, err := texts(ctx, t.tx,
		`select cell from cells c where next_fetch_at < $1 and coalesce(last_tried_at, next_fetch_at) < $1 and `+
			unwatched+`
		order by next_fetch_at limit $2 for update skip locked`, before, limit)
	if err != nil || len(keys) == 0 {
		return false, err
	}
	_, err = t.tx.Exec(ctx, `delete from cells c where cell = any($1) and `+unwatched, keys)
	return len(keys) >= limit, err
}

// DueAccounts implements retention.SystemTx.
func (t *SystemTx) DueAccounts(ctx context.Context, now time.Time, limit int) ([]string, error) {
	accounts, err := texts(ctx, t.tx,
		`select account::text from due_accounts where forget_at <= $1 order by forget_at limit $2`, now, limit)
	return accounts, wrap("listing accounts with something to forget", err)
}

// forgetAnswers forgets an account's expired answers, up to $3.
const forgetAnswers = `delete from answers where account = $1
	and ctid = any(array(select ctid from answers where account = $1 and kept_at <= $2 order by kept_at limit $3))`

// ForgetAnswers implements retention.Tx.
func (t *AccountTx) ForgetAnswers(ctx context.Context, now time.Time, limit int) error {
	batch := &pgx.Batch{}
	batch.Queue(forgetAnswers, t.account, now.Add(-answersKept), limit)
	batch.Queue(`delete from ready_answers where account = $1 and until <= $2`, t.account, now)
	batch.Queue(
		`update due_accounts set forget_at = coalesce(least((select min(kept_at) from answers where account = $1) + $2,
		(select min(until) from ready_answers where account = $1) + $3), '-infinity')
		where account = $1`, t.account, answersKept, readyKept)
	batch.Queue(`delete from due_accounts where account = $1 and forget_at = '-infinity'`, t.account)
	return wrap("forgetting answers", t.tx.SendBatch(ctx, batch).Close())
}
