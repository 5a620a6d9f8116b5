package postgres

import (
	"context"
	"errors"
	"time"

	"github.com/jackc/pgx/v5"

	"dryslot/internal/projects"
	"dryslot/internal/work"
)

// askForPlan puts a project into the queue for plans, or notes that it was asked
// for once more. Turns are those of start-time fair queueing (Goyal, Vin and
// Cheng, 1996) with every plan counted as one: an account that has nothing in
// the queue joins it at the turn that is being served.
const askForPlan = `
	insert into plan_queue as q (account, project, because, turn) values ($1, $2, $3, 1 + greatest(
		(select max(turn) from plan_queue where account = $1),
		(select turn - 1 from plan_queue order by turn, seq limit 1), 0))
	on conflict (account, project) do update set asked = q.asked + 1, because = excluded.because`

// TakeTurn implements projects.SystemTx. Leases go by the database's clock.
func (t *SystemTx) TakeTurn(ctx context.Context, lease time.Duration) (projects.Turn, bool, error) {
	var turn projects.Turn
	err := t.tx.QueryRow(ctx, `
		update plan_queue set free_at = clock_timestamp() + $1 where (account, project) = (
			select account, project from plan_queue where free_at <= clock_timestamp()
			order by turn, seq limit 1 for update skip locked)
		returning account::text, project::text, because, asked, tries`, lease).
		Scan(&turn.Account, &turn.Project, &turn.Because, &turn.Asked, &turn.Tries)
	if errors.Is(err, pgx.ErrNoRows) {
		return turn, false, nil
	}
	return turn, err == nil, wrap("taking a turn", err)
}

// EndTurn implements projects.SystemTx.
func (t *SystemTx) EndTurn(ctx context.Context, turn projects.Turn) error {
	batch := &pgx.Batch{}
	batch.Queue(`delete from plan_queue where account = $1 and project = $2 and asked = $3`, turn.Account, turn.Project,
		turn.Asked)
	batch.Queue(`update plan_queue set free_at = clock_timestamp(), tries = 0 where account = $1 and project = $2`,
		turn.Account, turn.Project)
	return wrap("ending a turn", t.tx.SendBatch(ctx, batch).Close())
}

// PutBack implements projects.SystemTx.
func (t *SystemTx) PutBack(ctx context.Context, turn projects.Turn, wait time.Duration, failed bool) error {
	_, err := t.tx.Exec(ctx,
		`update plan_queue set free_at = clock_timestamp() + $3, tries = tries + case when $4 then 1 else 0 end
			where account = $1 and project = $2`, turn.Account, turn.Project, wait, failed)
	return wrap("putting a turn back", err)
}

// LostTurns implements projects.SystemTx.
func (t *SystemTx) LostTurns(ctx context.Context) (n int, err error) {
	err = t.tx.QueryRow(ctx, `select greatest(0, (select count(*) from plan_queue where free_at <= clock_timestamp()) -
		(select count(*) from river_job where queue = $1 and state in ('available', 'scheduled', 'retryable',
		'running')))`,
		work.QueueTurns).Scan(&n)
	return n, wrap("counting turns", err)
}
