package postgres

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"github.com/jackc/pgx/v5"

	"dryslot/internal/fault"
)

// Backup writes the whole database into a new file, in PostgreSQL's own archive
// format, over the owner's connection. The service may go on meanwhile: the file
// holds the database as it was at one moment. A file that is there already is fault.Conflict.
func Backup(ctx context.Context, ownerURL, file string) error {
	if _, err := os.Lstat(file); !errors.Is(err, fs.ErrNotExist) {
		return fault.Wrap(fault.Conflict, file+" is there already: a backup is a new file", err)
	}
	part := file + ".part"
	f, err := os.OpenFile(part, os.O_CREATE|os.O_TRUNC|os.O_WRONLY, 0o600) // it holds everybody's data
	if err != nil {
		return fmt.Errorf("postgres: make the backup's file: %w", err)
	}
	if err := f.Close(); err != nil {
		return fmt.Errorf("postgres: make the backup's file: %w", err)
	}
	err = runTool(ctx, ownerURL, []string{"PGOPTIONS=-c " + backupSetting + "=on"},
		"pg_dump", "--format=custom", "--enable-row-security", "--no-owner", "--no-privileges", "--file="+part)
	if err == nil {
		err = os.Rename(part, file) // whole or not at all
	}
	if err != nil {
		return errors.Join(err, os.Remove(part))
	}
	return nil
}

// Restore fills an empty database from a file of Backup's, over its owner's
// connection, whole or not at all. It has no rights for the service's role until
// it is migrated. A database that is not empty is fault.Conflict.
func Restore(ctx context.Context, ownerURL, file string) error {
	conn, err := pgx.Connect(ctx, ownerURL)
	if err != nil {
		return wrap("connecting to restore", err)
	}
	var tables int
	err = conn.QueryRow(ctx, `select count(*) from pg_class
		where relkind in ('r', 'p') and relnamespace = current_schema()::regnamespace`).Scan(&tables)
	if err := errors.Join(err, conn.Close(ctx)); err != nil {
		return wrap("looking at the database", err)
	}
	if tables > 0 {
		return fault.New(fault.Conflict,
			fmt.Sprintf("the database has %d tables already: a backup is restored into an empty one", tables))
	}
	return runTool(ctx, ownerURL, nil, "pg_restore", "--single-transaction", "--exit-on-error",
		"--no-owner", "--no-privileges", file)
}

// backupSetting opens every row to the owner, who is bound by row-level security
// otherwise. It does so for no other role.
const backupSetting = "dryslot.backup"

// allowBackup lets the owner read every row while it makes a backup. It could do
// so before: whoever owns a table may lift its row-level security.
func allowBackup(ctx context.Context, tx pgx.Tx) error {
	tables, err := texts(ctx, tx, `select c.relname::text from pg_class c
		where c.relnamespace = current_schema()::regnamespace and c.relrowsecurity
		and c.relowner = current_user::regrole
		  and not exists (select from pg_policy p where p.polrelid = c.oid and p.polname = 'backup')`)
	if err != nil || len(tables) == 0 {
		return err
	}
	batch := &pgx.Batch{}
	for _, table := range tables {
		batch.Queue("create policy backup on " + pgx.Identifier{table}.Sanitize() +
			" for select to current_user using (current_setting('" + backupSetting + "', true) = 'on')")
	}
	return tx.SendBatch(ctx, batch).Close()
}

// libpq are the parameters of a connection that PostgreSQL's own programs know;
// others are for our driver.
var libpq = []string{"host", "port", "connect_timeout", "target_session_attrs", "application_name",
	"sslmode", "sslrootcert", "sslcert", "sslkey", "sslpassword", "channel_binding"}

// runTool runs a program of PostgreSQL's with a connection. The password goes by
// its environment, since everybody on a machine can read a program's arguments.
func runTool(ctx context.Context, ownerURL string, env []string, name string, args ...string) error {
	u, err := url.Parse(ownerURL)
	if err != nil {
		return fault.New(fault.Invalid, "the owner's connection can't be used") // its parts may be secret
	}
	query := u.Query()
	for key := range query {
		if !slices.Contains(libpq, key) {
			query.Del(key)
		}
	}
	u.RawQuery = query.Encode()
	if password, ok := u.User.Password(); ok {
		env = append(env, "PGPASSWORD="+password)
		u.User = url.User(u.User.Username())
	}
	program, err := tool(name)
	if err != nil {
		return err
	}
	cmd := exec.CommandContext(ctx, program, append([]string{"--dbname=" + u.String()}, args...)...)
	cmd.Env = append(os.Environ(), env...)
	var said bytes.Buffer
	cmd.Stderr = &said
	if err := cmd.Run(); err != nil {
		return fmt.Errorf("postgres: %s: %w: %s", name, err, strings.TrimSpace(said.String()))
	}
	return nil
}

// tool finds a program of PostgreSQL's: on the path, else the newest where
// Debian keeps them.
func tool(name string) (string, error) {
	if p, err := exec.LookPath(name); err == nil {
		return p, nil
	}
	all, err := filepath.Glob("/usr/lib/postgresql/*/bin/" + name)
	if err != nil || len(all) == 0 {
		return "", fault.New(fault.Unavailable, name+" is not there: it comes with PostgreSQL's client programs")
	}
	version := func(path string) int {
		n, err := strconv.Atoi(filepath.Base(filepath.Dir(filepath.Dir(path))))
		if err != nil {
			return 0
		}
		return n
	}
	return slices.MaxFunc(all, func(a, b string) int { return version(a) - version(b) }), nil
}
