package postgres

import (
	"context"
	"encoding/json"
	"errors"
	"time"

	"github.com/jackc/pgx/v5"

	"dryslot/internal/alerts"
	"dryslot/internal/fault"
	"dryslot/internal/notify"
	"dryslot/internal/paging"
	"dryslot/internal/planner/job"
	"dryslot/internal/unit"
)

// RecipientByKey implements alerts.Store.
func (s *Store) RecipientByKey(ctx context.Context, key string) (account, recipient string, err error) {
	err = s.pool.QueryRow(ctx, `select account::text, recipient::text from recipient_keys where digest = $1`,
		digest(key)).Scan(&account, &recipient)
	if errors.Is(err, pgx.ErrNoRows) {
		return "", "", fault.Of(fault.NotFound, alerts.RecipientUnknown)
	}
	return account, recipient, wrap("looking a recipient up", err)
}

// ProjectOfRecipient implements alerts.Tx.
func (t *AccountTx) ProjectOfRecipient(ctx context.Context, id string) (string, error) {
	var project string
	err := t.tx.QueryRow(ctx, `select project::text from recipients where account = $1 and id = $2`, t.account,
		id).Scan(&project)
	if errors.Is(err, pgx.ErrNoRows) {
		return "", fault.Of(fault.NotFound, alerts.RecipientUnknown)
	}
	return project, wrap("looking a recipient's project up", err)
}

// AddAlert implements alerts.Tx.
func (t *AccountTx) AddAlert(ctx context.Context, a notify.Alert) (bool, error) {
	if _, err := parseID(a.Project); err != nil {
		return false, err
	}
	m := a.Message
	blocks, err := jsonb(m.Blocks)
	if err != nil {
		return false, wrap("keeping an alert", err)
	}
	if m.Actions == nil {
		m.Actions = []notify.DayAction{}
	}
	actions, err := jsonb(m.Actions)
	if err != nil {
		return false, wrap("keeping an alert", err)
	}
	tag, err := t.tx.Exec(ctx, `
		with added as (
			insert into deliveries (account, key, project, recipient, kind, date, message_id, subject, body, payload,
				due_at, next_try_at, told_at, told_verdict, told_start, told_latest, told_pads, occasions, any_hour,
				urgent, link, of_use_until, actions, blocks)
			values ($1, $2, $3, $4, $5, $6::date, $7, $8, $9, $10, $11, $11, $12, $13, $14, $15, $16, $17, $18, $19,
			$20, $21, $22, $23)
			on conflict (account, key) do nothing
			returning account, key, due_at)
		insert into due_deliveries (account, key, next_try_at) select account, key, due_at from added`,
		t.account, a.Key, a.Project, a.Recipient, string(a.Kind), a.Date.String(), m.ID, m.Subject, m.Text,
		notNil(m.Payload), a.DueAt,
		maybe(a.Told.At), string(a.Told.Verdict), maybe(a.Told.Start), maybe(a.Told.Latest), a.Told.Pads,
		texted(a.Occasions), a.AnyHour, m.Urgent, m.Link, maybe(m.UsedBy), actions, blocks)
	return err == nil && tag.RowsAffected() == 1, wrap("keeping an alert", err)
}

func notNil(b []byte) []byte {
	if b == nil {
		return []byte{}
	}
	return b
}

const deliveryColumns = `key, project::text, recipient, kind, date::text, message_id, subject, body, payload, due_at,
	state, tries, reason, reason_data, next_try_at, settled_at, told_at, told_verdict, told_start, told_latest,
	told_pads, occasions, any_hour, urgent, link, of_use_until, actions, blocks, seq`

func scanDelivery(r pgx.CollectableRow) (row[alerts.Delivery], error) {
	var out row[alerts.Delivery]
	d := &out.item
	var kind, date, state string
	var next, settled, toldAt, start, latest, used *time.Time
	var actions []byte
	var verdict *string
	var said []byte
	err := r.Scan(&d.Key, &d.Project, &d.Recipient, &kind, &date, &d.Message.ID, &d.Message.Subject, &d.Message.Text,
		&d.Message.Payload, &d.DueAt, &state, &d.Tries, &d.Reason.Text, &said, &next, &settled, &toldAt, &verdict,
		&start, &latest, &d.Told.Pads,
		&d.Occasions, &d.AnyHour, &d.Message.Urgent, &d.Message.Link, &used, &actions, &d.Message.Blocks, &out.seq)
	if err != nil {
		return out, err
	}
	why, err := readSaid(d.Reason.Text, said)
	if err != nil {
		return out, err
	}
	if len(why) > 0 {
		d.Reason.Data = why[0]
	}
	d.Kind, d.State = notify.Kind(kind), alerts.DeliveryState(state)
	d.Message.UsedBy = instant(used)
	if err := json.Unmarshal(actions, &d.Message.Actions); err != nil {
		return out, err
	}
	if len(d.Message.Actions) == 0 {
		d.Message.Actions = nil
	}
	if len(d.Occasions) == 0 {
		d.Occasions = nil
	}
	d.DueAt, d.NextTryAt, d.SettledAt = d.DueAt.UTC(), instant(next), instant(settled)
	d.Told.At, d.Told.Start, d.Told.Latest = instant(toldAt), instant(start), instant(latest)
	if toldAt != nil {
		d.Told.Kind = d.Kind
	}
	if verdict != nil {
		d.Told.Verdict = job.Verdict(*verdict)
	}
	d.Date, err = unit.ParseDate(date)
	return out, err
}

