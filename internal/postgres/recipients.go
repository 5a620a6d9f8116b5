package postgres

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"

	"dryslot/internal/alerts"
	"dryslot/internal/fault"
	"dryslot/internal/message"
	"dryslot/internal/notify"
)

// AddRecipient implements alerts.Tx.
func (t *AccountTx) AddRecipient(ctx context.Context, r notify.Recipient) (notify.Recipient, error) {
	if _, err := t.Project(ctx, r.Project); err != nil {
		return r, err
	}
	if err := checkText("address", r.Address); err != nil {
		return r, err
	}
	var err error
	if r.ID, err = newID(); err != nil {
		return r, err
	}
	r.CreatedAt = r.CreatedAt.UTC().Truncate(time.Microsecond)
	_, err = t.tx.Exec(ctx, `
		insert into recipients
			(account, id, project, kind, address, secret, created_at, alerts, confirmed_at, stopped_at)
		values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)`, t.account, r.ID, r.Project, r.Kind, r.Address, r.Secret,
		r.CreatedAt, kindTexts(r.Alerts), maybe(r.ConfirmedAt), maybe(r.StoppedAt))
	if err == nil && r.Kind == notify.Email && r.Secret != "" {
		_, err = t.tx.Exec(ctx, `insert into recipient_keys (digest, account, recipient) values ($1, $2, $3)`,
			digest(r.Secret), t.account, r.ID)
	}
	return r, wrap("keeping a recipient", err)
}

// Recipients implements alerts.Tx, in the order of their making.
func (t *AccountTx) Recipients(ctx context.Context, project string) ([]notify.Recipient, error) {
	if _, err := t.Project(ctx, project); err != nil {
		return nil, err
	}
	rows, err := t.tx.Query(ctx,
		`select id::text, project::text, kind, address, secret, created_at, alerts, confirmed_at, stopped_at
		from recipients where account = $1 and project = $2 order by seq`, t.account, project)
	if err != nil {
		return nil, wrap("listing recipients", err)
	}
	all, err := pgx.CollectRows(rows, func(r pgx.CollectableRow) (notify.Recipient, error) {
		var out notify.Recipient
		var kinds []string
		var confirmed, stopped *time.Time
		err := r.Scan(&out.ID, &out.Project, &out.Kind, &out.Address, &out.Secret, &out.CreatedAt, &kinds, &confirmed,
			&stopped)
		for _, k := range kinds {
			out.Alerts = append(out.Alerts, notify.Kind(k))
		}
		out.CreatedAt, out.ConfirmedAt, out.StoppedAt = out.CreatedAt.UTC(), instant(confirmed), instant(stopped)
		return out, err
	})
	return all, wrap("listing recipients", err)
}

// DeleteRecipient implements alerts.Tx. What was still due to it has failed, and
// says why: nothing due is dropped without a trace.
func (t *AccountTx) DeleteRecipient(ctx context.Context, project, id string) error {
	// Locked, as whoever raises alerts locks it before their rows.
	if _, err := t.LockProject(ctx, project); err != nil {
		return err
	}
	if _, err := parseID(id); err != nil {
		return err
	}
	tag, err := t.tx.Exec(ctx, `delete from recipients where account = $1 and project = $2 and id = $3`, t.account,
		project, id)
	if err == nil && tag.RowsAffected() == 0 {
		return fault.Of(fault.NotFound, alerts.RecipientUnknown)
	}
	if err != nil {
		return wrap("deleting a recipient", err)
	}
	return t.dropAlerts(ctx, project, id, alerts.DeliveryRemoved)
}

// dropAlerts has what was still due to a recipient fail for a reason.
func (t *AccountTx) dropAlerts(ctx context.Context, project, recipient string, reason message.Code) error {
	said := message.New(reason)
	text, data, err := storeSaid(said.String(), said)
	if err != nil {
		return err
	}
	_, err = t.tx.Exec(ctx, `
		with failed as (
			update deliveries set state = 'failed', reason = $4, reason_data = $5, next_try_at = null,
				settled_at = now()
			where account = $1 and project = $2 and recipient = $3 and state in ('due', 'retrying')
			returning key)
		delete from due_deliveries d using failed f where d.account = $1 and d.key = f.key`, t.account, project,
		recipient, text, data)
	return wrap("settling a recipient's alerts", err)
}

// ConfirmRecipient implements alerts.Tx.
func (t *AccountTx) ConfirmRecipient(ctx context.Context, project, id string, at time.Time) error {
	return t.changeRecipient(ctx, project, id, `confirmed_at = $4, stopped_at = null`, at)
}

// StopRecipient implements alerts.Tx.
func (t *AccountTx) StopRecipient(ctx context.Context, project, id string, at time.Time) error {
	if err := t.changeRecipient(ctx, project, id, `stopped_at = $4`, at); err != nil {
		return err
	}
	return t.dropAlerts(ctx, project, id, alerts.DeliveryStopped)
}

// ChooseAlerts implements alerts.Tx.
func (t *AccountTx) ChooseAlerts(ctx context.Context, project, id string, kinds []notify.Kind) error {
	return t.changeRecipient(ctx, project, id, `alerts = $4`, kindTexts(kinds))
}

func (t *AccountTx) changeRecipient(ctx context.Context, project, id, set string, to any) error {
	if _, err := t.LockProject(ctx, project); err != nil {
		return err
	}
	if _, err := parseID(id); err != nil {
		return err
	}
	query := `update recipients set ` + set + ` where account = $1 and project = $2 and id = $3`
	tag, err := t.tx.Exec(ctx, query, t.account, project, id, to)
	if err == nil && tag.RowsAffected() == 0 {
		return fault.Of(fault.NotFound, alerts.RecipientUnknown)
	}
	return wrap("changing a recipient", err)
}
