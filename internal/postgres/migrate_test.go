package postgres_test

import (
	"context"
	"database/sql"
	"errors"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	_ "github.com/jackc/pgx/v5/stdlib" // the driver pgx
	"github.com/pressly/goose/v3"
	"github.com/riverqueue/river/riverdriver/riverpgxv5"
	"github.com/riverqueue/river/rivermigrate"

	"dryslot/internal/fault"
	"dryslot/internal/postgres"
	"dryslot/internal/postgres/postgrestest"
	"dryslot/internal/work"
	"dryslot/migrations"
)

// adminExec runs SQL as a superuser.
func adminExec(t *testing.T, db postgrestest.Database, sql string) {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), db.AdminURL)
	must(t, err)
	defer conn.Close(context.Background())
	_, err = conn.Exec(t.Context(), sql)
	must(t, err)
}

func TestMigratingFromEmptyByTwoAtOnce(t *testing.T) {
	t.Parallel()
	db := postgrestest.Empty(t)
	_, err := postgres.Open(t.Context(), db.ServiceURL)
	if !errors.Is(err, fault.Unavailable) || !strings.Contains(err.Error(), "DATABASE_MIGRATE_URL") {
		t.Errorf("opening an empty database gave %v, want unavailable and what to do", err)
	}
	err = postgres.Migrate(t.Context(), db.ServiceURL, db.ServiceRole)
	if !errors.Is(err, fault.Forbidden) || !strings.Contains(err.Error(), "DATABASE_MIGRATE_URL") {
		t.Errorf("migrating as the service gave %v, want forbidden and what to do", err)
	}
	errs := make([]error, 2)
	var wg sync.WaitGroup
	for i := range errs {
		wg.Go(func() { errs[i] = postgres.Migrate(context.Background(), db.OwnerURL, db.ServiceRole) })
	}
	wg.Wait()
	must(t, errors.Join(errs...))
	must(t, postgres.Migrate(t.Context(), db.OwnerURL, db.ServiceRole))   // nothing to do
	must(t, postgres.Migrate(t.Context(), db.ServiceURL, db.ServiceRole)) // nor here, so the service may say so
	store := postgrestest.Open(t, db)
	must(t, store.Ready(t.Context()))
	must(t, store.InSystem(t.Context(), func(ctx context.Context, tx *postgres.SystemTx) error {
		return tx.Enqueue(ctx, work.FetchCell{Cell: quayCell})
	}))
}

func TestAMigrationThatWasBrokenOffGoesOn(t *testing.T) {
	t.Parallel()
	db := postgrestest.Empty(t)
	// As a kill among River's own steps leaves things: some are done, and
	// nothing of ours says so.
	pool, err := pgxpool.New(t.Context(), db.OwnerURL)
	must(t, err)
	defer pool.Close()
	river, err := rivermigrate.New(riverpgxv5.New(pool), nil)
	must(t, err)
	_, err = river.Migrate(t.Context(), rivermigrate.DirectionUp, &rivermigrate.MigrateOpts{TargetVersion: 3})
	must(t, err)
	must(t, postgres.Migrate(t.Context(), db.OwnerURL, db.ServiceRole))
	must(t, postgrestest.Open(t, db).Ready(t.Context()))
}

func TestADatabaseThatFellBackIsNotReady(t *testing.T) {
	t.Parallel()
	db := postgrestest.URLs(t)
	store := postgrestest.Open(t, db)
	adminExec(t, db, "delete from goose_db_version where version_id > 3")
	wantKind(t, "a database behind the program", store.Ready(t.Context()), fault.Unavailable)
	adminExec(t, db, "insert into goose_db_version (version_id, is_applied) values (9999, true)")
	if err := store.Ready(t.Context()); err != nil {
		t.Errorf("a database ahead of the program gave %v", err)
	}
}

