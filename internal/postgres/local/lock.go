package local

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"

	"dryslot/internal/fault"
)

// lock takes a folder for this service until it ends, however it ends: the
// kernel drops the lock with the process. The file stays, since removing it
// would let two services hold two files of one name.
func (s *Server) lock(folder string) error {
	path := filepath.Join(folder, "lock")
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE|syscall.O_NOFOLLOW, 0o600)
	if err != nil {
		return fmt.Errorf("local: the lock of DRYSLOT_DATA: %w", err)
	}
	if err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
		defer f.Close()
		if !errors.Is(err, syscall.EWOULDBLOCK) {
			return fmt.Errorf("local: locking %s: %w", path, err)
		}
		who := "another service"
		if b, err := io.ReadAll(io.LimitReader(f, 20)); err == nil && len(b) > 0 {
			who += " (process " + strings.TrimSpace(string(b)) + ")"
		}
		return fault.New(fault.Conflict, who+" uses "+folder+": stop it, or name another folder in DRYSLOT_DATA")
	}
	s.locks = append(s.locks, f)
	// Who holds it is for people to read; the lock holds without it.
	if err := f.Truncate(0); err == nil {
		_, _ = f.WriteAt([]byte(strconv.Itoa(os.Getpid())+"\n"), 0)
	}
	return nil
}

func (s *Server) unlock() {
	for _, f := range s.locks {
		f.Close()
	}
	s.locks = nil
}
