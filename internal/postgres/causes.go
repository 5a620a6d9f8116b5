package postgres

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"

	"dryslot/internal/alerts"
	"dryslot/internal/notify"
	"dryslot/internal/unit"
)

// DayAlerts implements alerts.Tx, the oldest first.
func (t *AccountTx) DayAlerts(ctx context.Context, project string, d unit.Date) ([]alerts.Delivery, error) {
	if _, err := parseID(project); err != nil {
		return nil, err
	}
	rows, err := t.tx.Query(ctx, `select `+deliveryColumns+` from deliveries
		where account = $1 and project = $2 and date = $3::date and occasions <> '{}' order by seq`, t.account, project,
		d.String())
	if err != nil {
		return nil, wrap("listing the alerts of a day", err)
	}
	all, err := pgx.CollectRows(rows, scanDelivery)
	if err != nil {
		return nil, wrap("listing the alerts of a day", err)
	}
	out := make([]alerts.Delivery, len(all))
	for i := range all {
		out[i] = all[i].item
	}
	return out, nil
}

// CauseStates implements alerts.Tx.
func (t *AccountTx) CauseStates(ctx context.Context, project string,
	d unit.Date) (map[notify.Kind]notify.CauseState, error) {
	if _, err := parseID(project); err != nil {
		return nil, err
	}
	rows, err := t.tx.Query(ctx,
		`select kind, number, holds, held_until from alert_events where account = $1 and project = $2
			and date = $3::date`,
		t.account, project, d.String())
	if err != nil {
		return nil, wrap("reading causes of alerts", err)
	}
	out := map[notify.Kind]notify.CauseState{}
	var kind string
	var s notify.CauseState
	_, err = pgx.ForEachRow(rows, []any{&kind, &s.Number, &s.Holds, &s.HeldUntil}, func() error {
		s.HeldUntil = s.HeldUntil.UTC()
		out[notify.Kind(kind)] = s
		return nil
	})
	return out, wrap("reading causes of alerts", err)
}

// KeepCauseStates implements alerts.Tx. What never held is not kept.
func (t *AccountTx) KeepCauseStates(ctx context.Context, project string, d unit.Date,
	states map[notify.Kind]notify.CauseState) error {
	if _, err := t.Project(ctx, project); err != nil {
		return err
	}
	var kinds []string
	var numbers []int32
	var holds []bool
	var until []time.Time
	for k, s := range states {
		if s.Number > 0 {
			kinds, numbers = append(kinds, string(k)), append(numbers, int32(s.Number))
			holds, until = append(holds, s.Holds), append(until, s.HeldUntil)
		}
	}
	if len(kinds) == 0 {
		return nil
	}
	_, err := t.tx.Exec(ctx, `insert into alert_events as e (account, project, date, kind, number, holds, held_until)
		select $1, $2, $3::date, * from unnest($4::text[], $5::int[], $6::bool[], $7::timestamptz[])
		on conflict (account, project, date, kind) do update
			set number = excluded.number, holds = excluded.holds, held_until = excluded.held_until
		where (e.number, e.holds, e.held_until) is distinct from (excluded.number, excluded.holds,
		excluded.held_until)`,
		t.account, project, d.String(), kinds, numbers, holds, until)
	return wrap("keeping causes of alerts", err)
}
