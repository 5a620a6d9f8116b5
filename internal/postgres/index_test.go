package postgres_test

import (
	"context"
	"errors"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"dryslot/internal/alerts"
	"dryslot/internal/idempotency"
	"dryslot/internal/paging"
	"dryslot/internal/place"
	"dryslot/internal/postgres"
	"dryslot/internal/pour"
	"dryslot/internal/projects"
	"dryslot/internal/ready"
	"dryslot/internal/unit"
)

// asked collects the statements of a store, with their arguments.
type asked struct {
	mu  sync.Mutex
	all []statement
}

type statement struct {
	sql  string
	args []any
}

func (a *asked) add(sql string, args []any) {
	verb, _, _ := strings.Cut(strings.TrimSpace(sql), " ")
	if !slices.Contains([]string{"select", "insert", "update", "delete", "with"}, verb) {
		return // begin, commit and the like
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	a.all = append(a.all, statement{sql, args})
}

func (a *asked) take() []statement {
	a.mu.Lock()
	defer a.mu.Unlock()
	all := a.all
	a.all = nil
	return all
}

func (a *asked) TraceQueryStart(ctx context.Context, _ *pgx.Conn, d pgx.TraceQueryStartData) context.Context {
	a.add(d.SQL, d.Args)
	return ctx
}

func (a *asked) TraceBatchStart(ctx context.Context, _ *pgx.Conn, _ pgx.TraceBatchStartData) context.Context {
	return ctx
}

func (a *asked) TraceBatchQuery(_ context.Context, _ *pgx.Conn, d pgx.TraceBatchQueryData) {
	a.add(d.SQL, d.Args)
}
func (a *asked) TraceQueryEnd(context.Context, *pgx.Conn, pgx.TraceQueryEndData) {}
func (a *asked) TraceBatchEnd(context.Context, *pgx.Conn, pgx.TraceBatchEndData) {}

// crowd is a database with 20,000 projects of 20 accounts in 2,000 cells, as
// they stand after some days; the first account is the world's.
func crowd(t testing.TB, w *world) {
	// As a replica's: the rows fit together, and need not be checked one by one.
	fill(t, w, `
		set session_replication_role = replica;
		insert into accounts (id) select gen_random_uuid() from generate_series(1, 1999);
		create table whose as select account, row_number() over () as n, gen_random_uuid() as project,
			'c' || (row_number() over ()) % 2000 as cell
			from (select id as account from accounts order by created_at limit 20) a, generate_series(1, 1000);
		insert into cells (cell, latitude, longitude, next_fetch_at, last_tried_at, forecast)
			select 'c' || n, 50, 5, $1::timestamptz + (n - 20) * interval '10 seconds',
				$1::timestamptz - interval '1 hour', n from generate_series(0, 1999) n;
		insert into projects (account, id, calendar_key, created_at, spec)
			select account, project, 'x', $1, jsonb_build_object('name', 'Yard ' || n, 'time_zone', 'Europe/Berlin',
				'pads', '[]'::jsonb) from whose;
		insert into calendar_keys (digest, account, project) select sha256(n::text::bytea), account, project from whose;
		insert into due_projects (account, project, cell, forecast, next_alert_at, next_plan_at)
			select account, project, cell, n % 2000,
				case when n % 3 > 0 then $1::timestamptz + (n - 100) * interval '1 second' end,
				$1::timestamptz + interval '12 hours' from whose;
		update due_projects set live_until = $1::timestamptz + interval '1 hour' where project in (select project
			from whose where n % 200 = 0);
		insert into plans (account, project, version, made_at, forecast, plan, changes)
			select account, project, v, $1, n % 2000, jsonb_build_object('version', v), '[]'
				from whose, generate_series(1, case when n % 7 = 0 then 3 else 1 end) v;
		insert into plan_mornings (account, project, version, forecast, mornings)
			select account, project, case when n % 7 = 0 then 3 else 1 end, n % 2000,
				'\x1f8b0800000000000403cb2bcdc9e102006e9191d405000000' from whose;
		insert into log_entries (account, id, project, pad, at, recorded_at, entry)
			select account, gen_random_uuid(), project, 'P1', $1::timestamptz - e * interval '1 hour', $1,
				jsonb_build_object('kind', 'note', 'pad', 'P1')
				from whose, generate_series(1, case when n % 7 = 0 then 3 else 1 end) e;
		insert into recipients (account, id, project, kind, address, secret, created_at)
			select account, gen_random_uuid(), project, 'email', 'x@example.org', '', $1 from whose;
		insert into deliveries (account, key, project, recipient, kind, date, message_id, subject, body, payload,
			due_at, state)
			select account, project || '/' || e, project, 'r', 'evening', '2026-04-14', 'm', 's', 'b', '', $1, 'sent'
				from whose, generate_series(1, case when n % 7 = 0 then 3 else 1 end) e;
		insert into due_deliveries (account, key, next_try_at)
			select account, project || '/1', $1::timestamptz + (n - 100) * interval '1 second' from whose;
		insert into answers (account, route, key, body_hash, status, header, body, kept_at)
			select account, 'POST /a', n::text, '', 201, '{}', '', $1::timestamptz - n * interval '5 seconds'
				from whose;
		insert into ready_answers (account, project, name, language, basis, tag, made_at, until, plain, packed)
			select account, project, 'plan', l, '', '', $1, $1::timestamptz + interval '1 day', '', ''
				from whose, unnest(array['', 'es-419']) l;
		insert into due_accounts (account, forget_at)
			select id, $1::timestamptz + interval '1 minute' * (row_number() over () - 20) from accounts;
		insert into sessions (digest, account, expires_at)
			select sha256(n::text::bytea), account, now() + (n - 100) * interval '1 minute' from whose;
		insert into sign_in_links (digest, account, expires_at)
			select sha256(n::text::bytea), account, now() + (n - 100) * interval '1 minute' from whose;
		insert into archive_links (digest, account, expires_at)
			select sha256(n::text::bytea), account, now() + (n - 100) * interval '1 minute' from whose;
		insert into passkey_challenges (digest, expires_at)
			select sha256(('c' || n)::bytea), now() + n * interval '1 second' from generate_series(1, 10000) n;
		insert into mail_links (digest, account, expires_at)
			select sha256(n::text::bytea), account, now() + (n - 100) * interval '1 minute' from whose;
		insert into mail_orders (id, address, language, next, expires_at)
			select gen_random_uuid(), 'a@example.org', 'en', '/', now() + (n - 100) * interval '1 minute' from whose;
		insert into members (account, project, member, role, name)
			select account, project, gen_random_uuid(), 'crew', 'Ana' from whose;
		insert into sign_in_failures (digest, failures, last_at)
			select sha256(n::text::bytea), 1, now() - n * interval '9 seconds' from whose;
		insert into forecasts (id, cell, feed, fetched_at, attribution, document)
			select n, 'c' || n % 2000, 'sky', $1::timestamptz - n * interval '20 seconds', '', ''
				from generate_series(0, 59999) n;
		insert into stated_chances (forecast, cell, stated_of, wet_over_mm, wet_hours, members, stated_at, first_hour,
			chances)
			select n, 'c' || n % 2000, 'sky', 0.1, 1, false, $1::timestamptz - n * interval '320 seconds', $1, ''
				from generate_series(0, 19999) n;
		insert into short_ranges (cell, tried_at, next_fetch_at)
			select 'c' || n, $1, $1::timestamptz + (n - 20) * interval '10 seconds' from generate_series(0, 1999) n;
		insert into seen_rain (cell, hour, project, observer, mm)
			select 'c' || n % 2000, $1::timestamptz - n * interval '320 seconds', sha256((n % 4000)::text::bytea), '', 1
				from generate_series(0, 19999) n;
		insert into alert_events (account, project, date, kind, number, holds, held_until)
			select account, project, '2026-04-14', 'rain', 1, true, $1 from whose;
		insert into logged_rain (cell, hour, mm) select 'c' || n % 2000, $1::timestamptz - n * interval '320 seconds', 1
			from generate_series(0, 19999) n;
		analyze`, noon)
}

// What is asked of the database again and again is found by an index in a
// database with 20,000 projects: nothing reads a large table from end to end.
func TestHotQueriesDoNotScan(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	crowd(t, w)
	var seen asked
	store, err := postgres.OpenTraced(t.Context(), w.db.ServiceURL, &seen)
	must(t, err)
	t.Cleanup(store.Close)
	project := query[string](t, w, `select project::text from whose where account = $1 and n % 7 = 0 limit 1`,
		w.account)
	key, one := project+"/1", query[string](t, w,
		`select key from answers where account = $1 order by kept_at desc limit 1`, w.account)
	page := paging.Page{Limit: 50}
	inAccount := map[string]func(context.Context, *postgres.AccountTx) error{
		"list projects": func(ctx context.Context, tx *postgres.AccountTx) error {
			_, next, err := tx.Projects(ctx, page)
			return errors.Join(err, secondPage(next, func(p paging.Page) error {
				_, _, err := tx.Projects(ctx, p)
				return err
			}))
		},
		"list the log": func(ctx context.Context, tx *postgres.AccountTx) error {
			_, next, err := tx.Log(ctx, project, paging.Page{Limit: 1})
			return errors.Join(err, secondPage(next, func(p paging.Page) error {
				_, _, err := tx.Log(ctx, project, p)
				return err
			}))
		},
		"list alerts": func(ctx context.Context, tx *postgres.AccountTx) error {
			_, next, err := tx.Alerts(ctx, project, paging.Page{Limit: 1})
			return errors.Join(err, secondPage(next, func(p paging.Page) error {
				_, _, err := tx.Alerts(ctx, project, p)
				return err
			}))
		},
		"list plans": func(ctx context.Context, tx *postgres.AccountTx) error {
			_, next, err := tx.Plans(ctx, project, paging.Page{Limit: 1})
			return errors.Join(err, secondPage(next, func(p paging.Page) error {
				_, _, err := tx.Plans(ctx, project, p)
				return err
			}))
		},
		"read for a plan": func(ctx context.Context, tx *postgres.AccountTx) error {
			_, err1 := tx.LockProject(ctx, project)
			_, err2 := tx.WholeLog(ctx, project)
			_, err3 := tx.CurrentPlan(ctx, project)
			_, err4 := tx.Recipients(ctx, project)
			_, err5 := tx.PlanVersion(ctx, project, 2)
			return errors.Join(err1, err2, err3, err4, err5)
		},
		"logs of a list": func(ctx context.Context, tx *postgres.AccountTx) error {
			all, _, err := tx.Projects(ctx, page)
			_, logsErr := tx.LogsForPlans(ctx, names(all, func(p pour.Project) string { return p.ID }))
			return errors.Join(err, logsErr)
		},
		"keep a plan": func(ctx context.Context, tx *postgres.AccountTx) error {
			k, err := tx.AddPlan(ctx, project, aPlan("again"))
			return errors.Join(err, tx.KeepMornings(ctx, project, k),
				tx.SetDue(ctx, project, projects.Due{NextPlanAt: noon}))
		},
		"alerts of the day": func(ctx context.Context, tx *postgres.AccountTx) error {
			d := unit.Date{Year: 2026, Month: 4, Day: 14}
			_, err1 := tx.DayAlerts(ctx, project, d)
			states, err2 := tx.CauseStates(ctx, project, d)
			_, err3 := tx.ShortRange(ctx, place.CellOf(50, 5))
			return errors.Join(err1, err2, err3, tx.KeepCauseStates(ctx, project, d, states))
		},
		"log": func(ctx context.Context, tx *postgres.AccountTx) error {
			_, err := tx.AppendLog(ctx, project, pour.LogEntry{Kind: pour.EntryNote, At: noon, RecordedAt: noon})
			return err
		},
		"deliver": func(ctx context.Context, tx *postgres.AccountTx) error {
			_, err := tx.LeaseAlert(ctx, key, noon, noon)
			return errors.Join(err, tx.SettleAlert(ctx, key, alerts.Outcome{State: alerts.DeliveryRetrying, At: noon,
				NextTryAt: noon}))
		},
		"answers": func(ctx context.Context, tx *postgres.AccountTx) error {
			_, err := tx.Remembered(ctx, "POST /a", one, noon)
			return errors.Join(err, tx.Remember(ctx, "POST /a", "new", idempotency.Answer{}, noon.Add(20*time.Hour)),
				tx.ForgetAnswers(ctx, noon.Add(20*time.Hour), 100))
		},
	}
	inSystem := map[string]func(context.Context, *postgres.SystemTx) error{
		"due cells": func(ctx context.Context, tx *postgres.SystemTx) error {
			_, err := tx.DueCells(ctx, noon, noon, 500)
			return err
		},
		"due short ranges": func(ctx context.Context, tx *postgres.SystemTx) error {
			_, err1 := tx.DueShort(ctx, noon, noon, 500)
			_, err2 := tx.CellsLive(ctx, noon)
			_, err3 := tx.LiveProjects(ctx, place.CellOf(50, 5), noon)
			return errors.Join(err1, err2, err3)
		},
		"due projects": func(ctx context.Context, tx *postgres.SystemTx) error {
			_, err := tx.DueProjects(ctx, noon, noon, 500)
			return err
		},
		"due deliveries": func(ctx context.Context, tx *postgres.SystemTx) error {
			_, err := tx.DueDeliveries(ctx, noon, 500)
			return err
		},
		"due accounts": func(ctx context.Context, tx *postgres.SystemTx) error {
			_, err := tx.DueAccounts(ctx, noon, 100)
			return err
		},
		"a cell": func(ctx context.Context, tx *postgres.SystemTx) error {
			_, err := tx.ProjectsOfCell(ctx, place.CellOf(50, 5))
			_, stated := tx.Stated(ctx, place.CellOf(50, 5), "sky", noon)
			return errors.Join(err, stated)
		},
		"prune": func(ctx context.Context, tx *postgres.SystemTx) error {
			_, err := tx.Prune(ctx, noon, 1000)
			return err
		},
	}
	conn := service(t, w)
	look := func(what, account string, err error) {
		if err != nil {
			t.Errorf("%s: %v", what, err)
		}
		all := seen.take()
		if len(all) < 2 { // the first sets the account
			t.Errorf("%s asks nothing", what)
		}
		for _, s := range all[1:] {
			if plan := explain(t, conn, account, s); scans(plan) {
				t.Errorf("%s: %s\n%s", what, s.sql, plan)
			}
		}
	}
	seen.take()
	for what, ask := range inAccount {
		look(what, w.account, undone(store.InAccount(t.Context(), w.account,
			func(ctx context.Context, tx *postgres.AccountTx) error { return errors.Join(ask(ctx, tx), errUndo) })))
	}
	seen.take()
	_, err = store.ReadyAnswer(t.Context(), strings.Repeat("a", 40),
		ready.Query{Key: ready.Key{Project: project, Name: "plan"}, Now: noon})
	look("a ready answer", w.account, err)
	err = store.KeepReady(t.Context(), w.account, ready.Key{Project: project, Name: "plan"}, "1",
		ready.Answer{Plain: []byte{0}, Packed: []byte{0}, From: noon, Until: noon})
	look("keep an answer ready", w.account, err)
	for what, ask := range inSystem {
		look(what, "", undone(store.InSystem(t.Context(), func(ctx context.Context, tx *postgres.SystemTx) error {
			return errors.Join(ask(ctx, tx), errUndo)
		})))
	}
}

func secondPage(next string, ask func(paging.Page) error) error {
	if next == "" {
		return errors.New("there is no second page")
	}
	return ask(paging.Page{Limit: 50, Cursor: next})
}

// undone returns what went wrong beside being undone.
func undone(err error) error {
	if joined, ok := err.(interface{ Unwrap() []error }); ok && len(joined.Unwrap()) == 1 && errors.Is(err, errUndo) {
		return nil
	}
	return err
}

// explain returns how the database would answer a statement of an account.
func explain(t *testing.T, conn *pgx.Conn, account string, s statement) string {
	t.Helper()
	_, err := conn.Exec(t.Context(), `select set_config('dryslot.account', $1, false)`, account)
	must(t, err)
	rows, err := conn.Query(t.Context(), "explain "+s.sql, s.args...)
	must(t, err)
	lines, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		t.Fatalf("%s: %v", s.sql, err)
	}
	return strings.Join(lines, "\n")
}

// scans reports whether a plan reads a table from end to end.
func scans(plan string) bool {
	for line := range strings.Lines(plan) {
		if strings.Contains(line, "Seq Scan on") {
			return true
		}
	}
	return false
}
