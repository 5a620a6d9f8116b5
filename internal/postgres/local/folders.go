package local

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"syscall"

	"dryslot/internal/fault"
)

// folderRecord is the file in DataDir that says where the cluster lies when it
// could not lie in DataDir.
const folderRecord = "postgres-folder"

// dataFolder makes DRYSLOT_DATA when it is not there and returns its real path.
func dataFolder(dir string) (string, error) {
	if dir == "" {
		return "", fault.New(fault.Invalid, "DRYSLOT_DATA is empty: name a folder")
	}
	abs, err := filepath.Abs(dir)
	if err != nil {
		return "", fmt.Errorf("local: DRYSLOT_DATA: %w", err)
	}
	if err := makeFolder(abs, folderMode()); err != nil {
		return "", fmt.Errorf("local: DRYSLOT_DATA: %w", err)
	}
	real, err := filepath.EvalSymlinks(abs)
	if err != nil {
		return "", fmt.Errorf("local: DRYSLOT_DATA: %w", err)
	}
	return real, nil
}

// folderMode is the mode of folders on the way to the cluster: entered by
// nobody else, but when the service is root the server's user has to pass.
func folderMode() fs.FileMode {
	if os.Geteuid() == 0 {
		return 0o711
	}
	return 0o700
}

// makeFolder makes a folder with exactly this mode unless it is there.
func makeFolder(path string, mode fs.FileMode) error {
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return err
	}
	err := os.Mkdir(path, mode)
	switch {
	case errors.Is(err, fs.ErrExist):
		fi, err := os.Stat(path)
		if err == nil && !fi.IsDir() {
			err = &fs.PathError{Op: "mkdir", Path: path, Err: syscall.ENOTDIR}
		}
		return err
	case err != nil:
		return err
	}
	return os.Chmod(path, mode) // the umask may have taken bits away
}

// placed returns the folder that holds the cluster, and whether it is one
// outside DataDir that was recorded there.
func (s *Server) placed() (home string, recorded bool, err error) {
	b, err := os.ReadFile(filepath.Join(s.data, folderRecord))
	if errors.Is(err, fs.ErrNotExist) {
		return filepath.Join(s.data, "postgres"), false, nil
	}
	if err != nil {
		return "", false, fmt.Errorf("local: where the database lies: %w", err)
	}
	home = strings.TrimSpace(string(b))
	if _, err := os.Stat(home); err != nil {
		return "", true, fault.Wrap(fault.Unavailable,
			fmt.Sprintf(
				"%s says that the database lies in %s, which can't be read: "+
					"put it back, or remove that file to begin with an empty database",
				filepath.Join(s.data, folderRecord), home), err)
	}
	return home, true, nil
}

// settle finds the folder, the account and the binaries of the server.
func (s *Server) settle(o Options) error {
	look := o.Look
	if look == nil {
		look = usualFolders()
	}
	home, recorded, err := s.placed()
	if err != nil {
		return err
	}
	s.home = home
	if s.account, err = serverAccount(s.cluster()); err != nil {
		return err
	}
	major, err := clusterVersion(s.cluster())
	if err != nil {
		return err
	}
	if s.bin, err = find(look, s.account, major); err != nil {
		return err
	}
	if err := makeFolder(s.home, folderMode()); err != nil {
		return fmt.Errorf("local: DRYSLOT_DATA: %w", err)
	}
	s.home = resolved(s.home)
	ok, err := s.account.reaches(s.home, s.bin)
	if err != nil || ok {
		return err
	}
	if recorded || major != 0 {
		return fault.New(fault.Unavailable,
			fmt.Sprintf("%s can't enter %s any more, where the database lies: open the folders above it (chmod a+x)",
				s.account.who(), s.home))
	}
	return s.moveAside(o.Spare)
}

// moveAside takes a folder outside DataDir, since the server's user can't
// enter DataDir, and records it there so that it is found again.
func (s *Server) moveAside(spare string) error {
	if spare == "" {
		spare = "/var/lib/dryslot"
	}
	closed := s.home
	s.home = filepath.Join(spare, shortHash(s.data))
	hint := fmt.Sprintf(
		"%s, as which PostgreSQL runs because the service is root, can't enter %s: name a folder in DRYSLOT_DATA "+
			"that it can",
		s.account.who(), s.data)
	if err := makeFolder(spare, folderMode()); err != nil {
		return fault.Wrap(fault.Unavailable, hint, err)
	}
	if err := makeFolder(s.home, folderMode()); err != nil {
		return fault.Wrap(fault.Unavailable, hint, err)
	}
	s.home = resolved(s.home)
	if ok, err := s.account.reaches(s.home, s.bin); err != nil || !ok {
		return fault.Wrap(fault.Unavailable, hint, err)
	}
	if err := writeWhole(filepath.Join(s.data, folderRecord), []byte(s.home+"\n"), 0o600); err != nil {
		return err
	}
	_ = os.Remove(closed) // empty: made a moment ago
	s.log.Warn("the database lies outside DRYSLOT_DATA, which its user can't enter", "user", s.account.who(), "data",
		s.data, "database", s.home)
	return nil
}

// shortHash names a path in few letters.
func shortHash(path string) string {
	sum := sha256.Sum256([]byte(path))
	return hex.EncodeToString(sum[:6])
}

// longestSocket is the longest socket path in bytes that every system takes:
// Linux ends at 107, macOS at 103.
const longestSocket = 103

var plainPath = regexp.MustCompile(`^[A-Za-z0-9/._-]+$`)

// socketFolder returns a folder for the socket that only the server's user can
// enter, short enough for a socket's path.
func (s *Server) socketFolder() (string, error) {
	fits := func(dir string) bool {
		return len(filepath.Join(dir, ".s.PGSQL."+port)) <= longestSocket && plainPath.MatchString(dir)
	}
	dir := filepath.Join(s.home, "run")
	if !fits(dir) {
		name := "dryslot-" + strconv.Itoa(s.account.uidOf()) + "-" + shortHash(s.home)
		if dir = filepath.Join(os.TempDir(), name); !fits(dir) {
			dir = filepath.Join("/tmp", name)
		}
	}
	err := os.Mkdir(dir, 0o700)
	if err == nil {
		return dir, s.account.own(dir)
	}
	if !errors.Is(err, fs.ErrExist) {
		return "", fmt.Errorf("local: the socket's folder: %w", err)
	}
	// It is there already. In a folder that all may write to, somebody else
	// could have made it: then it is not used.
	fi, err := os.Lstat(dir)
	if err != nil {
		return "", fmt.Errorf("local: the socket's folder: %w", err)
	}
	st, ok := fi.Sys().(*syscall.Stat_t)
	if ok && fi.IsDir() && int(st.Uid) == os.Geteuid() && int(st.Uid) != s.account.uidOf() {
		return dir, s.account.own(dir) // a start that was killed before it gave it away
	}
	if !ok || !fi.IsDir() || int(st.Uid) != s.account.uidOf() || fi.Mode().Perm() != 0o700 {
		return "", fault.New(fault.Forbidden, fmt.Sprintf("%s must be a folder that only %s can enter: remove it", dir,
			s.account.who()))
	}
	return dir, nil
}