func TestRolesThatMayTooMuchAreRefused(t *testing.T) {
	t.Parallel()
	db := postgrestest.URLs(t)
	name := strings.ReplaceAll(strings.ToLower(t.Name()), "test", "r_")
	role := func(suffix, options string) string {
		adminExec(t, db, "create role "+name+suffix+" login password 'x' "+options)
		t.Cleanup(func() {
			conn, err := pgx.Connect(context.Background(), db.AdminURL)
			must(t, err)
			defer conn.Close(context.Background())
			_, err = conn.Exec(context.Background(), "drop owned by "+name+suffix+"; drop role "+name+suffix)
			must(t, err)
		})
		adminExec(t, db, "grant select on goose_db_version to "+name+suffix)
		return strings.Replace(db.ServiceURL,
			db.ServiceURL[strings.Index(db.ServiceURL, "//"):strings.Index(db.ServiceURL,
				"@")], "//"+name+suffix+":x", 1)
	}
	for what, address := range map[string]string{
		"the owner": db.OwnerURL, "a superuser": db.AdminURL,
		"a role that bypasses": role("b", "bypassrls"), "a member of the owner": role("m", "in role dryslot_owner"),
		"one that may become the owner":         role("n", "noinherit in role dryslot_owner"),
		"one that may become one that bypasses": role("o", "noinherit in role "+name+"b"),
		"a superuser in a plain role's clothes": db.AdminURL + "&options=-c%20role%3D" + db.ServiceRole,
	} {
		store, err := postgres.Open(t.Context(), address)
		if err == nil {
			store.Close()
		}
		var f *fault.Error
		if !errors.As(err, &f) || f.Kind != fault.Invalid || len(f.Fields) == 0 ||
			!strings.Contains(err.Error(), "DATABASE_MIGRATE_URL") {
			t.Errorf("%s gave %v, want a refusal that says why and what to do", what, err)
		}
	}
	if store, err := postgres.Open(t.Context(), role("p", "")); err != nil {
		t.Errorf("a plain role was refused: %v", err)
	} else {
		store.Close()
	}
}

func TestADatabaseThatIsAwayIsUnavailable(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := w.newProject(t)
	adminExec(t, w.db,
		"select pg_terminate_backend(pid) from pg_stat_activity where datname = current_database() and pid <> "+
			"pg_backend_pid()")
	// The pool finds out, and goes on with new connections.
	for range 3 {
		err := w.InAccount(t.Context(), w.account, func(ctx context.Context, tx *postgres.AccountTx) error {
			_, err := tx.Project(ctx, p.ID)
			return err
		})
		if err != nil {
			wantKind(t, "a connection that was cut", err, fault.Unavailable)
		}
	}
	w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error { _, err := tx.Project(ctx, p.ID); return err })

	_, err := postgres.Open(t.Context(), "postgres://u:p@127.0.0.1:1/none?connect_timeout=2")
	wantKind(t, "a server that is not there", err, fault.Unavailable)
	_, err = postgres.Open(t.Context(), "postgres://u:p@h:notaport/none")
	wantKind(t, "an address that is none", err, fault.Invalid)
	canceled, cancel := context.WithCancel(t.Context())
	cancel()
	err = w.Ready(canceled)
	wantKind(t, "a question broken off", err, fault.Unavailable)
	if !errors.Is(err, context.Canceled) {
		t.Errorf("%v hides its cause", err)
	}
	role, err := postgres.RoleOf(w.db.ServiceURL)
	if err != nil || role != w.db.ServiceRole {
		t.Errorf("the role of the service's address is %q: %v", role, err)
	}
}

// A command of the version before, started anew with the owner's connection
// while this version serves, must not take away what this version was granted.
func TestAnOlderProgramLeavesTheRightsOfANewerOne(t *testing.T) {
	t.Parallel()
	db := postgrestest.URLs(t)
	adminExec(t, db, "create table of_a_newer_program (id int); alter table of_a_newer_program owner to dryslot_owner;"+
		"grant select on of_a_newer_program to "+db.ServiceRole+";"+
		"insert into goose_db_version (version_id, is_applied) values (9999, true)")
	may := func() (may bool) {
		conn, err := pgx.Connect(t.Context(), db.ServiceURL)
		must(t, err)
		defer conn.Close(context.Background())
		must(t, conn.QueryRow(t.Context(), "select has_table_privilege('of_a_newer_program', 'select')").Scan(&may))
		return may
	}
	must(t, postgres.Migrate(t.Context(), db.OwnerURL, db.ServiceRole))
	if !may() {
		t.Error("an older program took the right to a newer program's table")
	}
	adminExec(t, db, "delete from goose_db_version where version_id = 9999")
	must(t, postgres.Migrate(t.Context(), db.OwnerURL, db.ServiceRole))
	if may() {
		t.Error("the service kept a right that is not among its grants")
	}
}

