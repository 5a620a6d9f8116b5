package local

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"dryslot/internal/fault"
)

// serveEnv makes the test binary play the service on this folder, so that it
// can be killed.
const serveEnv = "LOCAL_TEST_SERVE"

func TestMain(m *testing.M) {
	if dir := os.Getenv(serveEnv); dir != "" {
		os.Exit(serve(dir))
	}
	os.Exit(m.Run())
}

func serve(dir string) int {
	srv, err := Start(context.Background(), Options{DataDir: dir, Throwaway: true,
		Log: slog.New(slog.NewTextHandler(os.Stderr, nil))})
	if err != nil {
		fmt.Println("error", err)
		return 1
	}
	fmt.Println("ready", srv.PID())
	_, _ = io.Copy(io.Discard, os.Stdin) // until the test closes it or kills us
	if err := srv.Stop(context.Background()); err != nil {
		fmt.Println("error", err)
		return 1
	}
	return 0
}

// service is a process that runs the service's part.
type service struct {
	cmd   *exec.Cmd
	stdin io.WriteCloser
	out   *bufio.Reader
	pid   int // of the server
}

// startService starts one and waits until its server takes connections.
func startService(t *testing.T, dir string) *service {
	t.Helper()
	s := beginService(t, dir)
	line, err := s.out.ReadString('\n')
	if _, scanErr := fmt.Sscanf(line, "ready %d", &s.pid); scanErr != nil {
		t.Fatalf("the service said %q (%v)", line, err)
	}
	return s
}

func beginService(t *testing.T, dir string) *service {
	t.Helper()
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), serveEnv+"="+dir)
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	in, err := cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	return &service{cmd: cmd, stdin: in, out: bufio.NewReader(out)}
}

// kill ends the service as the kernel would under memory pressure.
func (s *service) kill(t *testing.T) {
	t.Helper()
	if err := s.cmd.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	_ = s.cmd.Wait() // "signal: killed"
}

// folder makes a folder that every user can enter, which t.TempDir does not.
func folder(t *testing.T) string {
	t.Helper()
	dir, err := os.MkdirTemp("", "local-test-")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := os.RemoveAll(dir); err != nil {
			t.Error(err)
		}
	})
	if err := os.Chmod(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	return dir
}

func start(t *testing.T, o Options) *Server {
	t.Helper()
	srv, err := Start(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := srv.Stop(context.Background()); err != nil {
			t.Error(err)
		}
	})
	return srv
}

func exec1(t *testing.T, url, sql string) {
	t.Helper()
	if err := tryExec(t, url, sql); err != nil {
		t.Fatal(err)
	}
}

func tryExec(t *testing.T, url, sql string) error {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(context.Background())
	_, err = conn.Exec(t.Context(), sql)
	return err
}

func query[T any](t *testing.T, url, sql string) T {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(context.Background())
	var v T
	if err := conn.QueryRow(t.Context(), sql).Scan(&v); err != nil {
		t.Fatalf("%s: %v", sql, err)
	}
	return v
}

func TestAServerKeepsWhatItWasGiven(t *testing.T) {
	dir := filepath.Join(folder(t), "data")
	srv := start(t, Options{DataDir: dir})
	exec1(t, srv.MigrateURL(),
		"create table kept (n int); insert into kept values (7); grant select on kept to "+srv.ServiceRole())
	if got := query[int](t, srv.URL(), "select n from kept"); got != 7 {
		t.Errorf("kept %d, want 7", got)
	}
	if got := query[string](t, srv.AdminURL("postgres"),
		"select current_setting('fsync') || current_setting('full_page_writes')"); got != "onon" {
		t.Errorf("fsync and full_page_writes are %q, want onon", got)
	}
	if got := query[string](t, srv.AdminURL("postgres"), "show listen_addresses"); got != "" {
		t.Errorf("the server listens on %q, want no network", got)
	}
	if err := srv.Stop(t.Context()); err != nil {
		t.Fatal(err)
	}
	if stateOf(srv.PID()) == alive {
		t.Error("the server is still there after Stop")
	}
	again := start(t, Options{DataDir: dir})
	if again.Adopted() {
		t.Error("a stopped server was adopted")
	}
	if got := query[int](t, again.URL(), "select n from kept"); got != 7 {
		t.Errorf("kept %d after a restart, want 7", got)
	}
}

