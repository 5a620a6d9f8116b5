package postgres_test

import (
	"context"
	"errors"
	"reflect"
	"strings"
	"testing"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/idempotency"
	"dryslot/internal/postgres"
	"dryslot/internal/postgres/postgrestest"
	"dryslot/internal/pour"
	"dryslot/internal/projects"
)

// However often a project is planned, one set of mornings is kept of it, and
// every plan with its words.
func TestMorningsAreKeptOfTheCurrentPlanAlone(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := w.newProject(t)
	const many = 5
	for i := range many {
		w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error {
			k := aPlan(strings.Repeat("again ", i))
			k.ForecastID = int64(10 + i)
			_, err := tx.AddPlan(ctx, p.ID, k)
			return err
		})
	}
	if n := query[int](t, w, "select count(*) from plan_mornings"); n != 1 {
		t.Errorf("%d sets of mornings are kept, want 1", n)
	}
	w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error {
		for v := 1; v <= many; v++ {
			k, err := tx.PlanVersion(ctx, p.ID, v)
			if err != nil {
				return err
			}
			want := aPlan(strings.Repeat("again ", v-1))
			want.Plan.Version, want.ForecastID = &v, int64(9+v)
			if v < many {
				want.Mornings = nil
			}
			if !reflect.DeepEqual(k, want) {
				t.Errorf("plan %d came back as\n%+v, want\n%+v", v, k, want)
			}
		}
		return nil
	})
}

// Mornings scored again take the place of those before, of the current plan
// only, and it is their forecast that is then needed.
func TestMorningsScoredAgain(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := w.newProject(t)
	var first, current projects.KeptPlan
	w.in(t, func(ctx context.Context, tx *postgres.AccountTx) (err error) {
		if first, err = tx.AddPlan(ctx, p.ID, aPlan("first")); err != nil {
			return err
		}
		current, err = tx.AddPlan(ctx, p.ID, aPlan("second"))
		return err
	})
	score := 31
	current.ForecastID, current.Mornings[0].Score = 77, &score
	w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error {
		wantKind(t, "mornings of a plan that was followed by another", tx.KeepMornings(ctx, p.ID, first), fault.Stale)
		wantKind(t, "mornings of no plan", tx.KeepMornings(ctx, p.ID, aPlan("x")), fault.Invalid)
		if err := tx.KeepMornings(ctx, p.ID, current); err != nil {
			return err
		}
		got, err := tx.CurrentPlan(ctx, p.ID)
		if !reflect.DeepEqual(got, current) {
			t.Errorf("the current plan came back as\n%+v, want\n%+v", got, current)
		}
		return err
	})
	if n := query[int64](t, w, "select forecast from due_projects"); n != 77 {
		t.Errorf("forecast %d is said to be needed, want 77", n)
	}
	if n := query[int](t, w, "select count(*) from plans"); n != 2 {
		t.Errorf("%d plans, want 2", n)
	}
}

