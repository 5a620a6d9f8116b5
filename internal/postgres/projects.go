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
	"dryslot/internal/pour"
	"dryslot/internal/projects"
)

// AccountTx is a transaction that sees one account's rows.
type AccountTx struct {
	weather
	account string
}

const projectColumns = `id::text, account::text, revision, calendar_key, created_at, spec, seq`

func scanProject(r pgx.CollectableRow) (row[pour.Project], error) {
	var p pour.Project
	var spec []byte
	var seq int64
	if err := r.Scan(&p.ID, &p.Account, &p.Revision, &p.CalendarKey, &p.CreatedAt, &spec, &seq); err != nil {
		return row[pour.Project]{}, err
	}
	p.CreatedAt = p.CreatedAt.UTC()
	if err := json.Unmarshal(spec, &p.Spec); err != nil {
		return row[pour.Project]{}, fmt.Errorf("postgres: project %s: %w", p.ID, err)
	}
	p.Normalize() // kept before a field was there: its default
	return row[pour.Project]{item: p, seq: seq}, nil
}

// CountProjects implements projects.Tx.
func (t *AccountTx) CountProjects(ctx context.Context) (n int, err error) {
	// Two that count at the same time would both find room for one.
	_, err = t.tx.Exec(ctx, `select pg_advisory_xact_lock(hashtextextended('dryslot projects ' || $1, 0))`, t.account)
	if err != nil {
		return 0, wrap("waiting to count projects", err)
	}
	err = t.tx.QueryRow(ctx, `select count(*) from projects where account = $1`, t.account).Scan(&n)
	return n, wrap("counting projects", err)
}

// CreateProject implements projects.Tx.
func (t *AccountTx) CreateProject(ctx context.Context, p pour.Project, at time.Time) (pour.Project, error) {
	id, err := newID()
	if err != nil {
		return p, err
	}
	p.ID, p.Account, p.Revision, p.CalendarKey = id, t.account, 1, newSecret()
	p.CreatedAt = at.UTC().Truncate(time.Microsecond) // as PostgreSQL keeps it
	spec, err := jsonb(p.Spec)
	if err != nil {
		return p, fault.Wrap(fault.Invalid, "the project can't be stored", err)
	}
	batch := &pgx.Batch{}
	batch.Queue(
		`insert into projects (account, id, revision, calendar_key, created_at, spec) values ($1, $2, $3, $4, $5, $6)`,
		t.account, id, p.Revision, p.CalendarKey, p.CreatedAt, spec)
	batch.Queue(`insert into calendar_keys (digest, account, project) values ($1, $2, $3)`, digest(p.CalendarKey),
		t.account, id)
	batch.Queue(`insert into due_projects (account, project) values ($1, $2)`, t.account, id)
	return p, wrap("keeping a project", t.tx.SendBatch(ctx, batch).Close())
}

// Project implements projects.Tx.
func (t *AccountTx) Project(ctx context.Context, id string) (pour.Project, error) {
	return t.project(ctx, id, "")
}

// LockProject implements projects.Tx. The lock lets rows be added that refer to the
// project: who asks for plans of a cell's projects would else wait for one whose
// holder waits for the asking of another (SQLSTATE 40P01).
func (t *AccountTx) LockProject(ctx context.Context, id string) (pour.Project, error) {
	return t.project(ctx, id, " for no key update")
}

func (t *AccountTx) project(ctx context.Context, id, lock string) (pour.Project, error) {
	if _, err := parseID(id); err != nil {
		return pour.Project{}, err
	}
	rows, err := t.tx.Query(ctx, `select `+projectColumns+` from projects where account = $1 and id = $2`+lock,
		t.account, id)
	if err != nil {
		return pour.Project{}, wrap("reading a project", err)
	}
	r, err := pgx.CollectExactlyOneRow(rows, scanProject)
	if errors.Is(err, pgx.ErrNoRows) {
		return pour.Project{}, noProject()
	}
	return r.item, wrap("reading a project", err)
}

func noProject() error { return fault.Of(fault.NotFound, projects.ProjectUnknown) }

