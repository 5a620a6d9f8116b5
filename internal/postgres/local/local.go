package local

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/url"
	"os"
	"path/filepath"
	"sync"
	"syscall"
	"time"

	"dryslot/internal/fault"
)

// The names inside the cluster.
const (
	adminRole   = "dryslot_admin"
	ownerRole   = "dryslot_owner"
	serviceRole = "dryslot_service"
	database    = "dryslot"
	port        = "5432" // of the socket's name only: nothing listens on a network
)

// startLimit is how long a start may take when ctx sets no earlier end. A
// recovery after a crash reads what was written since the last checkpoint,
// which is rarely more than some seconds' work.
const startLimit = 2 * time.Minute

// pollEvery is how often a server that is starting or stopping is looked at.
const pollEvery = 20 * time.Millisecond

// Options says where and how.
type Options struct {
	DataDir string       // DRYSLOT_DATA; made when it is not there
	Log     *slog.Logger // nil: nothing is said

	// Look names the folders to look for initdb and postgres in; nil: PATH and
	// the usual ones.
	Look []string
	// Spare is where the cluster goes when the server's user cannot enter
	// DataDir, which happens only when the service is root; empty: /var/lib/dryslot.
	Spare string
	// Throwaway makes a cluster that need not survive the machine's failure:
	// nothing is flushed to disk. For tests; never for a builder's data.
	Throwaway bool
}

// Server is a running PostgreSQL server.
type Server struct {
	log       *slog.Logger
	data      string // DataDir, absolute
	home      string // holds cluster and run
	account   *account
	bin       binaries
	throwaway bool
	socket    string // folder of the socket
	passwords passwords
	locks     []*os.File
	pid       int
	adopted   bool
	done      chan struct{} // closed when the server has ended
	stopping  sync.Mutex
	stopped   bool // by Stop, all the way
}

// Start returns a server on DataDir that takes connections: a new one, or one
// that outlived the service that started it. One service uses a DataDir at a
// time. Errors name what to install, change or remove.
func Start(ctx context.Context, o Options) (_ *Server, err error) {
	ctx, cancel := context.WithTimeout(ctx, startLimit)
	defer cancel()
	s := &Server{log: o.Log, throwaway: o.Throwaway, done: make(chan struct{})}
	if s.log == nil {
		s.log = slog.New(slog.DiscardHandler)
	}
	defer func() {
		if err != nil {
			s.unlock()
		}
	}()
	if s.data, err = dataFolder(o.DataDir); err != nil {
		return nil, err
	}
	if err := s.lock(ctx, s.data); err != nil {
		return nil, err
	}
	if err := s.settle(o); err != nil {
		return nil, err
	}
	// A copy of DataDir may name the same folder: it has a lock of its own.
	if err := s.lock(ctx, s.home); err != nil {
		return nil, err
	}
	if err := s.makeCluster(ctx); err != nil {
		return nil, err
	}
	if err := s.run(ctx); err != nil {
		return nil, err
	}
	if err := s.ensureRoles(ctx); err != nil {
		stop, cancel := context.WithTimeout(context.WithoutCancel(ctx), 20*time.Second)
		defer cancel()
		return nil, errors.Join(err, s.Stop(stop))
	}
	return s, nil
}

// URL returns the service's connection: a role that owns nothing.
func (s *Server) URL() string { return s.urlOf(serviceRole, s.passwords.Service, database) }

// MigrateURL returns the owner's connection, for migrations.
func (s *Server) MigrateURL() string { return s.urlOf(ownerRole, s.passwords.Owner, database) }

// AdminURL returns the superuser's connection to one database of the server,
// for upkeep such as a backup. The service itself never uses it.
func (s *Server) AdminURL(db string) string { return s.urlOf(adminRole, s.passwords.Admin, db) }

// ServiceRole returns the name of the role of URL.
func (s *Server) ServiceRole() string { return serviceRole }

// PID returns the server's process id.
func (s *Server) PID() int { return s.pid }

// Adopted reports whether the server was running already.
func (s *Server) Adopted() bool { return s.adopted }

// Folder returns the folder that holds the cluster.
func (s *Server) Folder() string { return s.home }

// Done is closed when the server has ended, by Stop or by itself.
func (s *Server) Done() <-chan struct{} { return s.done }

func (s *Server) urlOf(role, password, db string) string {
	q := url.Values{"host": {s.socket}, "port": {port}, "sslmode": {"disable"}}
	u := url.URL{Scheme: "postgres", User: url.UserPassword(role, password), Path: "/" + db, RawQuery: q.Encode()}
	return u.String()
}

// Stop ends the server in good order: running statements are broken off, all
// that was committed is kept. When ctx ends first the server is left to
// finish, and the next start adopts it or waits for it. Stop may be called
// more than once.
func (s *Server) Stop(ctx context.Context) error {
	s.stopping.Lock()
	defer s.stopping.Unlock()
	if s.stopped {
		return nil
	}
	defer s.unlock()
	// SIGINT is PostgreSQL's fast shutdown. It goes to the process alone: the
	// process group may hold others.
	if err := s.signal(syscall.SIGINT); err != nil {
		return err
	}
	select {
	case <-s.done:
	case <-ctx.Done():
		return fault.Wrap(fault.Unavailable, fmt.Sprintf("PostgreSQL (process %d) is still stopping", s.pid), ctx.Err())
	}
	s.stopped = true
	if filepath.Dir(s.socket) != s.home {
		_ = os.Remove(s.socket) // empty now; one left behind is used again
	}
	return nil
}

// signal sends sig to the server if it is still ours.
func (s *Server) signal(sig syscall.Signal) error {
	select {
	case <-s.done:
		return nil
	default:
	}
	if err := syscall.Kill(s.pid, sig); err != nil && !errors.Is(err, syscall.ESRCH) {
		return fmt.Errorf("local: stopping PostgreSQL (process %d): %w", s.pid, err)
	}
	return nil
}

// every calls look at each interval until it returns true, or returns ctx's error.
func every(ctx context.Context, interval time.Duration, look func() bool) error {
	tick := time.NewTicker(interval)
	defer tick.Stop()
	for !look() {
		select {
		case <-tick.C:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
	return nil
}
