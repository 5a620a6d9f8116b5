package postgres_test

import (
	"context"
	"errors"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"dryslot/internal/fault"
	"dryslot/internal/postgres"
	"dryslot/internal/pour"
)

// The shape of the database keeps the rules, whatever is added to it.
func TestEveryAccountTableIsProtected(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	// These serve to find an account or its work: digests, ids and times only.
	unprotected := map[string]bool{"tokens": true, "sessions": true, "sign_in_links": true, "mail_keys": true,
		"archive_links": true, "mail_links": true, "passkey_challenges": true, "calendar_keys": true,
		"recipient_keys": true, "invitation_keys": true,
		"due_projects": true, "due_deliveries": true, "due_accounts": true, "plan_queue": true}
	conn, err := pgx.Connect(t.Context(), w.db.AdminURL)
	must(t, err)
	defer conn.Close(t.Context())
	rows, err := conn.Query(t.Context(), `
		select c.relname::text, c.relrowsecurity and c.relforcerowsecurity
		       and exists (select from pg_policy p where p.polrelid = c.oid)
		from pg_class c where c.relkind in ('r', 'p') and c.relnamespace = 'public'::regnamespace
		  and (c.relname = 'accounts' or exists (select from pg_attribute a where a.attrelid = c.oid
		  and a.attname = 'account'))`)
	must(t, err)
	seen := 0
	var table string
	var safe bool
	_, err = pgx.ForEachRow(rows, []any{&table, &safe}, func() error {
		seen++
		if safe == unprotected[table] {
			t.Errorf("%s: row-level security is enabled and forced: %v, want %v", table, safe, !unprotected[table])
		}
		return nil
	})
	must(t, err)
	if want := len(protected) + len(unprotected); seen != want {
		t.Errorf("%d tables have an account, want %d", seen, want)
	}
	if n := query[int](t, w, `
		select count(*) from pg_constraint k join pg_class c on c.oid = k.conrelid
		where k.contype in ('p', 'f') and c.relnamespace = 'public'::regnamespace and c.relname = any($1)
		and c.relname <> 'accounts'
		  and k.conname <> 'members_member_fkey' -- the member is an account beside the one that made the project
		  and (select attname from pg_attribute where attrelid = c.oid and attnum = k.conkey[1]) <> 'account'`,
		protected); n != 0 {
		t.Errorf("%d keys or foreign keys of account tables do not begin with the account", n)
	}
	if bad := query[int](t, w, `
		select count(*) from pg_attribute a join pg_class c on c.oid = a.attrelid
		where c.relnamespace = 'public'::regnamespace and c.relkind = 'r' and a.attnum > 0 and c.relname = any($1)
		  and not (a.atttypid = any(array['uuid', 'bytea', 'timestamptz', 'int8']::regtype[])
		  or a.attname in ('key', 'cell'))`,
		[]string{"tokens", "sessions", "sign_in_links", "mail_keys", "mail_links", "calendar_keys", "recipient_keys",
			"archive_links", "passkey_challenges", "invitation_keys", "due_projects", "due_deliveries",
			"due_accounts"}); bad != 0 {
		t.Errorf("%d columns of unprotected tables hold more than digests, ids and times", bad)
	}
}

func TestHistoryCannotBeAltered(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := w.newProject(t)
	conn := service(t, w)
	_, err := conn.Exec(t.Context(), `select set_config('dryslot.account', $1, false)`, w.account)
	must(t, err)
	for _, sql := range []string{
		"update plans set plan = '{}'", "delete from plans", "truncate plans", "delete from plan_mornings",
		"update plan_mornings set project = account",
		"update log_entries set entry = '{}'", "delete from log_entries", "truncate log_entries",
		"update forecasts set document = ''", "truncate forecasts",
		"update deliveries set body = ''", "update deliveries set key = 'x'", "delete from deliveries",
		"update projects set id = gen_random_uuid()", "update accounts set id = gen_random_uuid()",
		"delete from accounts", "update tokens set account = gen_random_uuid()",
		"alter table plans disable row level security", "drop table plans", "create table mine (n int)",
		"set role dryslot_owner",
	} {
		_, err := conn.Exec(t.Context(), sql)
		if !denied(err) {
			t.Errorf("%s gave %v, want it refused", sql, err)
		}
	}
	// The whole project may go, and then its history goes too.
	w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error {
		_, logged := tx.AppendLog(ctx, p.ID, pour.LogEntry{Kind: pour.EntryPlaced, Pad: "P1", At: noon,
			RecordedAt: noon})
		_, planned := tx.AddPlan(ctx, p.ID, aPlan("first"))
		return errors.Join(logged, planned)
	})
	w.newAlert(t, p.ID, w.newRecipient(t, p.ID).ID, "k1")
	w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error { return tx.DeleteProject(ctx, p.ID) })
	for _, table := range []string{"projects", "log_entries", "plans", "plan_mornings", "recipients", "deliveries",
		"calendar_keys", "due_projects", "due_deliveries"} {
		if n := query[int](t, w, "select count(*) from "+table); n != 0 {
			t.Errorf("%s has %d rows left of a deleted project", table, n)
		}
	}
	w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error {
		wantKind(t, "deleting it again", tx.DeleteProject(ctx, p.ID), fault.NotFound)
		return nil
	})
}

func denied(err error) bool {
	var pg *pgconn.PgError
	return errors.As(err, &pg) && pg.Code == "42501" // insufficient_privilege
}
