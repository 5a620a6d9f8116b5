package local

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"dryslot/internal/fault"
)

// largestLog is the size in bytes past which the server's log is set aside at
// the next start; one older log is kept.
const largestLog = 10 << 20

// run adopts the server that is running on the cluster, or starts one.
func (s *Server) run(ctx context.Context) error {
	if s.cluster() != resolved(s.cluster()) {
		return fault.New(fault.Conflict, s.cluster()+" must not be a symbolic link")
	}
	for {
		adopted, err := s.adopt(ctx)
		if err != nil || adopted {
			return err
		}
		again, err := s.start(ctx)
		if err == nil {
			return nil
		}
		if !again || ctx.Err() != nil {
			return err
		}
		// A server or a child of one has yet to end; it does so by itself.
		s.log.Info("PostgreSQL could not start yet", "error", err)
		select {
		case <-time.After(5 * pollEvery):
		case <-ctx.Done():
			return err
		}
	}
}

func resolved(path string) string {
	if real, err := filepath.EvalSymlinks(path); err == nil {
		return real
	}
	return path
}

// adopt takes over a server that works on the cluster already, waiting while
// it starts up or shuts down. It returns false when there is none, and then a
// pid file left by a dead one is out of the way.
func (s *Server) adopt(ctx context.Context) (bool, error) {
	var p pidFile
	var found, adopted bool
	var failed error
	err := every(ctx, pollEvery, func() bool {
		p, found, failed = readPidFile(s.cluster())
		if failed != nil || !found {
			return true
		}
		if !worksIn(p.pid, s.cluster()) {
			// Dead, a zombie, or a stranger with the same number. PostgreSQL
			// would refuse the last two; its children must be gone first.
			if anyWorksIn(s.cluster()) {
				return false
			}
			if failed = os.Remove(filepath.Join(s.cluster(), "postmaster.pid")); errors.Is(failed, os.ErrNotExist) {
				failed = nil
			}
			found = false
			return true
		}
		if !p.ready {
			return false
		}
		s.socket = p.socket
		adopted, failed = s.answers(ctx)
		return adopted || failed != nil
	})
	switch {
	case err != nil && found:
		return false, fault.Wrap(fault.Unavailable,
			fmt.Sprintf("PostgreSQL (process %d) works on %s but does not answer: see %s", p.pid, s.cluster(),
				s.logPath()), err)
	case err != nil || failed != nil:
		return false, errors.Join(err, failed)
	case !adopted:
		return false, nil
	}
	s.pid, s.adopted = p.pid, true
	s.log.Info("found PostgreSQL still running", "process", s.pid)
	go func() { // it is not our child, so it has to be looked at
		_ = every(context.Background(), 5*pollEvery, func() bool { return !worksIn(s.pid, s.cluster()) })
		close(s.done)
	}()
	return true, nil
}

// answers tries one connection as the superuser. It is false when the server
// is stopping after all, and an error when waiting won't help.
func (s *Server) answers(ctx context.Context) (bool, error) {
	ctx, cancel := context.WithTimeout(ctx, 2*time.Second)
	defer cancel()
	conn, err := pgx.Connect(ctx, s.AdminURL("postgres"))
	if err == nil {
		return true, conn.Close(ctx)
	}
	var pg *pgconn.PgError
	if errors.As(err, &pg) && strings.HasPrefix(pg.Code, "28") { // invalid authorization specification
		return false, fault.Wrap(fault.Forbidden, fmt.Sprintf("the database in %s refuses the password in %s",
			s.cluster(), filepath.Join(s.data, "passwords.json")), err)
	}
	return false, nil
}

func (s *Server) logPath() string { return filepath.Join(s.data, "postgres.log") }

