package local

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"

	"dryslot/internal/fault"
)

// oldest is the oldest PostgreSQL that serves: 13 brought gen_random_uuid, and
// River asks for a version that is still maintained.
const oldest = 14

const installHint = "install it (Debian, Ubuntu: apt-get install postgresql; Fedora: dnf install postgresql-server; " +
	"macOS: brew install postgresql), or name a database in DATABASE_URL"

// binaries is one installed PostgreSQL.
type binaries struct {
	dir   string
	major int
}

func (b binaries) path(name string) string { return filepath.Join(b.dir, name) }

var digits = regexp.MustCompile(`\d+`)

// usualFolders returns where PostgreSQL's binaries may lie: on PATH first, then
// Debian's, Homebrew's and the PostgreSQL project's folders, newest first.
func usualFolders() []string {
	dirs := filepath.SplitList(os.Getenv("PATH"))
	for _, pattern := range []string{
		"/usr/lib/postgresql/*/bin",
		"/opt/homebrew/opt/postgresql*/bin",
		"/usr/local/opt/postgresql*/bin",
		"/usr/pgsql-*/bin",
	} {
		found, err := filepath.Glob(pattern)
		if err != nil {
			continue // the patterns are ours and well formed
		}
		slices.SortStableFunc(found, func(a, b string) int { return lastNumber(b) - lastNumber(a) })
		dirs = append(dirs, found...)
	}
	return dirs
}

func lastNumber(path string) int {
	all := digits.FindAllString(path, -1)
	if len(all) == 0 {
		return 0
	}
	n, err := strconv.Atoi(all[len(all)-1])
	if err != nil {
		return 0
	}
	return n
}

// find returns the first PostgreSQL in dirs that the account can run and that
// fits a cluster of version major (0: no cluster yet).
func find(dirs []string, a *account, major int) (binaries, error) {
	var others []string
	for _, dir := range dirs {
		b := binaries{dir: dir}
		if !executable(b.path("initdb")) || !executable(b.path("postgres")) {
			continue
		}
		out, err := a.command("/", b.path("postgres"), "--version").Output()
		if err != nil {
			others = append(others, fmt.Sprintf("%s (%s can't run it: %v)", dir, a.who(), err))
			continue
		}
		if b.major, err = strconv.Atoi(digits.FindString(string(out))); err != nil || b.major < oldest ||
			(major != 0 && b.major != major) {
			others = append(others, fmt.Sprintf("%s (%s)", dir, firstLine(out)))
			continue
		}
		return b, nil
	}
	what := fmt.Sprintf("PostgreSQL %d or newer", oldest)
	if major != 0 {
		what = fmt.Sprintf("PostgreSQL %d, which made the database in DRYSLOT_DATA,", major)
	}
	msg := what + " is not on this machine"
	if len(others) > 0 {
		msg += fmt.Sprintf(" (found %v)", others)
	}
	return binaries{}, fault.New(fault.Unavailable, msg+": "+installHint)
}

func executable(path string) bool {
	found, err := exec.LookPath(path)
	return err == nil && filepath.IsAbs(found)
}
