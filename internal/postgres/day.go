package postgres

import (
	"context"
	"encoding/json"
	"fmt"

	"github.com/jackc/pgx/v5"

	"dryslot/internal/fault"
	"dryslot/internal/today"
)

// DaySteps implements projects.Tx.
func (t *AccountTx) DaySteps(ctx context.Context, projects []string) (map[string][]today.Step, error) {
	rows, err := t.tx.Query(ctx,
		`select project::text, steps from day_steps where account = $1 and project = any($2::uuid[])`, t.account,
		projects)
	if err != nil {
		return nil, wrap("reading the steps of days", err)
	}
	out := map[string][]today.Step{}
	var project string
	var doc []byte
	_, err = pgx.ForEachRow(rows, []any{&project, &doc}, func() error {
		var steps []today.Step
		if err := json.Unmarshal(doc, &steps); err != nil {
			return fmt.Errorf("postgres: steps of project %s: %w", project, err)
		}
		out[project] = steps
		return nil
	})
	return out, wrap("reading the steps of days", err)
}

// KeepDaySteps implements projects.Tx.
func (t *AccountTx) KeepDaySteps(ctx context.Context, project string, steps []today.Step) error {
	if _, err := t.Project(ctx, project); err != nil {
		return err
	}
	if steps == nil {
		steps = []today.Step{}
	}
	doc, err := json.Marshal(steps)
	if err != nil {
		return fault.Wrap(fault.Invalid, "the steps can't be stored", err)
	}
	_, err = t.tx.Exec(ctx, `insert into day_steps (account, project, steps) values ($1, $2, $3)
		on conflict (account, project) do update set steps = excluded.steps`, t.account, project, json.RawMessage(doc))
	return wrap("keeping the steps of days", err)
}