// openLog opens the server's log. It is a file and not a pipe, so that the
// server can outlive the service.
func (s *Server) openLog() (*os.File, error) {
	if fi, err := os.Stat(s.logPath()); err == nil && fi.Size() > largestLog {
		if err := os.Rename(s.logPath(), s.logPath()+".old"); err != nil {
			return nil, fmt.Errorf("local: the server's log: %w", err)
		}
	}
	f, err := os.OpenFile(s.logPath(), os.O_RDWR|os.O_CREATE|os.O_APPEND, 0o600)
	if err != nil {
		return nil, fmt.Errorf("local: the server's log: %w", err)
	}
	return f, nil
}

// start starts a server and waits until it takes connections. again says that
// trying once more may help.
func (s *Server) start(ctx context.Context) (again bool, err error) {
	if s.socket, err = s.socketFolder(); err != nil {
		return false, err
	}
	if err := s.clearSocket(); err != nil {
		return false, err
	}
	out, err := s.openLog()
	if err != nil {
		return false, err
	}
	defer out.Close()
	from, err := out.Seek(0, io.SeekEnd)
	if err != nil {
		return false, fmt.Errorf("local: the server's log: %w", err)
	}
	cmd := s.account.command("/", s.bin.path("postgres"), s.settings()...)
	cmd.Stdout, cmd.Stderr = out, out
	if err := cmd.Start(); err != nil {
		return false, fmt.Errorf("local: starting PostgreSQL as %s: %w", s.account.who(), err)
	}
	ended := make(chan struct{})
	go func() {
		_ = cmd.Wait() // reaps it; why it ended stands in its log
		close(ended)
	}()
	s.pid, s.done = cmd.Process.Pid, ended
	var failed error
	err = every(ctx, pollEvery, func() bool {
		var ok bool
		select {
		case <-ended:
			return true
		default:
		}
		// Its own file says so at no cost; trying to connect would start a
		// process of the server's each time.
		if p, found, err := readPidFile(s.cluster()); err != nil || !found || p.pid != s.pid || !p.ready {
			failed = err
			return err != nil
		}
		ok, failed = s.answers(ctx)
		return ok || failed != nil
	})
	select {
	case <-ended:
		said := make([]byte, 16<<10)
		n, _ := out.ReadAt(said, from)
		text := string(said[:n])
		again = strings.Contains(text, "postmaster.pid") || strings.Contains(text, "shared memory block")
		return again, fault.New(fault.Unavailable, fmt.Sprintf("PostgreSQL did not start (%s): %s", s.logPath(),
			lastLines(said[:n], 4)))
	default:
	}
	if err = errors.Join(err, failed); err != nil {
		_ = cmd.Process.Signal(os.Interrupt)
		return false, fault.Wrap(fault.Unavailable, "PostgreSQL started but takes no connections: see "+
			s.logPath(), err)
	}
	return false, nil
}

// clearSocket removes a dead server's socket and its lock, which names a
// process id that may be another's by now. The folder is this cluster's alone.
func (s *Server) clearSocket() error {
	if anyWorksIn(s.cluster()) {
		return nil
	}
	for _, name := range []string{".s.PGSQL." + port, ".s.PGSQL." + port + ".lock"} {
		if err := os.Remove(filepath.Join(s.socket, name)); err != nil && !errors.Is(err, os.ErrNotExist) {
			return fmt.Errorf("local: a dead server's socket: %w", err)
		}
	}
	return nil
}

// settings are the server's arguments.
func (s *Server) settings() []string {
	set := []string{
		"listen_addresses=", // no network at all
		"unix_socket_directories=" + s.socket,
		"unix_socket_permissions=0700",
		"port=" + port,
		"password_encryption=scram-sha-256",
		"logging_collector=off",
		"log_destination=stderr",
		"log_line_prefix=%m [%p] ",
		"timezone=UTC",
	}
	if s.throwaway {
		set = append(set, "fsync=off", "full_page_writes=off", "synchronous_commit=off")
	}
	args := []string{"-D", s.cluster()}
	for _, v := range set {
		args = append(args, "-c", v)
	}
	return args
}