// What lets the version before read new tables while they are made ends with the
// migration.
func TestNoDefaultRightsAreLeft(t *testing.T) {
	t.Parallel()
	db := postgrestest.Empty(t)
	must(t, postgres.Migrate(t.Context(), db.OwnerURL, db.ServiceRole))
	conn, err := pgx.Connect(t.Context(), db.OwnerURL)
	must(t, err)
	defer conn.Close(context.Background())
	var left int
	must(t, conn.QueryRow(t.Context(), "select count(*) from pg_default_acl").Scan(&left))
	if left != 0 {
		t.Errorf("%d default rights are left after a migration", left)
	}
}

// A migration gives way to a transaction that holds a table which it needs, and
// comes through once that has ended.
func TestAMigrationGivesWayToTheService(t *testing.T) {
	t.Parallel()
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	db := postgrestest.URLs(t)
	owner, err := sql.Open("pgx", db.OwnerURL)
	must(t, err)
	down, err := goose.NewProvider(goose.DialectPostgres, owner, migrations.Files)
	must(t, err)
	_, err = down.DownTo(ctx, 24)
	must(t, errors.Join(err, owner.Close()))
	conn, err := pgx.Connect(ctx, db.OwnerURL)
	must(t, err)
	defer conn.Close(context.Background())
	tx, err := conn.Begin(ctx)
	must(t, err)
	_, err = tx.Exec(ctx, "lock table goose_db_version in access exclusive mode")
	must(t, err)
	done := make(chan error, 1)
	go func() { done <- postgres.Migrate(ctx, db.OwnerURL, db.ServiceRole) }()
	admin, err := pgx.Connect(ctx, db.AdminURL)
	must(t, err)
	defer admin.Close(context.Background())
	for _, want := range []bool{true, false} { // it waits for the table, then gives way
		for waits := !want; waits != want; {
			must(t, admin.QueryRow(ctx, `select exists (select from pg_locks l join pg_database d on d.oid = l.database
				where not l.granted and d.datname = current_database())`).Scan(&waits))
		}
	}
	must(t, tx.Commit(ctx))
	must(t, <-done)
	must(t, postgrestest.Open(t, db).Ready(ctx))
}

// Commands that start at the same time grant one after the other, however long one
// of them takes over it.
func TestGrantingWaitsForWhoGrants(t *testing.T) {
	t.Parallel()
	db := postgrestest.URLs(t)
	holder, err := pgx.Connect(t.Context(), db.OwnerURL)
	must(t, err)
	defer holder.Close(context.Background())
	_, err = holder.Exec(t.Context(), `select pg_advisory_lock(hashtext('dryslot grants'))`)
	must(t, err)
	ended := make(chan error, 1)
	go func() { ended <- postgres.Migrate(t.Context(), db.OwnerURL, db.ServiceRole) }()
	waits := func() (pid int) { // who waits for the lock, 0: nobody
		must(t, holder.QueryRow(t.Context(), `select coalesce(max(pid), 0) from pg_locks where not granted and
			locktype = 'advisory' and database =
			(select oid from pg_database where datname = current_database())`).Scan(&pid))
		return pid
	}
	for first := 0; ; {
		select {
		case err := <-ended:
			t.Fatalf("it ended while another grants: %v", err)
		default:
		}
		pid := waits()
		if first == 0 {
			first = pid
		} else if pid == 0 { // it gave way, and comes again
			break
		}
	}
	_, err = holder.Exec(t.Context(), `select pg_advisory_unlock_all()`)
	must(t, err)
	must(t, <-ended)
}
