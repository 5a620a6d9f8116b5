package postgres

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"dryslot/internal/fault"
	"dryslot/internal/fetching"
	"dryslot/internal/forecast"
	"dryslot/internal/place"
	"dryslot/internal/work"
)

// live is true of a cell c with a day under way at $1.
const live = `exists (select from due_projects p where p.cell = c.cell and p.live_until > $1)`

// DueShort implements fetching.ShortRanges. A cell's row is made when it is first
// wanted.
func (t *SystemTx) DueShort(ctx context.Context, now, hold time.Time, limit int) ([]place.Cell, error) {
	_, err := t.tx.Exec(ctx, `insert into short_ranges (cell, next_fetch_at)
		select distinct cell, $1::timestamptz from due_projects where live_until > $1 and cell is not null
		on conflict (cell) do nothing`, now)
	if err != nil {
		return nil, wrap("listing due short ranges", err)
	}
	rows, err := t.tx.Query(ctx, `
		with due as (
			update short_ranges set held_until = $2 where ctid = any(array(
				select ctid from short_ranges c
				where next_fetch_at <= $1 and (held_until is null or held_until <= $1)
				  and (leased_until is null or leased_until <= $1) and `+live+`
				order by next_fetch_at limit $3 for update skip locked))
			returning cell)
		select c.latitude, c.longitude from due, lateral (select latitude, longitude from cells where cell = due.cell
			limit 1) c`, now, hold, limit)
	if err != nil {
		return nil, wrap("listing due short ranges", err)
	}
	cells, err := pgx.CollectRows(rows, func(r pgx.CollectableRow) (place.Cell, error) {
		var c place.Cell
		return c, r.Scan(&c.Latitude, &c.Longitude)
	})
	return cells, wrap("listing due short ranges", err)
}

// LeaseShort implements fetching.ShortRanges.
func (t *SystemTx) LeaseShort(ctx context.Context, cell place.Cell, now,
	until time.Time) (fetching.ShortState, bool, error) {
	tag, err := t.tx.Exec(ctx, `update short_ranges c set leased_until = $3 where cell = $2 and next_fetch_at <= $1
		and (leased_until is null or leased_until <= $1) and `+live, now, cell.Key(), until)
	if err != nil || tag.RowsAffected() == 0 {
		return fetching.ShortState{}, false, wrap("leasing a short range", err)
	}
	s, err := t.ShortState(ctx, cell)
	return s, err == nil, err
}

// ReleaseShort implements fetching.ShortRanges.
func (t *SystemTx) ReleaseShort(ctx context.Context, cell place.Cell) error {
	_, err := t.tx.Exec(ctx, `update short_ranges set held_until = null, leased_until = null where cell = $1`,
		cell.Key())
	return wrap("releasing a short range", err)
}

// KeepShort implements fetching.ShortRanges.
func (t *SystemTx) KeepShort(ctx context.Context, s forecast.ShortRange, at, next time.Time,
	trouble fetching.Trouble) error {
	doc, err := jsonb(s)
	if err != nil {
		return fault.Wrap(fault.Invalid, "the short-range product can't be stored", err)
	}
	text, data, err := storeSaid(trouble.Text, trouble.Data...)
	if err != nil {
		return err
	}
	_, err = t.tx.Exec(ctx,
		`insert into short_ranges (cell, product, tried_at, next_fetch_at, trouble, trouble_data)
			values ($1, $2, $3, $4, $5, $6)
		on conflict (cell) do update set product = excluded.product, tried_at = excluded.tried_at,
		next_fetch_at = excluded.next_fetch_at,
			trouble = excluded.trouble, trouble_data = excluded.trouble_data, failures = 0, held_until = null,
			leased_until = null`,
		s.Cell.Key(), doc, at, next, text, data)
	return wrap("keeping a short range", err)
}

// ShortFailed implements fetching.ShortRanges.
func (t *SystemTx) ShortFailed(ctx context.Context, cell place.Cell, at, next time.Time, why fetching.Trouble) error {
	text, data, err := storeSaid(why.Text, why.Data...)
	if err != nil {
		return err
	}
	_, err = t.tx.Exec(ctx,
		`update short_ranges set tried_at = $2, next_fetch_at = $3, trouble = $4, trouble_data = $5,
			failures = failures + 1,
		held_until = null, leased_until = null where cell = $1`, cell.Key(), at, next, text, data)
	return wrap("noting that no short range came", err)
}

// CellsLive implements fetching.ShortRanges.
func (t *SystemTx) CellsLive(ctx context.Context, now time.Time) (n int, err error) {
	err = t.tx.QueryRow(ctx, `select count(distinct cell) from due_projects where live_until > $1`, now).Scan(&n)
	return n, wrap("counting cells with a day under way", err)
}

// LiveProjects implements fetching.ShortRanges.
func (t *SystemTx) LiveProjects(ctx context.Context, cell place.Cell, now time.Time) ([]work.ProjectRef, error) {
	rows, err := t.tx.Query(ctx, `select account::text, project::text from due_projects
		where cell = $1 and live_until > $2
		order by account, project`, cell.Key(), now)
	if err != nil {
		return nil, wrap("listing projects under way", err)
	}
	refs, err := pgx.CollectRows(rows, scanProjectRef)
	return refs, wrap("listing projects under way", err)
}

// ShortState implements web.Tx; fault.NotFound where no day was under
// way in the cell yet.
func (w weather) ShortState(ctx context.Context, cell place.Cell) (fetching.ShortState, error) {
	s := fetching.ShortState{Cell: cell}
	var doc, said []byte
	var tried *time.Time
	err := w.tx.QueryRow(ctx,
		`select product, tried_at, next_fetch_at, failures, trouble, trouble_data from short_ranges where cell = $1`,
		cell.Key()).
		Scan(&doc, &tried, &s.NextFetchAt, &s.Failures, &s.Trouble.Text, &said)
	switch {
	case errors.Is(err, pgx.ErrNoRows):
		return s, fault.New(fault.NotFound, "no day was under way in the cell "+cell.Key())
	case err != nil:
		return s, wrap("reading a short range", err)
	}
	s.NextFetchAt, s.LastTriedAt = s.NextFetchAt.UTC(), instant(tried)
	if s.Trouble.Data, err = readSaid(s.Trouble.Text, said); err != nil {
		return s, err
	}
	if doc != nil {
		s.Product = new(forecast.ShortRange)
		if err := json.Unmarshal(doc, s.Product); err != nil {
			return s, fmt.Errorf("postgres: short range of %s: %w", cell.Key(), err)
		}
	}
	return s, nil
}

// ShortRange implements projects.Tx.
func (w weather) ShortRange(ctx context.Context, cell place.Cell) (*forecast.ShortRange, error) {
	s, err := w.ShortState(ctx, cell)
	if fault.KindOf(err) == fault.NotFound {
		return nil, nil
	}
	return s.Product, err
}