// A database of before is brought over with every plan, the current plans'
// mornings, and what is to be forgotten.
func TestMorningsAreMovedOutOfThePlans(t *testing.T) {
	t.Parallel()
	db := postgrestest.Empty(t)
	must(t, postgres.MigrateTo(t.Context(), db.OwnerURL, 7))
	const account, a, b = "01890000-0000-7000-8000-0000000000aa", "01890000-0000-7000-8000-00000000000a",
		"01890000-0000-7000-8000-00000000000b"
	adminExec(t, db, `insert into accounts (id) values ('`+account+`');
		insert into projects (account, id, calendar_key, created_at, spec)
		select '`+account+`', id::uuid, 'x', now(), '{}' from unnest(array['`+a+`', '`+b+`']) id;
		insert into due_projects (account, project) select account, id from projects;
		insert into plans (account, project, version, made_at, forecast, plan, changes, mornings)
		select account, id, n, now(), 100 + n, jsonb_build_object('version', n, 'because', id),
			case when n = 1 then 'null' else '["moved"]' end::jsonb, '\x00'
		from projects, generate_series(1, 3) n;
		update plans set mornings = '\x1f8b0800000000000403cb2bcdc9e102006e9191d405000000' where version = 3;
		insert into answers (account, route, key, body_hash, status, header, body, kept_at) values ('`+account+
		`', 'r', 'k', '', 200, '{}', '', '2026-04-14T12:00Z')`)
	must(t, postgres.Migrate(t.Context(), db.OwnerURL, db.ServiceRole))
	w := &world{Store: postgrestest.Open(t, db), db: db, account: account}
	if got := query[string](t, w,
		`select string_agg(version || ' of ' || right(project::text, 1) || ' from ' || forecast, ', ' order by project)
			from plan_mornings`); got != "3 of a from 103, 3 of b from 103" {
		t.Errorf("mornings are kept of %s", got)
	}
	w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error {
		for _, project := range []string{a, b} {
			current, err := tx.CurrentPlan(ctx, project)
			if err != nil {
				return err
			}
			first, err := tx.PlanVersion(ctx, project, 1)
			if *current.Plan.Version != 3 || current.ForecastID != 103 || len(current.Changes) != 1 ||
				*first.Plan.Version != 1 || first.Plan.Because != project || len(first.Changes) != 0 {
				t.Errorf("current %+v, first %+v", current, first)
			}
			next, addErr := tx.AddPlan(ctx, project, aPlan("after"))
			if err = errors.Join(err, addErr); err != nil {
				return err
			}
			if *next.Plan.Version != 4 {
				t.Errorf("the next plan is %d", *next.Plan.Version)
			}
		}
		return nil
	})
	if got := query[time.Time](t, w, `select forget_at from due_accounts`); !got.Equal(noon.Add(24 * time.Hour)) {
		t.Errorf("answers are to be forgotten at %s", got)
	}
	// And back: a service of before finds the current plan with its mornings.
	must(t, postgres.MigrateTo(t.Context(), db.OwnerURL, 7))
	if n := query[int](t, w, `select count(*) from plans where length(mornings) > 30`); n != 2 {
		t.Errorf("%d plans have mornings again, want the two current ones", n)
	}
	must(t, postgres.MigrateTo(t.Context(), db.OwnerURL, 8))
}

// What is old goes in parts, however much there is of it, and the rest stays.
func TestPruningInParts(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := w.newProject(t)
	w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error {
		return tx.WatchCell(ctx, quayCell, p.ID, noon)
	})
	old, young := noon.Add(-50*24*time.Hour), noon.Add(time.Hour)
	const gone, stay = 23, 4
	for at, n := range map[time.Time]int{old: gone, young: stay} {
		fill(t, w, `
			insert into forecasts (cell, feed, fetched_at, attribution, document)
				select 'x', 'sky', $1::timestamptz + n * interval '1 second', '', '' from generate_series(1, $2) n;
			insert into stated_chances (forecast, cell, stated_of, wet_over_mm, wet_hours, members, stated_at,
				first_hour, chances)
			select id, cell, 'sky', 0.1, 1, false, fetched_at, fetched_at, '' from forecasts
				where fetched_at between $1::timestamptz and $1::timestamptz + interval '1 hour';
			insert into logged_rain (cell, hour, mm) select 'x', $1::timestamptz + n * interval '1 second', 1
				from generate_series(1, $2) n;
			insert into seen_rain (cell, hour, project, observer, mm)
				select 'x', $1::timestamptz + n * interval '1 second', 'p', 'a', 1 from generate_series(1, $2) n;
			insert into cells (cell, latitude, longitude, next_fetch_at) select n || ' ' || $1::timestamptz, 1, 1, $1
				from generate_series(1, $2) n;
			insert into sessions (digest, account, expires_at)
				select sha256((n || ' ' || $1::timestamptz)::bytea), (select id from accounts),
					now() + ($1 - timestamptz '2026-04-14T12:00Z')
			from generate_series(1, $2) n`, at, n)
	}
	const limit = 5
	parts := 0
	for more := true; more; parts++ {
		if parts > gone {
			t.Fatal("pruning does not come to an end")
		}
		w.system(t, func(ctx context.Context, tx *postgres.SystemTx) (err error) {
			more, err = tx.Prune(ctx, noon, limit)
			return err
		})
	}
	if want := gone/limit + 1; parts != want {
		t.Errorf("%d parts, want %d", parts, want)
	}
	for table, want := range map[string]int{"forecasts": stay, "stated_chances": stay, "logged_rain": stay,
		"seen_rain": stay, "cells": stay + 1, "sessions": stay} {
		if n := query[int](t, w, "select count(*) from "+table); n != want {
			t.Errorf("%d %s are left, want %d", n, table, want)
		}
	}
}

