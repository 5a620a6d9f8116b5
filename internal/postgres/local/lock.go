package local

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"time"

	"dryslot/internal/fault"
)

// lockWait is how long the lock of a dead service may outlive it: a child that
// it was just starting holds it until it has become another program.
const lockWait = 5 * time.Second

// lock takes a folder for this service until it ends, however it ends: the
// kernel drops the lock with the process. The file stays, since removing it
// would let two services hold two files of one name.
func (s *Server) lock(ctx context.Context, folder string) error {
	path := filepath.Join(folder, "lock")
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE|syscall.O_NOFOLLOW, 0o600)
	if err != nil {
		return fmt.Errorf("local: the lock of DRYSLOT_DATA: %w", err)
	}
	ctx, cancel := context.WithTimeout(ctx, lockWait)
	defer cancel()
	holder := 0
	var failed error
	_ = every(ctx, pollEvery, func() bool { // when time runs out, failed says why
		if failed = syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); !errors.Is(failed,
			syscall.EWOULDBLOCK) {
			return true
		}
		holder = readHolder(f)
		return stateOf(holder) == alive
	})
	if failed != nil {
		f.Close()
		if !errors.Is(failed, syscall.EWOULDBLOCK) {
			return fmt.Errorf("local: locking %s: %w", path, failed)
		}
		return fault.New(fault.Conflict,
			fmt.Sprintf("another service (process %d) uses %s: stop it, or name another folder in DRYSLOT_DATA", holder,
				folder))
	}
	s.locks = append(s.locks, f)
	if _, err := f.WriteAt(fmt.Appendf(nil, "%-20d\n", os.Getpid()), 0); err != nil {
		return fmt.Errorf("local: locking %s: %w", path, err)
	}
	return nil
}

// readHolder returns the process that a lock file names, 0 when it names none.
func readHolder(f *os.File) int {
	b := make([]byte, 20)
	n, _ := f.ReadAt(b, 0) // a short file is one that names nobody yet
	pid, err := strconv.Atoi(strings.TrimSpace(string(b[:n])))
	if err != nil {
		return 0
	}
	return pid
}

func (s *Server) unlock() {
	for _, f := range s.locks {
		f.Close()
	}
	s.locks = nil
}
