package local

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"dryslot/internal/fault"
)

func TestALongPathStillGetsASocket(t *testing.T) {
	dir := filepath.Join(folder(t), strings.Repeat("long-", 20), strings.Repeat("path-", 20))
	srv := start(t, Options{DataDir: dir, Throwaway: true})
	if n := len(filepath.Join(srv.socket, ".s.PGSQL."+port)); n > longestSocket {
		t.Errorf("the socket's path has %d bytes, want %d at most", n, longestSocket)
	}
	if err := srv.Stop(t.Context()); err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(srv.socket); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("the socket's folder %s outlived the server: %v", srv.socket, err)
	}
}

func TestAForeignSocketFolderIsRefused(t *testing.T) {
	dir := folder(t)
	s := &Server{home: filepath.Join(dir, strings.Repeat("x", 120))}
	t.Setenv("TMPDIR", dir)
	s.account = &account{name: "somebody", uid: os.Geteuid() + 1, gid: os.Getegid()}
	own, err := (&Server{home: s.home}).socketFolder()
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(own, 0o755); err != nil {
		t.Fatal(err)
	}
	if _, err := (&Server{home: s.home}).socketFolder(); !errors.Is(err, fault.Forbidden) {
		t.Errorf("a socket folder open to all gave %v, want forbidden", err)
	}
}

// A checkout under a closed home: the service's user may enter it, the
// server's, when the service is root, may not.
func TestAClosedFolder(t *testing.T) {
	base := folder(t)
	closed := filepath.Join(base, "closed")
	if err := os.Mkdir(closed, 0o700); err != nil {
		t.Fatal(err)
	}
	o := Options{DataDir: filepath.Join(closed, "data"), Spare: filepath.Join(base, "spare"), Throwaway: true}
	srv := start(t, o)
	want := filepath.Join(o.DataDir, "postgres")
	if os.Geteuid() == 0 {
		want = filepath.Join(o.Spare, shortHash(srv.data))
	}
	if srv.Folder() != want {
		t.Errorf("the cluster lies in %s, want %s", srv.Folder(), want)
	}
	exec1(t, srv.MigrateURL(), "create table kept (n int)")
	if err := srv.Stop(t.Context()); err != nil {
		t.Fatal(err)
	}
	o.Spare = filepath.Join(base, "another")
	again := start(t, o)
	if again.Folder() != want {
		t.Errorf("the cluster was found in %s, want %s", again.Folder(), want)
	}
	if got := query[int](t, again.MigrateURL(), "select count(*) from kept"); got != 0 {
		t.Errorf("%d rows", got)
	}
}

func TestALostFolderIsNotReplacedByAnEmptyOne(t *testing.T) {
	dir := folder(t)
	gone := filepath.Join(dir, "gone")
	if err := os.WriteFile(filepath.Join(dir, folderRecord), []byte(gone+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	_, err := Start(t.Context(), Options{DataDir: dir})
	if !errors.Is(err, fault.Unavailable) || !strings.Contains(err.Error(), gone) {
		t.Errorf("got %v, want an error that names %s", err, gone)
	}
}

func TestNoPostgreSQLNamesWhatToInstall(t *testing.T) {
	_, err := Start(t.Context(), Options{DataDir: folder(t), Look: []string{t.TempDir()}})
	if !errors.Is(err, fault.Unavailable) {
		t.Fatalf("got %v, want unavailable", err)
	}
	for _, want := range []string{"apt-get install postgresql", "brew install postgresql", "DATABASE_URL"} {
		if !strings.Contains(err.Error(), want) {
			t.Errorf("%q does not say %q", err, want)
		}
	}
}

func TestAnotherVersionsClusterIsRefused(t *testing.T) {
	dir := folder(t)
	cluster := filepath.Join(dir, "postgres", "cluster")
	if err := os.MkdirAll(cluster, 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(cluster, "PG_VERSION"), []byte("9\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	_, err := Start(t.Context(), Options{DataDir: dir})
	if !errors.Is(err, fault.Unavailable) || !strings.Contains(err.Error(), "PostgreSQL 9") {
		t.Errorf("got %v, want an error that names PostgreSQL 9", err)
	}
}

func TestAKilledInitdbLeavesNothingInTheWay(t *testing.T) {
	dir := folder(t)
	aside := filepath.Join(dir, "postgres", "aside-123")
	if err := os.MkdirAll(aside, 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(aside, "PG_VERSION"), []byte("15\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	srv := start(t, Options{DataDir: dir, Throwaway: true})
	if _, err := os.Stat(aside); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("%s is still there: %v", aside, err)
	}
	if query[int](t, srv.URL(), "select 1") != 1 {
		t.Error("no answer")
	}
}

func TestLostPasswordsAreSaidToBeLost(t *testing.T) {
	dir := folder(t)
	srv := start(t, Options{DataDir: dir, Throwaway: true})
	if err := srv.Stop(t.Context()); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(dir, "passwords.json")
	if err := os.Remove(path); err != nil {
		t.Fatal(err)
	}
	if _, err := Start(t.Context(), Options{DataDir: dir}); !errors.Is(err, fault.Unavailable) ||
		!strings.Contains(err.Error(), path) {
		t.Errorf("got %v, want an error that names %s", err, path)
	}
}

func TestTheServerHasASessionOfItsOwn(t *testing.T) {
	srv := start(t, Options{DataDir: folder(t), Throwaway: true})
	group, err := syscall.Getpgid(srv.PID())
	if err != nil {
		t.Fatal(err)
	}
	if group != srv.PID() || group == syscall.Getpgrp() {
		t.Errorf("the server is in group %d, ours is %d: a Ctrl-C would reach it", group, syscall.Getpgrp())
	}
}

func TestNewestFolderFirst(t *testing.T) {
	for path, want := range map[string]int{
		"/usr/lib/postgresql/9/bin": 9, "/usr/lib/postgresql/16/bin": 16, "/opt/homebrew/opt/postgresql@17/bin": 17,
		"/usr/local/opt/postgresql/bin": 0,
	} {
		if got := lastNumber(path); got != want {
			t.Errorf("lastNumber(%s) = %d, want %d", path, got, want)
		}
	}
}
