package postgres

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/jackc/pgx/v5/stdlib"
	"github.com/pressly/goose/v3"
	"github.com/pressly/goose/v3/lock"
	"github.com/riverqueue/river/riverdriver/riverpgxv5"
	"github.com/riverqueue/river/rivermigrate"

	"dryslot/internal/fault"
	"dryslot/internal/work"
	"dryslot/migrations"
)

// River's migrations can't all run in one transaction: number 4 adds a value
// to a type, and number 6 uses it. Each of ours goes up to one of River's, and
// River commits each of its own by itself; repeating one does nothing.
var riverTargets = [...]int{4, 8}

// tableWait is how long a migration waits for a table. Whoever asks for the table
// meanwhile waits behind it. It is shorter than deadlock_timeout (1 s), so that a
// migration gives way where the server would break off a request.
const tableWait = "300ms"

// mostTries bounds how often a migration is tried that meets locks: about a
// minute in all.
const mostTries = 40

// lockWait is how many seconds a second migrator waits for the first.
const lockWait = 300

// Migrate brings the database up to date as its owner and grants the service's
// role what it needs. Doing it again changes nothing; two at once wait for each
// other. With nothing to do the service's own connection suffices; with
// something to do it is refused, since the service may not own tables.
//
// url must lead to the server itself and not to a pooler, whose connections
// lose the lock that keeps two migrators apart.
func Migrate(ctx context.Context, url, serviceRole string) error {
	settings, err := pgxpool.ParseConfig(url)
	if err != nil {
		return fault.Wrap(fault.Invalid, "DATABASE_MIGRATE_URL can't be used", err)
	}
	settings.ConnConfig.RuntimeParams["lock_timeout"] = tableWait
	pool, err := pgxpool.NewWithConfig(ctx, settings)
	if err != nil {
		return fault.Wrap(fault.Invalid, "DATABASE_MIGRATE_URL can't be used", err)
	}
	defer pool.Close()
	db := stdlib.OpenDBFromPool(pool)
	defer db.Close()

	var role string
	if err := pool.QueryRow(ctx, `select current_user`).Scan(&role); err != nil {
		return wrap("connecting to migrate", err)
	}
	locker, err := lock.NewPostgresSessionLocker(lock.WithLockTimeout(1, lockWait))
	if err != nil {
		return fmt.Errorf("postgres: migrating: %w", err)
	}
	provider, err := newProvider(db, pool, goose.WithSessionLocker(locker))
	if err != nil {
		return err
	}
	if role == serviceRole {
		return refuseUnlessCurrent(ctx, pool, role)
	}
	if serviceRole == "" {
		return errNoRole
	}
	if err := letRead(ctx, pool, serviceRole); err != nil {
		return err
	}
	if err := up(ctx, provider); err != nil {
		return wrap("migrating", err)
	}
	// A newer program has migrated further and granted what it needs: taking
	// that away would stop it.
	newer, err := isNewer(ctx, pool)
	if newer || err != nil {
		return err
	}
	return grant(ctx, pool, serviceRole)
}

// up runs what has not run yet. A migration that meets the service's own locks is
// undone and tried again, so that the version before goes on answering.
func up(ctx context.Context, provider *goose.Provider) error {
	return patiently(ctx, func() error {
		_, err := provider.Up(ctx)
		return err
	})
}

// patiently tries again what was undone since it met a lock.
func patiently(ctx context.Context, do func() error) error {
	for try := 1; ; try++ {
		err := do()
		var pg *pgconn.PgError
		if !errors.As(err, &pg) || (pg.Code != codeLockNotFree && pg.Code != codeDeadlock) || try == mostTries {
			return err
		}
		timer := time.NewTimer(work.Backoff(100*time.Millisecond, 2*time.Second, "migrate", try))
		select {
		case <-timer.C:
		case <-ctx.Done():
			timer.Stop()
			return errors.Join(err, ctx.Err())
		}
	}
}

// isNewer reports whether the database has been migrated further than this
// program knows.
func isNewer(ctx context.Context, q querier) (bool, error) {
	want, err := Wanted()
	if err != nil {
		return false, err
	}
	have, err := version(ctx, q)
	return have > want, wrap("reading the database's version", err)
}

