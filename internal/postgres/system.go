package postgres

import (
	"context"
	"encoding/json"
	"errors"
	"time"

	"github.com/jackc/pgx/v5"

	"dryslot/internal/fault"
	"dryslot/internal/fetching"
	"dryslot/internal/forecast"
	"dryslot/internal/place"
	"dryslot/internal/work"
)

// held is how long a due delivery is not handed out again: as long as a job
// that was killed takes to be rescued.
const held = 30 * time.Second

// SystemTx is a transaction that sees no account's rows.
type SystemTx struct{ weather }

// DueCells implements fetching.Cells. Cells that nobody plans from any more
// are not due.
func (t *SystemTx) DueCells(ctx context.Context, now, lease time.Time, limit int) ([]fetching.CellState, error) {
	rows, err := t.tx.Query(ctx, `
		update cells set held_until = $2 where ctid = any(array(
			select ctid from cells c
			where next_fetch_at <= $1 and (held_until is null or held_until <= $1) and (leased_until is null
			or leased_until <= $1)
			  and exists (select from due_projects p where p.cell = c.cell)
			order by next_fetch_at limit $3 for update skip locked))
		returning `+cellColumns, now, lease, limit)
	if err != nil {
		return nil, wrap("listing due cells", err)
	}
	cells, err := pgx.CollectRows(rows, scanCell)
	return cells, wrap("listing due cells", err)
}

// LeaseCell implements fetching.Cells.
func (t *SystemTx) LeaseCell(ctx context.Context, cell place.Cell, now,
	until time.Time) (fetching.CellState, bool, error) {
	c, err := t.CellState(ctx, cell)
	if err != nil {
		return c, false, err
	}
	tag, err := t.tx.Exec(ctx, `update cells set leased_until = $3
		where cell = $1 and next_fetch_at <= $2 and (leased_until is null or leased_until <= $2)`, cell.Key(), now,
		until)
	return c, err == nil && tag.RowsAffected() == 1, wrap("leasing a cell", err)
}

// PostponeFetch implements fetching.Cells.
func (t *SystemTx) PostponeFetch(ctx context.Context, cell place.Cell, next time.Time, why fetching.Trouble) error {
	text, data, err := storeSaid(why.Text, why.Data...)
	if err != nil {
		return err
	}
	tag, err := t.tx.Exec(ctx,
		`update cells set next_fetch_at = $2, trouble = $3, trouble_data = $4, held_until = null, leased_until = null
			where cell = $1`, cell.Key(), next, text, data)
	if err == nil && tag.RowsAffected() == 0 {
		return noCell(cell)
	}
	return wrap("postponing a fetch", err)
}

// FeedState implements fetching.Feeds.
func (t *SystemTx) FeedState(ctx context.Context, feed string) (fetching.FeedState, error) {
	s := fetching.FeedState{Feed: feed}
	first, err := jsonb(s)
	if err != nil {
		return s, wrap("reading a feed's state", err)
	}
	var doc []byte
	read := func() error {
		return t.tx.QueryRow(ctx, `select state from feed_states where feed = $1 for update`, feed).Scan(&doc)
	}
	if err = read(); errors.Is(err, pgx.ErrNoRows) { // a row to lock has to be there first
		if _, err = t.tx.Exec(ctx, `insert into feed_states (feed, state) values ($1, $2)
			on conflict (feed) do nothing`,
			feed, first); err == nil {
			err = read()
		}
	}
	if err == nil {
		err = json.Unmarshal(doc, &s)
	}
	return s, wrap("reading a feed's state", err)
}

// SetFeedState implements fetching.Feeds.
func (t *SystemTx) SetFeedState(ctx context.Context, s fetching.FeedState) error {
	s.Trouble = clean(s.Trouble)
	doc, err := jsonb(s)
	if err != nil {
		return fault.Wrap(fault.Invalid, "the feed's state can't be stored", err)
	}
	_, err = t.tx.Exec(ctx,
		`insert into feed_states (feed, state) values ($1, $2) on conflict (feed) do update set state = $2`,
		s.Feed, doc)
	return wrap("keeping a feed's state", err)
}

// KeepForecast implements fetching.Forecasts.
func (t *SystemTx) KeepForecast(ctx context.Context, f forecast.Forecast, next time.Time) (forecast.Kept, error) {
	id, err := t.keep(ctx, &f)
	if err != nil {
		return forecast.Kept{}, err
	}
	_, err = t.tx.Exec(ctx, `
		insert into cells as c (cell, latitude, longitude, forecast, next_fetch_at, last_tried_at, validator)
		values ($1, $2, $3, $4, $5, $6, $7)
		on conflict (cell) do update set forecast = $4, next_fetch_at = $5, last_tried_at = $6, validator = $7,
			held_until = null, leased_until = null, failures = 0, trouble = '', trouble_data = null,
			confirmed_at = null`,
		f.Cell.Key(), f.Cell.Latitude, f.Cell.Longitude, id, next, f.FetchedAt(), clean(f.Validator))
	return forecast.Kept{ID: id, Forecast: f}, wrap("keeping a forecast", err)
}