func TestNoConnectionIsTrusted(t *testing.T) {
	srv := start(t, Options{DataDir: folder(t), Throwaway: true})
	hba, err := os.ReadFile(filepath.Join(srv.cluster(), "pg_hba.conf"))
	if err != nil {
		t.Fatal(err)
	}
	rules := 0
	for line := range strings.Lines(string(hba)) {
		f := strings.Fields(line)
		if len(f) == 0 || strings.HasPrefix(f[0], "#") {
			continue
		}
		rules++
		if f[len(f)-1] != "scram-sha-256" {
			t.Errorf("pg_hba.conf has the line %q, want scram-sha-256", strings.TrimSpace(line))
		}
	}
	if rules == 0 {
		t.Error("pg_hba.conf has no rules")
	}
	wrong := strings.Replace(srv.URL(), srv.passwords.Service, "wrong", 1)
	if conn, err := pgx.Connect(t.Context(), wrong); err == nil {
		conn.Close(t.Context())
		t.Error("a wrong password was let in")
	}
	for _, path := range []string{filepath.Join(srv.data, "passwords.json"), filepath.Join(srv.data, "lock"),
		srv.logPath()} {
		fi, err := os.Stat(path)
		if err != nil {
			t.Fatal(err)
		}
		if fi.Mode().Perm() != 0o600 {
			t.Errorf("%s has mode %o, want 600", path, fi.Mode().Perm())
		}
	}
	fi, err := os.Stat(srv.socket)
	if err != nil {
		t.Fatal(err)
	}
	st := fi.Sys().(*syscall.Stat_t)
	if fi.Mode().Perm() != 0o700 || int(st.Uid) != srv.account.uidOf() {
		t.Errorf("the socket's folder has mode %o and owner %d, want 700 and %d", fi.Mode().Perm(), st.Uid,
			srv.account.uidOf())
	}
}

func TestRolesOwnAndBypassNothing(t *testing.T) {
	srv := start(t, Options{DataDir: folder(t), Throwaway: true})
	const ask = "select rolsuper or rolbypassrls or rolcreaterole or rolcreatedb from pg_roles where rolname = user"
	for name, url := range map[string]string{"service": srv.URL(), "owner": srv.MigrateURL()} {
		if query[bool](t, url, ask) {
			t.Errorf("the %s role may more than it should", name)
		}
	}
	if err := tryExec(t, srv.URL(), "create table mine (n int)"); err == nil {
		t.Error("the service's role could create a table")
	}
	exec1(t, srv.MigrateURL(), "create table ours (n int)")
	if err := tryExec(t, srv.URL(), "select * from ours"); err == nil {
		t.Error("the service's role could read a table that it was not granted")
	}
}

func TestServerSurvivesTheServiceAndIsAdopted(t *testing.T) {
	dir := folder(t)
	svc := startService(t, dir)
	svc.kill(t)
	if stateOf(svc.pid) != alive {
		t.Fatal("the server did not outlive the service")
	}
	srv := start(t, Options{DataDir: dir})
	if !srv.Adopted() || srv.PID() != svc.pid {
		t.Errorf("adopted %v process %d, want the running process %d", srv.Adopted(), srv.PID(), svc.pid)
	}
	if err := srv.Stop(t.Context()); err != nil {
		t.Fatal(err)
	}
	if stateOf(svc.pid) == alive {
		t.Error("Stop left the adopted server running")
	}
	select {
	case <-srv.Done():
	default:
		t.Error("Done is open after Stop")
	}
}

func TestCommittedRowsSurviveTheDeathOfBoth(t *testing.T) {
	dir := folder(t)
	srv := start(t, Options{DataDir: dir}) // flushed as in service: a throwaway one may lose its last commits
	exec1(t, srv.MigrateURL(), "create table kept (n int); insert into kept select generate_series(1, 1000)")
	if err := syscall.Kill(srv.PID(), syscall.SIGKILL); err != nil {
		t.Fatal(err)
	}
	<-srv.Done()
	if err := srv.Stop(t.Context()); err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(filepath.Join(srv.cluster(), "postmaster.pid")); err != nil {
		t.Fatalf("the killed server left no pid file, so this test shows nothing: %v", err)
	}
	again := start(t, Options{DataDir: dir})
	if got := query[int](t, again.MigrateURL(), "select count(*) from kept"); got != 1000 {
		t.Errorf("%d rows after recovery, want 1000", got)
	}
}

