package postgres

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"dryslot/internal/fault"
	"dryslot/internal/message"
	"dryslot/internal/paging"
	"dryslot/internal/pour"
	"dryslot/internal/projects"
)

// AppendLog implements projects.Tx.
func (t *AccountTx) AppendLog(ctx context.Context, project string, e pour.LogEntry) (pour.LogEntry, error) {
	p, err := t.LockProject(ctx, project) // so that the pad can't go meanwhile
	if err != nil {
		return e, err
	}
	e.Normalize()
	for _, name := range e.Pads {
		if err := hasPad(p, name); err != nil {
			return e, err
		}
	}
	if err := t.hasRoom(ctx, project, e.Kind); err != nil {
		return e, err
	}
	if e.ID == "" {
		if e.ID, err = newID(); err != nil {
			return e, err
		}
	}
	// as PostgreSQL keeps them
	e.At, e.RecordedAt = e.At.Truncate(time.Microsecond), e.RecordedAt.Truncate(time.Microsecond)
	doc, err := jsonb(e)
	if err != nil {
		return e, fault.Wrap(fault.Invalid, "the log entry can't be stored", err)
	}
	batch := &pgx.Batch{}
	batch.Queue(
		`insert into log_entries (account, id, project, pad, at, recorded_at, entry)
			values ($1, $2, $3, $4, $5, $6, $7)`,
		t.account, e.ID, project, e.Pad, e.At, e.RecordedAt, doc)
	batch.Queue(touch, t.account, project)
	return e, wrap("keeping a log entry", t.tx.SendBatch(ctx, batch).Close())
}

// hasRoom refuses an entry of a project whose log is full. The project is
// locked, so that no other comes between.
func (t *AccountTx) hasRoom(ctx context.Context, project string, kind pour.EntryKind) error {
	var n int
	err := t.tx.QueryRow(ctx, `select count(*) from log_entries where account = $1 and project = $2`, t.account,
		project).Scan(&n)
	if err != nil || n < projects.MostEntries {
		return wrap("counting log entries", err)
	}
	var bad fault.List
	bad.Break("kind", string(kind), fault.RuleOf(projects.LogFullRule, message.Count("max", projects.MostEntries)))
	return bad.Broken(projects.LogFull)
}

// Entry implements projects.Tx.
func (t *AccountTx) Entry(ctx context.Context, project, id string) (pour.LogEntry, error) {
	if _, err := parseID(id); err != nil {
		return pour.LogEntry{}, err
	}
	var doc []byte
	err := t.tx.QueryRow(ctx, `select entry from log_entries where account = $1 and project = $2 and id = $3`,
		t.account, project, id).Scan(&doc)
	if err != nil {
		return pour.LogEntry{}, wrap("looking a log entry up", err)
	}
	return readEntry(doc)
}

// readEntry reads a stored entry. What it lacks, because it was stored before
// entries had it, is as if it had been left out.
func readEntry(doc []byte) (pour.LogEntry, error) {
	var e pour.LogEntry
	if err := json.Unmarshal(doc, &e); err != nil {
		return e, fmt.Errorf("postgres: a log entry: %w", err)
	}
	e.Normalize()
	return e, nil
}

func hasPad(p pour.Project, name string) error {
	if name == "" {
		return nil
	}
	for _, pad := range p.Pads {
		if pad.Name == name {
			return nil
		}
	}
	var bad fault.List
	bad.Break("pad", name, fault.RuleOf(pour.PadUnknown))
	return bad.Broken(projects.NoSuchEntryPad)
}

func scanEntry(r pgx.CollectableRow) (row[pour.LogEntry], error) {
	var out row[pour.LogEntry]
	var doc []byte
	if err := r.Scan(&doc, &out.at, &out.seq); err != nil {
		return out, err
	}
	var err error
	out.item, err = readEntry(doc)
	return out, err
}

// Log implements web.Tx, in the order of WholeLog.
func (t *AccountTx) Log(ctx context.Context, project string, page paging.Page) ([]pour.LogEntry, string, error) {
	c, err := readPage("log", page)
	if err != nil {
		return nil, "", err
	}
	if _, err := t.Project(ctx, project); err != nil {
		return nil, "", err
	}
	rows, err := t.tx.Query(ctx, `select entry, at, seq from log_entries
		where account = $1 and project = $2 and ($3 or (at, seq) > ($4, $5)) order by at, seq limit $6`,
		t.account, project, c.first, c.at(), c.seq, page.Limit+1)
	if err != nil {
		return nil, "", wrap("listing the log", err)
	}
	all, err := pgx.CollectRows(rows, scanEntry)
	if err != nil {
		return nil, "", wrap("listing the log", err)
	}
	items, next := cut(c, all, page.Limit)
	return items, next, nil
}

// WholeLog implements web.Tx.
func (t *AccountTx) WholeLog(ctx context.Context, project string) ([]pour.LogEntry, error) {
	id, err := parseID(project)
	if err != nil {
		return nil, err
	}
	logs, err := t.logs(ctx, `entry`, `project = $2`, id)
	return append([]pour.LogEntry{}, logs[id.String()]...), err
}

// LogsForPlans implements projects.Tx.
func (t *AccountTx) LogsForPlans(ctx context.Context, projects []string) (map[string][]pour.LogEntry, error) {
	return t.logs(ctx, `entry - 'text'`, `project = any($2::uuid[]) and entry ->> 'kind' <> 'note'`, projects)
}

// logs reads entries, by project, in the order of what happened.
func (t *AccountTx) logs(ctx context.Context, what, which string, arg any) (map[string][]pour.LogEntry, error) {
	rows, err := t.tx.Query(ctx,
		`select project::text, `+what+` from log_entries where account = $1 and `+which+` order by project, at, seq`,
		t.account, arg)
	if err != nil {
		return nil, wrap("reading logs", err)
	}
	logs := map[string][]pour.LogEntry{}
	var project string
	var doc []byte
	_, err = pgx.ForEachRow(rows, []any{&project, &doc}, func() error {
		e, err := readEntry(doc)
		logs[project] = append(logs[project], e)
		return err
	})
	return logs, wrap("reading logs", err)
}