// ConfirmForecast implements fetching.Forecasts. The projects' ready answers
// state an age that ends with it.
func (t *SystemTx) ConfirmForecast(ctx context.Context, cell place.Cell, at, next time.Time, validator string) error {
	batch := &pgx.Batch{}
	batch.Queue(`update cells set confirmed_at = $2, last_tried_at = $2, next_fetch_at = $3, validator = $4,
		held_until = null, leased_until = null, failures = 0, trouble = '', trouble_data = null where cell = $1`,
		cell.Key(), at, next, clean(validator))
	batch.Queue(`update due_projects set held_until = held_until where cell = $1`, cell.Key())
	return wrap("confirming a forecast", t.tx.SendBatch(ctx, batch).Close())
}

// NoteTrouble implements fetching.Cells.
func (t *SystemTx) NoteTrouble(ctx context.Context, cell place.Cell, why fetching.Trouble) error {
	text, data, err := storeSaid(why.Text, why.Data...)
	if err != nil {
		return err
	}
	_, err = t.tx.Exec(ctx, `update cells set trouble = $2, trouble_data = $3 where cell = $1`, cell.Key(), text, data)
	return wrap("noting why a feed was not used", err)
}

// FetchFailed implements fetching.Cells.
func (t *SystemTx) FetchFailed(ctx context.Context, cell place.Cell, at, next time.Time, why fetching.Trouble) error {
	text, data, err := storeSaid(why.Text, why.Data...)
	if err != nil {
		return err
	}
	tag, err := t.tx.Exec(ctx,
		`update cells set failures = failures + 1, trouble = $4, trouble_data = $5, last_tried_at = $2,
			next_fetch_at = $3, held_until = null, leased_until = null
		where cell = $1`, cell.Key(), at, next, text, data)
	if err == nil && tag.RowsAffected() == 0 {
		return noCell(cell)
	}
	return wrap("noting a failed fetch", err)
}

func scanProjectRef(r pgx.CollectableRow) (work.ProjectRef, error) {
	var ref work.ProjectRef
	return ref, r.Scan(&ref.Account, &ref.Project)
}

// CellsWatched implements fetching.Cells.
func (t *SystemTx) CellsWatched(ctx context.Context, now time.Time) (n int, err error) {
	err = t.tx.QueryRow(ctx, `select count(*) from cells where next_fetch_at > $1`, now.Add(-24*time.Hour)).Scan(&n)
	return n, wrap("counting cells", err)
}

// ProjectsOfCell implements fetching.SystemTx.
func (t *SystemTx) ProjectsOfCell(ctx context.Context, cell place.Cell) ([]work.ProjectRef, error) {
	rows, err := t.tx.Query(ctx, `select account::text, project::text from due_projects
		where cell = $1 and finished_at is null order by account, project`, cell.Key())
	if err != nil {
		return nil, wrap("listing a cell's projects", err)
	}
	refs, err := pgx.CollectRows(rows, scanProjectRef)
	return refs, wrap("listing a cell's projects", err)
}

// DueProjects implements projects.SystemTx.
func (t *SystemTx) DueProjects(ctx context.Context, now, lease time.Time, limit int) ([]work.ProjectRef, error) {
	rows, err := t.tx.Query(ctx, `
		update due_projects set held_until = $2 where ctid = any(array(
			select ctid from due_projects
			where least(next_alert_at, next_plan_at) <= $1 and (held_until is null or held_until <= $1)
			order by least(next_alert_at, next_plan_at) limit $3 for update skip locked))
		returning account::text, project::text`, now, lease, limit)
	if err != nil {
		return nil, wrap("listing due projects", err)
	}
	refs, err := pgx.CollectRows(rows, scanProjectRef)
	return refs, wrap("listing due projects", err)
}

// DueDeliveries implements alerts.SystemTx. A delivery that was handed out is
// held back for half a minute, or until it is settled.
func (t *SystemTx) DueDeliveries(ctx context.Context, now time.Time, limit int) ([]work.DeliveryRef, error) {
	rows, err := t.tx.Query(ctx, `
		update due_deliveries set held_until = $2 where ctid = any(array(
			select ctid from due_deliveries
			where next_try_at <= $1 and (held_until is null or held_until <= $1) and (leased_until is null
			or leased_until <= $1)
			order by next_try_at limit $3 for update skip locked))
		returning account::text, key`, now, now.Add(held), limit)
	if err != nil {
		return nil, wrap("listing due deliveries", err)
	}
	refs, err := pgx.CollectRows(rows, func(r pgx.CollectableRow) (work.DeliveryRef, error) {
		var ref work.DeliveryRef
		return ref, r.Scan(&ref.Account, &ref.Key)
	})
	return refs, wrap("listing due deliveries", err)
}
