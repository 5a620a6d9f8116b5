package local

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"os/user"
	"strconv"
	"syscall"

	"dryslot/internal/fault"
)

// account is the system user that the server runs as, when it is not the
// service's own. PostgreSQL refuses to run as root.
type account struct {
	name     string
	uid, gid int
}

// serverAccount returns nil when the service is not root. Else it returns the
// owner of a cluster that is there already, or postgres, or nobody.
func serverAccount(cluster string) (*account, error) {
	if os.Geteuid() != 0 {
		return nil, nil
	}
	if fi, err := os.Stat(cluster); err == nil {
		if st, ok := fi.Sys().(*syscall.Stat_t); ok && st.Uid != 0 {
			return &account{name: "user " + strconv.Itoa(int(st.Uid)), uid: int(st.Uid), gid: int(st.Gid)}, nil
		}
	}
	for _, name := range []string{"postgres", "nobody"} {
		u, err := user.Lookup(name)
		if err != nil {
			continue
		}
		uid, err := strconv.Atoi(u.Uid)
		if err != nil {
			return nil, fmt.Errorf("local: the user id of %s: %w", name, err)
		}
		gid, err := strconv.Atoi(u.Gid)
		if err != nil {
			return nil, fmt.Errorf("local: the group id of %s: %w", name, err)
		}
		return &account{name: name, uid: uid, gid: gid}, nil
	}
	return nil, fault.New(fault.Unavailable,
		"PostgreSQL does not run as root, and there is neither a user postgres nor nobody: "+
			"run the service as a plain user, or name a database in DATABASE_URL")
}

func (a *account) who() string {
	if a == nil {
		return "this user"
	}
	return a.name
}

// command prepares a program of PostgreSQL's to run as the account in its own
// session, so that a Ctrl-C meant for the service does not reach it.
func (a *account) command(dir, name string, args ...string) *exec.Cmd {
	cmd := exec.Command(name, args...)
	cmd.Dir = dir
	cmd.Env = []string{"PATH=" + os.Getenv("PATH"), "LC_ALL=C", "TZ=UTC"}
	cmd.SysProcAttr = &syscall.SysProcAttr{Setsid: true}
	if a != nil {
		cmd.SysProcAttr.Credential = &syscall.Credential{Uid: uint32(a.uid), Gid: uint32(a.gid)}
	}
	return cmd
}

// reaches reports whether the account can work in dir. A program that is
// known to run is started there: the kernel changes folder as the account, so
// every right on the way counts, whatever kind it is.
func (a *account) reaches(dir string, b binaries) (bool, error) {
	err := a.command(dir, b.path("postgres"), "--version").Run()
	if errors.Is(err, syscall.EACCES) {
		return false, nil
	}
	if err != nil {
		return false, fmt.Errorf("local: running PostgreSQL in %s as %s: %w", dir, a.who(), err)
	}
	return true, nil
}

// own gives a path to the account.
func (a *account) own(path string) error {
	if a == nil {
		return nil
	}
	if err := os.Lchown(path, a.uid, a.gid); err != nil {
		return fmt.Errorf("local: giving %s to %s: %w", path, a.name, err)
	}
	return nil
}

// uidOf returns the user id that the server runs under.
func (a *account) uidOf() int {
	if a == nil {
		return os.Geteuid()
	}
	return a.uid
}

func firstLine(b []byte) string {
	line, _, _ := bytes.Cut(bytes.TrimSpace(b), []byte("\n"))
	return string(line)
}