// Projects implements web.Tx; they come in the order of their making.
func (t *AccountTx) Projects(ctx context.Context, page paging.Page) ([]pour.Project, string, error) {
	c, err := readPage("projects", page)
	if err != nil {
		return nil, "", err
	}
	rows, err := t.tx.Query(ctx,
		`select `+projectColumns+` from projects where account = $1 and seq > $2 order by seq limit $3`, t.account,
		c.seq, page.Limit+1)
	if err != nil {
		return nil, "", wrap("listing projects", err)
	}
	all, err := pgx.CollectRows(rows, scanProject)
	if err != nil {
		return nil, "", wrap("listing projects", err)
	}
	items, next := cut(c, all, page.Limit)
	return items, next, nil
}

// UpdateProject implements projects.Tx.
func (t *AccountTx) UpdateProject(ctx context.Context, p pour.Project, revision int64) (pour.Project, error) {
	was, err := t.LockProject(ctx, p.ID)
	if err != nil {
		return p, err
	}
	if was.Revision != revision {
		return p, fault.New(fault.Stale, fmt.Sprintf("the project is at revision %d, not %d", was.Revision, revision))
	}
	if err := t.keepsLoggedPads(ctx, p); err != nil {
		return p, err
	}
	p.Account, p.CalendarKey, p.CreatedAt, p.Revision = was.Account, was.CalendarKey, was.CreatedAt, was.Revision+1
	spec, err := jsonb(p.Spec)
	if err != nil {
		return p, fault.Wrap(fault.Invalid, "the project can't be stored", err)
	}
	batch := &pgx.Batch{}
	batch.Queue(`update projects set revision = $3, spec = $4 where account = $1 and id = $2`, t.account, p.ID,
		p.Revision, spec)
	batch.Queue(touch, t.account, p.ID)
	return p, wrap("changing a project", t.tx.SendBatch(ctx, batch).Close())
}

// keepsLoggedPads refuses a project from which a pad with log entries is gone:
// the log would speak of nothing.
func (t *AccountTx) keepsLoggedPads(ctx context.Context, p pour.Project) error {
	logged, err := texts(ctx, t.tx, `
		select pad from log_entries where account = $1 and project = $2 and pad <> ''
		union
		select jsonb_array_elements_text(case jsonb_typeof(entry -> 'pads') when 'array' then entry -> 'pads'
			else '[]' end)
		from log_entries where account = $1 and project = $2
		union
		select e ->> 'pad' from log_entries, jsonb_array_elements(
			case jsonb_typeof(entry -> 'effects') when 'array' then entry -> 'effects' else '[]' end) e
		where account = $1 and project = $2 and e ->> 'pad' <> ''
		order by 1`, t.account, p.ID)
	if err != nil {
		return wrap("reading the log", err)
	}
	have := make(map[string]bool, len(p.Pads))
	for _, pad := range p.Pads {
		have[pad.Name] = true
	}
	var gone fault.List
	for _, name := range logged {
		if !have[name] {
			gone.Break("pads", name, fault.RuleOf(projects.PadStays))
		}
	}
	if len(gone) == 0 {
		return nil
	}
	return &fault.Error{Kind: fault.Conflict, Message: message.New(projects.PadHasEntries), Fields: gone}
}

// DeleteProject implements projects.Tx. Everything of the project goes with it.
func (t *AccountTx) DeleteProject(ctx context.Context, id string) error {
	if _, err := parseID(id); err != nil {
		return err
	}
	if _, err := t.tx.Exec(ctx, `delete from ready_answers where account = $1 and project = $2`, t.account,
		id); err != nil {
		return wrap("deleting a project's answers", err)
	}
	if _, err := t.tx.Exec(ctx, `delete from seen_rain where project = $1
		and exists (select from projects where account = $2 and id = $3)`, digest(id), t.account, id); err != nil {
		return wrap("deleting a project's rain", err)
	}
	tag, err := t.tx.Exec(ctx, `delete from projects where account = $1 and id = $2`, t.account, id)
	if err == nil && tag.RowsAffected() == 0 {
		return noProject()
	}
	return wrap("deleting a project", err)
}
