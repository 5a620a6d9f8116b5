package postgrestest

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
)

// In the environment: how every service's connection sends its statements (the
// default_query_exec_mode of pgx), and whether it goes through PgBouncer.
const (
	ModeKey   = "DRYSLOT_TEST_QUERY_MODE"
	PoolerKey = "DRYSLOT_TEST_POOLER"
)

// asAsked returns a service's connection in the mode that the environment asks
// for, through PgBouncer where it does.
func asAsked(t testing.TB, srv *server, service string) string {
	t.Helper()
	if mode := os.Getenv(ModeKey); mode != "" {
		service += "&default_query_exec_mode=" + mode
	}
	if os.Getenv(PoolerKey) == "" {
		return service
	}
	dir, err := poolerOnce()
	if err != nil {
		t.Fatalf("starting PgBouncer: %v", err)
	}
	u, err := url.Parse(service)
	if err != nil {
		t.Fatal(err)
	}
	q := u.Query()
	q.Set("host", dir)
	q.Set("port", poolerPort)
	u.RawQuery = q.Encode()
	return u.String()
}

var poolerOnce = sync.OnceValues(startPooler)

// poolerPort names PgBouncer's socket; it listens to no network.
const poolerPort = "6432"

// settings of PgBouncer in transaction mode ("PgBouncer config"). What the
// service may send when it connects and PgBouncer can't hand on is named.
const settings = `[databases]
* = host=%s port=%s
[pgbouncer]
listen_addr =
listen_port = ` + poolerPort + `
unix_socket_dir = %[3]s
unix_socket_mode = 0777
auth_type = plain
auth_file = %[3]s/users
pool_mode = transaction
default_pool_size = 40
max_client_conn = 1000
server_check_delay = 0
server_login_retry = 1
ignore_startup_parameters = extra_float_digits, idle_in_transaction_session_timeout
`

// startPooler starts a PgBouncer before the tests' server, and returns the
// folder of its socket.
func startPooler() (dir string, err error) {
	srv, err := once()
	if err != nil {
		return "", err
	}
	p, err := newPooler(srv.URL(), srv.PID())
	if err != nil {
		return "", err
	}
	return p.dir, errors.Join(p.start(), endWithUs(p.cmd.Process.Pid, p.dir))
}

// Pooler is a PgBouncer in transaction mode.
type Pooler struct {
	dir   string // of its socket and its settings
	as    *syscall.SysProcAttr
	cmd   *exec.Cmd
	ended chan struct{}
}

// newPooler writes the settings of a PgBouncer before a server, which is reached
// by a URL and whose process has an id.
func newPooler(service string, pid int) (*Pooler, error) {
	u, err := url.Parse(service)
	if err != nil {
		return nil, err
	}
	dir, err := os.MkdirTemp(folder(), "dryslot-pool-")
	if err != nil {
		return nil, err
	}
	p := &Pooler{dir: dir, as: &syscall.SysProcAttr{Setsid: true}}
	password, _ := u.User.Password()
	q := u.Query()
	for name, text := range map[string]string{
		"ini":   fmt.Sprintf(settings, q.Get("host"), q.Get("port"), dir),
		"users": fmt.Sprintf("%q %q\n", u.User.Username(), password),
	} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			return nil, err
		}
	}
	if os.Geteuid() == 0 { // PgBouncer refuses to run as root: it runs as the server does
		if err := handOver(dir, pid, p.as); err != nil {
			return nil, err
		}
	}
	return p, nil
}

// start starts it, and waits until it listens.
func (p *Pooler) start() error {
	cmd := exec.Command("pgbouncer", filepath.Join(p.dir, "ini"))
	if cmd.Err != nil { // Debian keeps it where a plain user's PATH does not lead
		cmd = exec.Command("/usr/sbin/pgbouncer", filepath.Join(p.dir, "ini"))
	}
	cmd.Env = []string{"LC_ALL=C", "PATH=" + os.Getenv("PATH") + ":/usr/sbin"}
	cmd.SysProcAttr = p.as
	log, err := cmd.StderrPipe()
	if err != nil {
		return err
	}
	if err := cmd.Start(); err != nil {
		return err
	}
	p.cmd, p.ended = cmd, make(chan struct{})
	lines, said := bufio.NewReader(log), &bytes.Buffer{}
	for {
		line, err := lines.ReadString('\n')
		said.WriteString(line)
		if strings.Contains(line, "process up") {
			break
		}
		if err != nil {
			return fmt.Errorf("%w: %s", err, said)
		}
	}
	go func() {
		_, _ = io.Copy(io.Discard, lines)
		_ = cmd.Wait() // killed, as tests do
		close(p.ended)
	}()
	return nil
}

// kill ends it by SIGKILL.
func (p *Pooler) kill() error {
	if err := p.cmd.Process.Kill(); err != nil {
		return err
	}
	<-p.ended
	return nil
}

// handOver gives a folder to the account of a process, and lets a command run
// as it.
func handOver(dir string, pid int, attr *syscall.SysProcAttr) error {
	fi, err := os.Stat("/proc/" + strconv.Itoa(pid))
	if err != nil {
		return err
	}
	st, ok := fi.Sys().(*syscall.Stat_t)
	if !ok {
		return fmt.Errorf("the account of process %d can't be read", pid)
	}
	attr.Credential = &syscall.Credential{Uid: st.Uid, Gid: st.Gid}
	for _, path := range []string{filepath.Join(dir, "ini"), filepath.Join(dir, "users"), dir} {
		if err := os.Chown(path, int(st.Uid), int(st.Gid)); err != nil {
			return err
		}
	}
	return os.Chmod(dir, 0o755)
}
