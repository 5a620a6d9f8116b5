package local

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"dryslot/internal/fault"
)

// Running returns the owner's connection to the server that works on a DataDir
// now, for upkeep beside the service that started it. With no server, or one
// that is starting or stopping, it is fault.NotFound.
func Running(dir string) (ownerURL string, err error) {
	none := func(cause error) (string, error) {
		return "", fault.Wrap(fault.NotFound, "no PostgreSQL works on "+dir, cause)
	}
	abs, err := filepath.Abs(dir)
	if err != nil {
		return "", fmt.Errorf("local: DRYSLOT_DATA: %w", err)
	}
	s := &Server{}
	if s.data, err = filepath.EvalSymlinks(abs); errors.Is(err, fs.ErrNotExist) {
		return none(err)
	} else if err != nil {
		return "", fmt.Errorf("local: DRYSLOT_DATA: %w", err)
	}
	if s.home, _, err = s.placed(); err != nil {
		return "", err
	}
	s.home = resolved(s.home)
	p, found, err := readPidFile(s.cluster())
	switch {
	case errors.Is(err, os.ErrPermission):
		return "", fault.Wrap(fault.Forbidden, "the database in "+s.home+
			" is another user's: run this as the service's", err)
	case err != nil:
		return "", err
	case !found || !p.ready || !worksIn(p.pid, s.cluster()):
		return none(nil)
	}
	if err := s.readPasswords(true); err != nil {
		return "", err
	}
	s.socket = p.socket
	return s.MigrateURL(), nil
}
