package postgrestest

import (
	"context"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"dryslot/internal/postgres"
	"dryslot/internal/postgres/local"
)

// Pair is a primary with a standby that each of its commits waits for (PostgreSQL,
// "Synchronous Replication"). The primary may be killed: the standby takes its place
// and gets a standby of its own.
type Pair struct {
	t       testing.TB
	dirs    [2]string
	servers [2]*local.Server // nil: it is away
	primary int
}

// OwnPair starts a migrated pair, which ends with the test.
func OwnPair(t testing.TB) *Pair {
	t.Helper()
	p := &Pair{t: t}
	for i := range p.dirs {
		dir, err := os.MkdirTemp("", "dryslot-pair-")
		if err != nil {
			t.Fatal(err)
		}
		p.dirs[i] = dir
		if err := os.Chmod(dir, 0o711); err != nil { // the server's user has to pass when the tests run as root
			t.Fatal(err)
		}
	}
	t.Cleanup(p.end)
	p.start(0)
	first := p.servers[0]
	if err := postgres.Migrate(t.Context(), first.MigrateURL(), first.ServiceRole()); err != nil {
		t.Fatal(err)
	}
	p.AddStandby()
	return p
}

func (p *Pair) start(i int) {
	p.t.Helper()
	s, err := local.Start(context.Background(), local.Options{DataDir: p.dirs[i], Spare: p.dirs[i]})
	if err != nil {
		p.t.Fatal(err)
	}
	p.servers[i] = s
}

func (p *Pair) end() {
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	for i, s := range p.servers {
		if s != nil {
			if err := s.Stop(ctx); err != nil {
				p.t.Error(err)
			}
		}
		_ = os.RemoveAll(p.dirs[i])
	}
}

// Database returns connections that find whichever of the two is the primary.
func (p *Pair) Database() Database {
	return Database{ServiceURL: p.either(p.servers[0].URL(), p.servers[1].URL()),
		OwnerURL: p.either(p.servers[0].MigrateURL(), p.servers[1].MigrateURL())}
}

func (p *Pair) either(one, other string) string {
	p.t.Helper()
	a, errA := url.Parse(one)
	b, errB := url.Parse(other)
	if errA != nil || errB != nil {
		p.t.Fatal(errA, errB)
	}
	q := a.Query()
	for _, key := range []string{"host", "port"} {
		q.Set(key, a.Query().Get(key)+","+b.Query().Get(key))
	}
	q.Set("target_session_attrs", "read-write")
	a.RawQuery = q.Encode()
	return a.String()
}

// Fail ends the primary by SIGKILL and has the standby take its place.
func (p *Pair) Fail() {
	p.t.Helper()
	was := p.servers[p.primary]
	if err := syscall.Kill(was.PID(), syscall.SIGKILL); err != nil {
		p.t.Fatal(err)
	}
	<-was.Done()
	if err := was.Stop(context.Background()); err != nil { // it has ended: this gives the folder back
		p.t.Fatal(err)
	}
	p.servers[p.primary] = nil
	p.primary = 1 - p.primary
	p.ask(`select pg_promote(true, 600)`)
}

// AddStandby gives the primary a standby, made of a copy of it, and returns once
// each commit waits for both.
func (p *Pair) AddStandby() {
	p.t.Helper()
	from, to := p.servers[p.primary], 1-p.primary
	home := filepath.Join(p.dirs[to], filepath.Base(from.Folder()))
	cluster := filepath.Join(home, "cluster")
	admin := from.AdminURL("postgres")
	try := func(err error) {
		p.t.Helper()
		if err != nil {
			p.t.Fatal(err)
		}
	}
	try(os.RemoveAll(cluster))
	try(os.MkdirAll(home, 0o711))
	try(os.Chmod(home, 0o711))
	out, err := exec.Command("pg_basebackup", "--pgdata", cluster, "--dbname", admin, "--wal-method=stream",
		"--checkpoint=fast", "--no-sync").CombinedOutput()
	if err != nil {
		p.t.Fatalf("copying the primary: %v\n%s", err, out)
	}
	passwords, err := os.ReadFile(filepath.Join(p.dirs[p.primary], "passwords.json"))
	try(err)
	try(os.WriteFile(filepath.Join(p.dirs[to], "passwords.json"), passwords, 0o600))
	try(os.WriteFile(filepath.Join(cluster, "standby.signal"), nil, 0o600))
	// In place of what the primary's own says: it would wait for a standby of its own
	// as soon as it is promoted.
	at, err := url.Parse(admin)
	try(err)
	password, _ := at.User.Password()
	try(os.WriteFile(filepath.Join(cluster, "postgresql.auto.conf"), fmt.Appendf(nil,
		"primary_conninfo = 'host=%s port=%s user=%s password=%s'\n", at.Query().Get("host"), at.Query().Get("port"),
		at.User.Username(), password), 0o600))
	try(giveTo(cluster, filepath.Join(from.Folder(), "cluster")))
	p.start(to)
	p.ask(`alter system set synchronous_standby_names = '*'`)
	p.ask(`select pg_reload_conf()`)
	for p.ask(`select count(*)::int from pg_stat_replication where sync_state = 'sync'`) != int32(1) {
		select {
		case <-p.t.Context().Done():
			p.t.Fatal("the standby does not follow")
		case <-time.After(20 * time.Millisecond):
		}
	}
}

// ask runs a statement on the primary as its superuser, and returns the first value.
func (p *Pair) ask(sql string) any {
	p.t.Helper()
	ctx, cancel := context.WithTimeout(p.t.Context(), 10*time.Minute) // a hang, not a slow machine
	defer cancel()
	conn, err := pgx.Connect(ctx, p.servers[p.primary].AdminURL("postgres"))
	if err != nil {
		p.t.Fatal(err)
	}
	defer conn.Close(ctx)
	rows, err := conn.Query(ctx, sql)
	if err != nil {
		p.t.Fatalf("%s: %v", sql, err)
	}
	defer rows.Close()
	var first any
	for rows.Next() {
		values, err := rows.Values()
		if err != nil {
			p.t.Fatalf("%s: %v", sql, err)
		}
		first = values[0]
	}
	if err := rows.Err(); err != nil {
		p.t.Fatalf("%s: %v", sql, err)
	}
	return first
}

// giveTo makes whoever owns one folder the owner of another with all that is in it.
func giveTo(folder, owned string) error {
	info, err := os.Stat(owned)
	if err != nil {
		return err
	}
	owner := info.Sys().(*syscall.Stat_t)
	return filepath.WalkDir(folder, func(path string, _ fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		return os.Lchown(path, int(owner.Uid), int(owner.Gid))
	})
}