// kindTexts are kinds to be stored; nil stays nil, which is all.
func kindTexts(kinds []notify.Kind) []string {
	if kinds == nil {
		return nil
	}
	out := make([]string, len(kinds))
	for i, k := range kinds {
		out[i] = string(k)
	}
	return out
}

// texted are texts to be stored where none may be missing.
func texted(all []string) []string {
	if all == nil {
		return []string{}
	}
	return all
}

// instant returns a time that may be missing; the zero time says so.
func instant(t *time.Time) time.Time {
	if t == nil {
		return time.Time{}
	}
	return t.UTC()
}

// maybe returns a time to store; the zero time is stored as missing.
func maybe(t time.Time) *time.Time {
	if t.IsZero() {
		return nil
	}
	return &t
}

// Alerts implements alerts.Tx; the newest comes first.
func (t *AccountTx) Alerts(ctx context.Context, project string, page paging.Page) ([]alerts.Delivery, string, error) {
	c, err := readPage("alerts", page)
	if err != nil {
		return nil, "", err
	}
	if _, err := t.Project(ctx, project); err != nil {
		return nil, "", err
	}
	rows, err := t.tx.Query(ctx, `select `+deliveryColumns+` from deliveries
		where account = $1 and project = $2 and ($3 or seq < $4) order by seq desc limit $5`,
		t.account, project, c.first, c.seq, page.Limit+1)
	if err != nil {
		return nil, "", wrap("listing alerts", err)
	}
	all, err := pgx.CollectRows(rows, scanDelivery)
	if err != nil {
		return nil, "", wrap("listing alerts", err)
	}
	items, next := cut(c, all, page.Limit)
	return items, next, nil
}

// Alert implements alerts.Tx.
func (t *AccountTx) Alert(ctx context.Context, key string) (alerts.Delivery, error) {
	if err := checkText("key", key); err != nil {
		return alerts.Delivery{}, err
	}
	rows, err := t.tx.Query(ctx, `select `+deliveryColumns+` from deliveries where account = $1 and key = $2
		for update`,
		t.account, key)
	if err != nil {
		return alerts.Delivery{}, wrap("reading an alert", err)
	}
	r, err := pgx.CollectExactlyOneRow(rows, scanDelivery)
	if errors.Is(err, pgx.ErrNoRows) {
		return alerts.Delivery{}, fault.New(fault.NotFound, "there is no such alert")
	}
	return r.item, wrap("reading an alert", err)
}

// LeaseAlert implements alerts.Tx. Delivery rows are locked before due rows
// everywhere, so that two transactions never wait for each other.
func (t *AccountTx) LeaseAlert(ctx context.Context, key string, now, until time.Time) (bool, error) {
	if _, err := t.Alert(ctx, key); err != nil {
		return false, err
	}
	tag, err := t.tx.Exec(ctx, `update due_deliveries set leased_until = $4
		where account = $1 and key = $2 and (leased_until is null or leased_until <= $3)`, t.account, key, now, until)
	if err != nil || tag.RowsAffected() == 0 {
		return false, wrap("leasing an alert", err)
	}
	_, err = t.tx.Exec(ctx, `update deliveries set tries = tries + 1 where account = $1 and key = $2`, t.account, key)
	return err == nil, wrap("counting a try", err)
}

// SettleAlert implements alerts.Tx. A try that stalled may report its outcome
// when its lease has run out and another has begun.
func (t *AccountTx) SettleAlert(ctx context.Context, key string, o alerts.Outcome) error {
	final := o.State == alerts.DeliverySent || o.State == alerts.DeliveryFailed
	waits := o.State == alerts.DeliveryRetrying || o.State == alerts.DeliveryDue
	if !final && (!waits || o.NextTryAt.IsZero()) {
		return fault.New(fault.Invalid, "an outcome is sent, failed, or one that waits, with the time of the next try")
	}
	was, err := t.Alert(ctx, key)
	if err != nil {
		return err
	}
	if news, err := t.isNews(ctx, was, o); err != nil || !news {
		return err
	}
	text, data, err := storeSaid(o.Reason.Text, o.Reason.Data)
	if err != nil {
		return err
	}
	batch := &pgx.Batch{}
	if final {
		batch.Queue(
			`update deliveries set state = $3, reason = $4, reason_data = $6, next_try_at = null, settled_at = $5
				where account = $1 and key = $2`, t.account, key, string(o.State), text, o.At, data)
		batch.Queue(`delete from due_deliveries where account = $1 and key = $2`, t.account, key)
	} else {
		batch.Queue(
			`update deliveries set state = $3, reason = $4, reason_data = $6, next_try_at = $5 where account = $1
				and key = $2`,
			t.account, key, string(o.State), text, o.NextTryAt, data)
		batch.Queue(
			`update due_deliveries set next_try_at = $3, leased_until = null, held_until = null where account = $1
				and key = $2`,
			t.account, key, o.NextTryAt)
	}
	return wrap("settling an alert", t.tx.SendBatch(ctx, batch).Close())
}

// isNews reports whether an outcome says more than what is known of an alert,
// whose row is locked.
func (t *AccountTx) isNews(ctx context.Context, was alerts.Delivery, o alerts.Outcome) (bool, error) {
	switch {
	case was.State == alerts.DeliverySent:
		return false, nil
	case o.State == alerts.DeliverySent:
		return true, nil
	case was.State == alerts.DeliveryFailed:
		return false, nil
	case o.Try > 0:
		return o.Try == was.Tries, nil
	}
	var held bool
	err := t.tx.QueryRow(ctx,
		`select exists (select from due_deliveries where account = $1 and key = $2 and leased_until > $3)`, t.account,
		was.Key, o.At).Scan(&held)
	return !held, wrap("reading an alert's lease", err)
}
