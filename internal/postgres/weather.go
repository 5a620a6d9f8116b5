package postgres

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/riverqueue/river"

	"dryslot/internal/fault"
	"dryslot/internal/fetching"
	"dryslot/internal/forecast"
	"dryslot/internal/place"
	"dryslot/internal/projects"
	"dryslot/internal/work"
)

// weather is what both kinds of transaction share: public weather, and the queue.
type weather struct {
	tx    pgx.Tx
	queue *river.Client[pgx.Tx]
}

// Enqueue implements projects.Tx. A plan that is asked for is a
// row with a turn, and its job takes whoever is next.
func (w weather) Enqueue(ctx context.Context, todo ...work.Work) error {
	if len(todo) == 0 {
		return nil
	}
	turns := &pgx.Batch{}
	jobs := make([]river.InsertManyParams, len(todo))
	for i, one := range todo {
		if plan, ok := one.(work.Replan); ok {
			turns.Queue(askForPlan, plan.Account, plan.Project, plan.Because)
			one = work.NextPlan{}
		}
		jobs[i] = river.InsertManyParams{Args: one, InsertOpts: &river.InsertOpts{Queue: one.Queue(),
			Priority: one.Priority()}}
	}
	if turns.Len() > 0 {
		if err := w.tx.SendBatch(ctx, turns).Close(); err != nil {
			return wrap("asking for a plan", err)
		}
	}
	_, err := w.queue.InsertManyTx(ctx, w.tx, jobs)
	return wrap("adding "+todo[0].Kind()+" to the queue", err)
}

const cellColumns = `latitude, longitude, coalesce(forecast, 0), next_fetch_at, last_tried_at, failures,
	trouble, trouble_data, validator`

func scanCell(r pgx.CollectableRow) (fetching.CellState, error) {
	var c fetching.CellState
	var tried *time.Time
	var said []byte
	err := r.Scan(&c.Cell.Latitude, &c.Cell.Longitude, &c.ForecastID, &c.NextFetchAt, &tried, &c.Failures,
		&c.Trouble.Text, &said, &c.Validator)
	if err != nil {
		return c, err
	}
	c.Trouble.Data, err = readSaid(c.Trouble.Text, said)
	c.NextFetchAt, c.LastTriedAt = c.NextFetchAt.UTC(), instant(tried)
	return c, err
}

// CellState implements web.Tx.
func (w weather) CellState(ctx context.Context, cell place.Cell) (fetching.CellState, error) {
	rows, err := w.tx.Query(ctx, `select `+cellColumns+` from cells where cell = $1`, cell.Key())
	if err != nil {
		return fetching.CellState{}, wrap("reading a cell", err)
	}
	c, err := pgx.CollectExactlyOneRow(rows, scanCell)
	if errors.Is(err, pgx.ErrNoRows) {
		return c, noCell(cell)
	}
	return c, wrap("reading a cell", err)
}

func noCell(cell place.Cell) error {
	return fault.New(fault.NotFound, "nobody plans from the cell "+cell.Key())
}

// Forecast implements projects.Tx.
func (w weather) Forecast(ctx context.Context, cell place.Cell) (forecast.Kept, error) {
	return w.forecast(ctx, `f.id = (select forecast from cells where cell = $1)`, cell.Key())
}

// ForecastByID implements web.Tx.
func (w weather) ForecastByID(ctx context.Context, id int64) (forecast.Kept, error) {
	return w.forecast(ctx, `f.id = $1`, id)
}

func (w weather) forecast(ctx context.Context, which string, arg any) (forecast.Kept, error) {
	var k forecast.Kept
	var doc, cal []byte
	var confirmed *time.Time
	err := w.tx.QueryRow(ctx, `select f.id, f.document, s.recalibration, c.confirmed_at from forecasts f
		left join stated_chances s on s.forecast = f.id left join cells c on c.forecast = f.id where `+which, arg).
		Scan(&k.ID, &doc, &cal, &confirmed)
	if errors.Is(err, pgx.ErrNoRows) {
		return k, fault.New(fault.NotFound, "there is no such forecast")
	}
	if err != nil {
		return k, wrap("reading a forecast", err)
	}
	if k.Forecast, err = decodeForecast(doc); err != nil {
		return k, fmt.Errorf("postgres: forecast %d: %w", k.ID, err)
	}
	for i := range k.Forecast.Sources {
		if src := &k.Forecast.Sources[i]; !src.Past && instant(confirmed).After(src.FetchedAt) {
			src.FetchedAt = instant(confirmed)
		}
	}
	if cal != nil {
		if err := json.Unmarshal(cal, &k.Recalibration); err != nil {
			return k, fmt.Errorf("postgres: correction of forecast %d: %w", k.ID, err)
		}
	}
	return k, nil
}

// WatchCell implements projects.Tx. A cell that is watched already keeps its
// rhythm, which may be a provider's; it is locked, lest it be pruned meanwhile.
func (t *AccountTx) WatchCell(ctx context.Context, cell place.Cell, project string, first time.Time) error {
	if _, err := parseID(project); err != nil {
		return err
	}
	_, err := t.tx.Exec(ctx, `insert into cells (cell, latitude, longitude, next_fetch_at) values ($1, $2, $3, $4)
		on conflict (cell) do update set cell = excluded.cell`,
		cell.Key(), cell.Latitude, cell.Longitude, first)
	if err != nil {
		return wrap("watching a cell", err)
	}
	tag, err := t.tx.Exec(ctx, `update due_projects set cell = $3 where account = $1 and project = $2`, t.account,
		project, cell.Key())
	if err == nil && tag.RowsAffected() == 0 {
		return noProject()
	}
	return wrap("watching a cell", err)
}

// SetDue implements projects.Tx.
func (t *AccountTx) SetDue(ctx context.Context, project string, d projects.Due) error {
	if _, err := parseID(project); err != nil {
		return err
	}
	tag, err := t.tx.Exec(ctx, `update due_projects set next_alert_at = $3, next_plan_at = $4, live_until = $5,
		finished_at = case when $6 then coalesce(finished_at, now()) end, held_until = null where account = $1
		and project = $2`,
		t.account, project, maybe(d.NextAlertAt), maybe(d.NextPlanAt), maybe(d.LiveUntil), d.Finished)
	if err == nil && tag.RowsAffected() == 0 {
		return noProject()
	}
	return wrap("setting when a project is due", err)
}

// clean makes another's words, such as a mail server's, fit to be stored.
func clean(text string) string {
	const longest = 2000 // bytes: a reason is read by people
	if len(text) > longest {
		text = text[:longest]
	}
	return strings.ReplaceAll(strings.ToValidUTF8(text, "\uFFFD"), "\x00", "\uFFFD")
}

// keep inserts a forecast, whole.
func (w weather) keep(ctx context.Context, f *forecast.Forecast) (int64, error) {
	if len(f.Sources) == 0 || len(f.Hours) == 0 {
		return 0, fault.New(fault.Invalid, "a forecast without a source or without hours can't be kept")
	}
	doc, err := encodeForecast(f)
	if err != nil {
		return 0, fault.Wrap(fault.Invalid, "the forecast can't be stored", err)
	}
	src := f.Sources[0]
	var id int64
	err = w.tx.QueryRow(ctx,
		`insert into forecasts (cell, feed, issued_at, fetched_at, attribution, document)
			values ($1, $2, $3, $4, $5, $6) returning id`, f.Cell.Key(), src.Feed, src.IssuedAt, src.FetchedAt,
		src.Attribution, doc).Scan(&id)
	return id, wrap("keeping a forecast", err)
}
