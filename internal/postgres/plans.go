package postgres

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"dryslot/internal/fault"
	"dryslot/internal/message"
	"dryslot/internal/paging"
	"dryslot/internal/planner/job"
	"dryslot/internal/pour"
	"dryslot/internal/projects"
)

// keptPlan is the document of a plan: the changes as codes stand in it, beside
// the column that has their texts, which the version before reads.
type keptPlan struct {
	pour.Plan
	Changes []message.Message `json:"changes_data"`
}

// AddPlan implements projects.Tx.
func (t *AccountTx) AddPlan(ctx context.Context, project string, k projects.KeptPlan) (projects.KeptPlan, error) {
	if _, err := t.LockProject(ctx, project); err != nil { // one version at a time
		return k, err
	}
	var version int
	err := t.tx.QueryRow(ctx, `select coalesce(max(version), 0) + 1 from plans where account = $1 and project = $2`,
		t.account, project).Scan(&version)
	if err != nil {
		return k, wrap("numbering a plan", err)
	}
	k.Plan.Version = &version
	plan, err := jsonb(keptPlan{k.Plan, k.ChangesData})
	if err != nil {
		return k, fault.Wrap(fault.Invalid, "the plan can't be stored", err)
	}
	changes, err := jsonb(k.Changes)
	if err != nil {
		return k, fault.Wrap(fault.Invalid, "the plan's changes can't be stored", err)
	}
	batch := &pgx.Batch{}
	batch.Queue(
		`insert into plans (account, project, version, made_at, forecast, plan, changes)
			values ($1, $2, $3, $4, $5, $6, $7)`,
		t.account, project, version, k.Plan.MadeAt, k.ForecastID, plan, changes)
	if err := t.queueMornings(batch, `
		insert into plan_mornings (account, project, version, forecast, mornings) values ($1, $2, $3, $4, $5)
		on conflict (account, project) do update set version = excluded.version, forecast = excluded.forecast,
		mornings = excluded.mornings`,
		project, k); err != nil {
		return k, err
	}
	batch.Queue(`select thin_plans($1, $2)`, project, k.Plan.MadeAt)
	return k, wrap("keeping a plan", t.tx.SendBatch(ctx, batch).Close())
}

// KeepMornings implements projects.Tx.
func (t *AccountTx) KeepMornings(ctx context.Context, project string, k projects.KeptPlan) error {
	if _, err := t.LockProject(ctx, project); err != nil {
		return err
	}
	if k.Plan.Version == nil {
		return fault.New(fault.Invalid, "mornings belong to a plan that is kept")
	}
	batch := &pgx.Batch{}
	if err := t.queueMornings(batch, `
		update plan_mornings set forecast = $4, mornings = $5 where account = $1 and project = $2 and version = $3`,
		project, k); err != nil {
		return err
	}
	sent := t.tx.SendBatch(ctx, batch)
	tag, err := sent.Exec() // of the first
	if err = errors.Join(err, sent.Close()); err == nil && tag.RowsAffected() == 0 {
		return fault.New(fault.Stale, fmt.Sprintf("plan %d is not the current one", *k.Plan.Version))
	}
	return wrap("keeping mornings", err)
}

// queueMornings adds to a batch that the mornings of a plan with a version are
// kept, by a statement, and which forecast the project now needs kept.
func (t *AccountTx) queueMornings(batch *pgx.Batch, sql, project string, k projects.KeptPlan) error {
	mornings, err := pack(k.Mornings)
	if err != nil {
		return fault.Wrap(fault.Invalid, "the mornings can't be stored", err)
	}
	batch.Queue(sql, t.account, project, *k.Plan.Version, k.ForecastID, mornings)
	batch.Queue(`update due_projects set forecast = nullif($3, 0) where account = $1 and project = $2`, t.account,
		project, k.ForecastID)
	return nil
}

// CurrentPlan implements projects.Tx.
func (t *AccountTx) CurrentPlan(ctx context.Context, project string) (projects.KeptPlan, error) {
	return t.plan(ctx, project, `order by version desc limit 1`)
}

// PlanVersion implements web.Tx.
func (t *AccountTx) PlanVersion(ctx context.Context, project string, version int) (projects.KeptPlan, error) {
	return t.plan(ctx, project, `and version = $3::bigint`, version)
}

func (t *AccountTx) plan(ctx context.Context, project, which string, args ...any) (projects.KeptPlan, error) {
	var k projects.KeptPlan
	if _, err := parseID(project); err != nil {
		return k, err
	}
	var plan, changes, mornings []byte
	var confirmed *time.Time
	err := t.tx.QueryRow(ctx, `select plan, changes, m.mornings, coalesce(m.forecast, p.forecast),
			(select confirmed_at from cells c where c.forecast = m.forecast)
		from plans p left join plan_mornings m using (account, project, version) where account = $1 and project = $2 `+
		which, append([]any{t.account, project}, args...)...).Scan(&plan, &changes, &mornings, &k.ForecastID,
		&confirmed)
	k.Confirmed = instant(confirmed)
	if errors.Is(err, pgx.ErrNoRows) {
		return k, fault.New(fault.NotFound, "there is no such plan")
	}
	if err != nil {
		return k, wrap("reading a plan", err)
	}
	var kept keptPlan
	err = errors.Join(json.Unmarshal(plan, &kept), json.Unmarshal(changes, &k.Changes))
	k.Plan, k.ChangesData = kept.Plan, kept.Changes
	if len(k.ChangesData) == 0 {
		for _, text := range k.Changes { // of a row of before codes were kept
			k.ChangesData = append(k.ChangesData, message.Stored(text))
		}
	}
	if err == nil && mornings != nil { // those of a plan that was followed by another are not kept
		k.Mornings, err = unpack[[]job.Morning](mornings)
	}
	if err != nil {
		return k, fmt.Errorf("postgres: a plan of project %s: %w", project, err)
	}
	return k, nil
}

// Plans implements alerts.Tx; the newest comes first.
func (t *AccountTx) Plans(ctx context.Context, project string, page paging.Page) ([]pour.Plan, string, error) {
	c, err := readPage("plans", page)
	if err != nil {
		return nil, "", err
	}
	if _, err := t.Project(ctx, project); err != nil {
		return nil, "", err
	}
	rows, err := t.tx.Query(ctx, `select plan, version::bigint from plans
		where account = $1 and project = $2 and ($3 or version < $4) order by version desc limit $5`,
		t.account, project, c.first, c.seq, page.Limit+1)
	if err != nil {
		return nil, "", wrap("listing plans", err)
	}
	all, err := pgx.CollectRows(rows, func(r pgx.CollectableRow) (row[pour.Plan], error) {
		var out row[pour.Plan]
		var doc []byte
		if err := r.Scan(&doc, &out.seq); err != nil {
			return out, err
		}
		return out, json.Unmarshal(doc, &out.item)
	})
	if err != nil {
		return nil, "", wrap("listing plans", err)
	}
	items, next := cut(c, all, page.Limit)
	return items, next, nil
}
