package postgres

import (
	"context"
	"errors"
	"time"

	"dryslot/internal/metrics"

	"github.com/jackc/pgx/v5"
)

// Figures implements web.Store.
func (s *Store) Figures(ctx context.Context, now time.Time) (metrics.Figures, error) {
	var f metrics.Figures
	batch := &pgx.Batch{}
	batch.Queue(
		`select count(*), count(*) filter (where next_fetch_at <= $1), count(*) filter (where failures > 0) from cells`,
		now).
		QueryRow(func(r pgx.Row) error { return r.Scan(&f.Cells, &f.CellsOverdue, &f.CellsFailing) })
	batch.Queue(`select min(f.fetched_at) from cells c join forecasts f on f.id = c.forecast`).
		QueryRow(func(r pgx.Row) error { return scanTime(r, &f.OldestForecast) })
	batch.Queue(`select count(*), count(*) filter (where least(next_alert_at, next_plan_at) <= $1) from due_projects`,
		now).
		QueryRow(func(r pgx.Row) error { return r.Scan(&f.Projects, &f.ProjectsOverdue) })
	batch.Queue(`select count(*) from due_deliveries`).
		QueryRow(func(r pgx.Row) error { return r.Scan(&f.Deliveries) })
	batch.Queue(`select min(next_try_at) from due_deliveries where next_try_at <= $1`, now).
		QueryRow(func(r pgx.Row) error { return scanTime(r, &f.OldestDelivery) })
	batch.Queue(`select state::text, count(*) from river_job group by state order by state`).
		Query(func(rows pgx.Rows) (err error) {
			f.Jobs, err = pgx.CollectRows(rows, pgx.RowToStructByPos[metrics.JobCount])
			return err
		})
	return f, wrap("counting what is under way", s.pool.SendBatch(ctx, batch).Close())
}

// Storage is what the database holds and has written.
type Storage struct {
	Log    int64            // bytes of write-ahead log since the server's first start
	Tables map[string]int64 // bytes of each table with its indexes
}

// Storage reads how large the database is.
func (s *Store) Storage(ctx context.Context) (Storage, error) {
	out := Storage{Tables: map[string]int64{}}
	batch := &pgx.Batch{}
	batch.Queue(`select pg_wal_lsn_diff(pg_current_wal_lsn(), '0/0')::bigint`).
		QueryRow(func(r pgx.Row) error { return r.Scan(&out.Log) })
	batch.Queue(`select relname::text, pg_total_relation_size(oid) from pg_class
		where relnamespace = current_schema()::regnamespace and relkind = 'r'`).
		Query(func(rows pgx.Rows) error {
			var table string
			var size int64
			_, err := pgx.ForEachRow(rows, []any{&table, &size}, func() error {
				out.Tables[table] = size
				return nil
			})
			return err
		})
	return out, wrap("measuring the database", s.pool.SendBatch(ctx, batch).Close())
}

// scanTime reads a time that may be null.
func scanTime(r pgx.Row, into *time.Time) error {
	var at *time.Time
	if err := r.Scan(&at); err != nil && !errors.Is(err, pgx.ErrNoRows) {
		return err
	}
	if at != nil {
		*into = at.UTC()
	}
	return nil
}