// newProvider returns goose over our SQL and River's migrations. Without a
// database it can only list them.
func newProvider(db *sql.DB, pool *pgxpool.Pool, opts ...goose.ProviderOption) (*goose.Provider, error) {
	for i, target := range riverTargets {
		up := func(ctx context.Context, _ *sql.DB) error {
			m, err := rivermigrate.New(riverpgxv5.New(pool), nil)
			if err != nil {
				return fmt.Errorf("postgres: River's migrations: %w", err)
			}
			_, err = m.Migrate(ctx, rivermigrate.DirectionUp, &rivermigrate.MigrateOpts{TargetVersion: target})
			return err
		}
		opts = append(opts, goose.WithGoMigrations(goose.NewGoMigration(int64(i+1), &goose.GoFunc{RunDB: up}, nil)))
	}
	opts = append(opts, goose.WithDisableGlobalRegistry(true))
	p, err := goose.NewProvider(goose.DialectPostgres, db, migrations.Files, opts...)
	if err != nil {
		return nil, fmt.Errorf("postgres: reading the migrations: %w", err)
	}
	return p, nil
}

// refuseUnlessCurrent returns nil when there is nothing to migrate, else an
// error that says whose connection is wanted.
func refuseUnlessCurrent(ctx context.Context, q querier, role string) error {
	if err := checkVersion(ctx, q); err != nil {
		return fault.Wrap(fault.Forbidden, "the database has to be migrated, and "+role+
			" is the service's role, which may not own tables: give the owner's connection in DATABASE_MIGRATE_URL",
			err)
	}
	return nil
}

// Wanted is the number of the newest migration: that of the database that this
// program needs.
func Wanted() (int64, error) {
	entries, err := migrations.Files.ReadDir(".")
	if err != nil {
		return 0, fmt.Errorf("postgres: reading the migrations: %w", err)
	}
	newest := int64(len(riverTargets))
	for _, e := range entries {
		n, err := goose.NumericComponent(e.Name())
		if err != nil {
			return 0, fmt.Errorf("postgres: the migration %s: %w", e.Name(), err)
		}
		newest = max(newest, n)
	}
	return newest, nil
}

// checkVersion reports a database that is not migrated as far as this program
// needs. One that is further is fine: a newer service runs beside this one.
func checkVersion(ctx context.Context, q querier) error {
	want, err := Wanted()
	if err != nil {
		return err
	}
	have, err := version(ctx, q)
	if err != nil && !isUndefined(err) && !isDenied(err) {
		return wrap("reading the database's version", err)
	}
	if have < want {
		return fault.Wrap(fault.Unavailable, fmt.Sprintf(
			"the database is at version %d and %d is needed: run with the owner's connection in DATABASE_MIGRATE_URL",
			have, want), err)
	}
	return nil
}

// version is the number of the newest migration that a database has had.
func version(ctx context.Context, q querier) (int64, error) {
	var have sql.NullInt64
	err := q.QueryRow(ctx, `select max(version_id) from goose_db_version where is_applied`).Scan(&have)
	return have.Int64, err
}

// Version is the number of the newest migration that the database at an
// owner's connection has had; 0: none yet.
func Version(ctx context.Context, ownerURL string) (int64, error) {
	conn, err := pgx.Connect(ctx, ownerURL)
	if err != nil {
		return 0, wrap("connecting to read the database's version", err)
	}
	have, err := version(ctx, conn)
	if isUndefined(err) {
		err = nil
	}
	return have, errors.Join(wrap("reading the database's version", err), conn.Close(ctx))
}

// checkRole refuses a role that could lift row-level security.
func checkRole(ctx context.Context, q querier) error {
	var role string
	var super, bypass bool
	var owns []string
	// A role that it may become, by membership or by ending a SET ROLE, counts as its own.
	err := q.QueryRow(ctx, `
		select r.rolname,
		       (select bool_or(o.rolsuper) from pg_roles o
		        where o.rolname = session_user or pg_has_role(r.oid, o.oid, 'MEMBER')),
		       (select bool_or(o.rolbypassrls) from pg_roles o
		        where o.rolname = session_user or pg_has_role(r.oid, o.oid, 'MEMBER')),
		       array(select c.relname::text from pg_class c
		             where c.relnamespace = current_schema()::regnamespace and c.relkind in ('r', 'p')
		               and pg_has_role(r.oid, c.relowner, 'MEMBER') order by 1 limit 5)
		from pg_roles r where r.rolname = current_user`).Scan(&role, &super, &bypass, &owns)
	if err != nil {
		return wrap("looking at the service's role", err)
	}
	var bad fault.List
	if super {
		bad.Add("rolsuper", role, "must be no superuser")
	}
	if bypass {
		bad.Add("rolbypassrls", role, "must not bypass row-level security")
	}
	for _, table := range owns {
		bad.Add("owner of "+table, role, "must own no table, nor be a member of the role that does")
	}
	return bad.Err(
		"the role in DATABASE_URL may not serve: give it a plain one, and the owner's connection in " +
			"DATABASE_MIGRATE_URL")
}

// errNoRole says that the service's role was not given to Migrate.
var errNoRole = errors.New("postgres: no service role named")