// A cell that is being planned from again at this moment stays.
func TestACellThatIsWatchedAgainIsNotPruned(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	second := postgrestest.Open(t, w.db)
	p := w.newProject(t)
	w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error {
		return tx.WatchCell(ctx, quayCell, p.ID, noon)
	})
	w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error { return tx.DeleteProject(ctx, p.ID) })
	p = w.newProject(t)
	prune := func(from *postgres.Store) {
		must(t, from.InSystem(t.Context(), func(ctx context.Context, tx *postgres.SystemTx) error {
			_, err := tx.Prune(ctx, noon.Add(60*24*time.Hour), 10)
			return err
		}))
	}
	w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error {
		err := tx.WatchCell(ctx, quayCell, p.ID, noon)
		prune(second) // before this commits
		return err
	})
	w.cell(t, quayCell)
	prune(w.Store)
	w.cell(t, quayCell)
}

// Answers that nobody asks for again are forgotten, in parts.
func TestAnswersAreForgottenOfAccountsThatRest(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	other := w.newAccount(t, "b")
	keep := func(account, key string, at time.Time) {
		must(t, w.InAccount(t.Context(), account, func(ctx context.Context, tx *postgres.AccountTx) error {
			return tx.Remember(ctx, "POST /a", key, idempotency.Answer{Status: 201}, at)
		}))
	}
	due := func(now time.Time) (accounts []string) {
		w.system(t, func(ctx context.Context, tx *postgres.SystemTx) (err error) {
			accounts, err = tx.DueAccounts(ctx, now, 10)
			return err
		})
		return accounts
	}
	forget := func(now time.Time) {
		w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error { return tx.ForgetAnswers(ctx, now, 2) })
	}
	count := func(account string) int {
		return query[int](t, w, "select count(*) from answers where account = $1", account)
	}
	for i, key := range []string{"k1", "k2", "k3", "k4"} {
		keep(w.account, key, noon.Add(time.Duration(i)*time.Minute))
	}
	keep(other, "k1", noon.Add(time.Hour))
	day := noon.Add(24 * time.Hour)
	if got := due(day.Add(-time.Second)); len(got) != 0 {
		t.Errorf("%v are due within the day", got)
	}
	if got := due(day); !reflect.DeepEqual(got, []string{w.account}) {
		t.Errorf("due a day later are %v, want the account alone", got)
	}
	now := day.Add(2 * time.Minute)
	for _, left := range []int{2, 1} {
		if got := due(now); len(got) != 1 {
			t.Errorf("with %d answers due are %v", count(w.account), got)
		}
		forget(now)
		if n := count(w.account); n != left {
			t.Errorf("%d answers are left, want %d", n, left)
		}
	}
	if got := due(now); len(got) != 0 {
		t.Errorf("%v are due with one young answer", got)
	}
	if got := due(now.Add(time.Minute)); len(got) != 1 {
		t.Error("the last answer is not due in its time")
	}
	forget(now.Add(time.Minute))
	if n := query[int](t, w, "select count(*) from due_accounts"); n != 1 || count(w.account) != 0 ||
		count(other) != 1 {
		t.Errorf("%d accounts have something to forget, want the other one; %d and %d answers are left", n,
			count(w.account), count(other))
	}
	// A key is free again after its day, however many are expired before it.
	for i := range 30 {
		keep(w.account, "n"+strings.Repeat("x", i), noon.Add(time.Duration(i)*time.Minute))
	}
	keep(w.account, "n"+strings.Repeat("x", 29), noon.Add(48*time.Hour))
}

