// Package postgrestest gives tests a real PostgreSQL: one server for each test
// binary, made at first use, and a fresh database for each test, cloned from a
// migrated one. Nothing has to be stopped: the server ends with the test
// binary, however that ends.
//
//	store := postgrestest.New(t)
package postgrestest

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/url"
	"os"
	"os/exec"
	"strconv"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"

	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgxpool"

	"dryslot/internal/postgres"
	"dryslot/internal/postgres/local"
)

// Database is one test's own database.
type Database struct {
	ServiceURL  string // the service's role, which owns nothing
	OwnerURL    string // the owner's, for migrations
	AdminURL    string // a superuser's, which row-level security does not bind
	ServiceRole string
}

// template is the database that tests' databases are cloned from. Nobody stays
// connected to it, or cloning would fail.
const template = "dryslot"

// patience lets a transaction be silent for an hour: on a busy machine a test
// that plans in one may take minutes.
const patience = "&idle_in_transaction_session_timeout=3600000"

type server struct {
	*local.Server
	pool  *pgxpool.Pool // the superuser's
	names atomic.Int64
}

// once starts the server at first use.
var once = sync.OnceValues(startServer)

// New returns a store over a fresh, migrated, empty database.
func New(t testing.TB) *postgres.Store {
	t.Helper()
	return Open(t, URLs(t))
}

// Open returns another store over a test's database, as a second process
// would have.
func Open(t testing.TB, db Database) *postgres.Store {
	t.Helper()
	store, err := postgres.Open(context.Background(), db.ServiceURL)
	if err != nil {
		t.Fatalf("opening the test's database: %v", err)
	}
	t.Cleanup(store.Close)
	return store
}

// URLs returns a fresh, migrated, empty database.
func URLs(t testing.TB) Database {
	t.Helper()
	return create(t, " template "+template+" strategy file_copy")
}

// Empty returns a fresh database that is not migrated.
func Empty(t testing.TB) Database {
	t.Helper()
	return create(t, "")
}

func create(t testing.TB, from string) Database {
	t.Helper()
	srv, err := once()
	if err != nil {
		t.Fatalf("starting the tests' PostgreSQL: %v", err)
	}
	name := "test_" + strconv.FormatInt(srv.names.Add(1), 10)
	srv.create(t, "create database "+name+" owner dryslot_owner"+from)
	t.Cleanup(func() { srv.admin(t, "drop database "+name+" with (force)") })
	db := Database{
		ServiceURL: asAsked(t, srv, inDatabase(srv.URL(), name)+patience), OwnerURL: inDatabase(srv.MigrateURL(), name),
		AdminURL: srv.AdminURL(name), ServiceRole: srv.ServiceRole(),
	}
	return db
}

// inDatabase returns a connection to another database of the same server.
func inDatabase(of, name string) string {
	u, err := url.Parse(of)
	if err != nil {
		panic(err) // the server's own address
	}
	u.Path = "/" + name
	return u.String()
}

func (s *server) admin(t testing.TB, sql string) {
	t.Helper()
	if _, err := s.pool.Exec(context.Background(), sql); err != nil {
		t.Fatalf("%s: %v", sql, err)
	}
}

// create makes a database. The server waits some seconds for connections to the
// template that are ending, or for its own upkeep there, and then refuses.
func (s *server) create(t testing.TB, sql string) {
	t.Helper()
	const inUse = "55006" // object_in_use (PostgreSQL, "Error Codes")
	for {
		_, err := s.pool.Exec(context.Background(), sql)
		var pg *pgconn.PgError
		if err == nil {
			return
		}
		if !errors.As(err, &pg) || pg.Code != inUse {
			t.Fatalf("%s: %v", sql, err)
		}
	}
}

// folder is where the tests' server keeps its files: in memory where the system
// has room for it there, since a test spends most of its time on the copying of
// its database.
func folder() string {
	const (
		shared = "/dev/shm"
		tmpfs  = 0x01021994 // TMPFS_MAGIC (statfs(2))
		room   = 2 << 30    // bytes
	)
	var fs syscall.Statfs_t
	if err := syscall.Statfs(shared, &fs); err != nil || int64(fs.Type) != tmpfs || int64(fs.Bavail)*fs.Bsize < room {
		return os.TempDir()
	}
	return shared
}

func startServer() (*server, error) {
	dir, err := os.MkdirTemp(folder(), "dryslot-test-")
	if err != nil {
		return nil, err
	}
	// The server's user has to pass when the tests run as root.
	if err := os.Chmod(dir, 0o711); err != nil {
		return nil, err
	}
	ctx := context.Background()
	srv, err := local.Start(ctx, local.Options{DataDir: dir, Spare: dir, Throwaway: true})
	if err != nil {
		os.RemoveAll(dir)
		return nil, err
	}
	if err := endWithUs(srv.PID(), dir); err != nil {
		return nil, errors.Join(err, srv.Stop(ctx), os.RemoveAll(dir))
	}
	if err := postgres.Migrate(ctx, srv.MigrateURL(), srv.ServiceRole()); err != nil {
		return nil, err
	}
	pool, err := pgxpool.New(ctx, srv.AdminURL("postgres"))
	if err != nil {
		return nil, err
	}
	return &server{Server: srv, pool: pool}, nil
}

// keeper waits until its input ends, which the kernel sees to when the test
// binary has gone, and then ends the server at once and removes its folder.
const keeper = `cat >/dev/null; kill -QUIT "$1" 2>/dev/null
n=0; while kill -0 "$1" 2>/dev/null && [ $n -lt 200 ]; do n=$((n+1)); sleep 0.05; done
rm -rf "$2"`

// endWithUs leaves a process behind that ends the server after this one.
func endWithUs(pid int, dir string) error {
	r, w, err := os.Pipe()
	if err != nil {
		return err
	}
	defer r.Close()
	cmd := exec.Command("/bin/sh", "-c", keeper, "keeper", strconv.Itoa(pid), dir)
	cmd.Stdin = r
	cmd.SysProcAttr = &syscall.SysProcAttr{Setsid: true} // a Ctrl-C must not end it before us
	if err := cmd.Start(); err != nil {
		return fmt.Errorf("keeping the tests' PostgreSQL: %w", err)
	}
	hold(w)
	return nil
}

// held keeps the pipe's end from being collected, and so closed, too early.
var held []io.Closer

func hold(c io.Closer) { held = append(held, c) }