func TestStalePidFiles(t *testing.T) {
	// A process that is dead but not waited for: kill(pid, 0) still succeeds.
	ghost := exec.Command("true")
	out, err := ghost.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := ghost.Start(); err != nil {
		t.Fatal(err)
	}
	_, _ = io.Copy(io.Discard, out) // ends when the process has closed its output
	if err := every(t.Context(), time.Millisecond,
		func() bool { return stateOf(ghost.Process.Pid) == zombie }); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = ghost.Wait() })

	dir := folder(t)
	srv := start(t, Options{DataDir: dir, Throwaway: true})
	cluster := srv.cluster()
	if err := srv.Stop(t.Context()); err != nil {
		t.Fatal(err)
	}
	for name, content := range map[string]string{
		"zombie":              fmt.Sprintf("%d\n%s\n1\n5432\n%s\n\n\nready\n", ghost.Process.Pid, cluster, srv.socket),
		"stranger":            fmt.Sprintf("%d\n%s\n1\n5432\n%s\n\n\nready\n", os.Getpid(), cluster, srv.socket),
		"no such process":     "999999999\n",
		"torn before the pid": "",
	} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(cluster, "postmaster.pid")
			if err := os.WriteFile(path, []byte(content), 0o600); err != nil {
				t.Fatal(err)
			}
			if err := srv.account.own(path); err != nil {
				t.Fatal(err)
			}
			again, err := Start(t.Context(), Options{DataDir: dir, Throwaway: true})
			if err != nil {
				t.Fatal(err)
			}
			if again.Adopted() {
				t.Error("a server that is not there was adopted")
			}
			if err := again.Stop(t.Context()); err != nil {
				t.Error(err)
			}
		})
	}
}

// Killed at the worst moments of its very first start, the service comes up at
// the next.
func TestAFirstStartThatIsKilled(t *testing.T) {
	for moment, seen := range map[string]string{
		"while the cluster is made":    "postgres/aside-*/base",
		"while it is renamed":          "postgres/cluster/PG_VERSION",
		"while the server starts":      "postgres/cluster/postmaster.pid",
		"while the passwords are made": "passwords.json",
	} {
		t.Run(moment, func(t *testing.T) {
			dir := folder(t)
			svc := beginService(t, dir)
			err := every(t.Context(), time.Millisecond, func() bool {
				found, err := filepath.Glob(filepath.Join(dir, seen))
				return err != nil || len(found) > 0
			})
			if err != nil {
				t.Fatal(err)
			}
			svc.kill(t)
			srv := start(t, Options{DataDir: dir, Throwaway: true})
			if query[int](t, srv.URL(), "select 1") != 1 {
				t.Error("no answer")
			}
			if query[bool](t, srv.URL(), "select rolsuper from pg_roles where rolname = user") {
				t.Error("the service's role is a superuser")
			}
		})
	}
}

func TestASecondServiceIsLockedOut(t *testing.T) {
	dir := folder(t)
	svc := startService(t, dir)
	_, err := Start(t.Context(), Options{DataDir: dir})
	if !errors.Is(err, fault.Conflict) {
		t.Fatalf("a second service got %v, want a conflict", err)
	}
	for _, want := range []string{"DRYSLOT_DATA", fmt.Sprint(svc.cmd.Process.Pid)} {
		if !strings.Contains(err.Error(), want) {
			t.Errorf("%q does not name %s", err, want)
		}
	}
	if err := svc.stdin.Close(); err != nil {
		t.Fatal(err)
	}
	if err := svc.cmd.Wait(); err != nil {
		t.Fatalf("the service did not stop well: %v", err)
	}
	if stateOf(svc.pid) == alive {
		t.Error("the server outlived a service that stopped in good order")
	}
}