// The log of a project has an end, and says so; what was accepted stays.
func TestALogThatIsFull(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p, q := w.newProject(t), w.newProject(t)
	fill(t, w, `
		insert into log_entries (account, id, project, pad, at, recorded_at, entry)
		select $1, gen_random_uuid(), $2, '', $3, $3, jsonb_build_object('kind', 'note', 'pad', '', 'at',
			$3::timestamptz, 'text', 'n' || n) from generate_series(1, $4) n`,
		w.account, p.ID, noon, projects.MostEntries-1)
	w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error { return appendText(ctx, tx, p.ID, "the last") })
	err := w.InAccount(t.Context(), w.account, func(ctx context.Context, tx *postgres.AccountTx) error {
		_, err := tx.AppendLog(ctx, p.ID, pour.LogEntry{Kind: pour.EntryPlaced, Pad: "P1", At: noon, RecordedAt: noon})
		return err
	})
	var f *fault.Error
	if !errors.As(err, &f) || f.Kind != fault.Invalid || len(f.Fields) != 1 || f.Fields[0].Path != "kind" ||
		f.Fields[0].Value != "placed" || f.Fields[0].Rule.Code != projects.LogFullRule {
		t.Errorf("one entry too many gave %+v, want it refused with the rule", err)
	}
	w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error {
		all, err := tx.WholeLog(ctx, p.ID)
		if len(all) != projects.MostEntries || all[len(all)-1].Text != "the last" {
			t.Errorf("%d entries are kept", len(all))
		}
		return errors.Join(err, appendText(ctx, tx, q.ID, "another project's log has room"))
	})
}

// The logs of several projects come each in its order, with all that a plan is
// made from, and without what it is not: a builder may write at length.
func TestLogsForPlans(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p, q, quiet := w.newProject(t), w.newProject(t), w.newProject(t)
	bags, mm := 5.0, 3.5
	w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error {
		for i := range 8 {
			project := []string{p.ID, q.ID}[i%2]
			at := noon.Add(time.Duration(i*7%5) * time.Hour)
			_, placed := tx.AppendLog(ctx, project, pour.LogEntry{Kind: pour.EntryPlaced, Pad: "P1", At: at,
				RecordedAt: noon, Bags: &bags, Text: "stiff"})
			_, rained := tx.AppendLog(ctx, project, pour.LogEntry{Kind: pour.EntryRainedOn, At: at, RecordedAt: noon,
				RainMM: &mm, Effects: []pour.Effect{{Pad: "P1", State: pour.Lost, Why: "3.5 mm of rain"}}})
			if err := errors.Join(placed, rained, appendText(ctx, tx, project, "a long story")); err != nil {
				return err
			}
		}
		logs, err := tx.LogsForPlans(ctx, []string{quiet.ID, q.ID, p.ID})
		for _, project := range []string{p.ID, q.ID, quiet.ID} {
			whole, wholeErr := tx.WholeLog(ctx, project)
			err = errors.Join(err, wholeErr)
			var want []pour.LogEntry
			for _, e := range whole {
				if e.Kind != pour.EntryNote {
					e.Text = ""
					want = append(want, e)
				}
			}
			if got := logs[project]; !reflect.DeepEqual(got, want) {
				t.Errorf("the log of %s is %+v, want %+v", project, got, want)
			}
			if n := len(want); n != 8 && project != quiet.ID {
				t.Errorf("%d entries to plan from, want 8", n)
			}
		}
		return err
	})
}
