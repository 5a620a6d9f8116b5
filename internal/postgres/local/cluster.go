package local

import (
	"bytes"
	"context"
	"crypto/rand"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"dryslot/internal/fault"
)

// passwords are those of the cluster's roles.
type passwords struct {
	Admin   string `json:"admin"`
	Owner   string `json:"owner"`
	Service string `json:"service"`
}

func (s *Server) cluster() string { return filepath.Join(s.home, "cluster") }

// clusterVersion returns the PostgreSQL version that made a cluster, 0 where
// there is none.
func clusterVersion(dir string) (int, error) {
	b, err := os.ReadFile(filepath.Join(dir, "PG_VERSION"))
	if errors.Is(err, fs.ErrNotExist) {
		return 0, nil
	}
	if err != nil {
		return 0, fmt.Errorf("local: the database's version: %w", err)
	}
	v, err := strconv.Atoi(strings.TrimSpace(string(b)))
	if err != nil {
		return 0, fmt.Errorf("local: the database's version in %s: %w", dir, err)
	}
	return v, nil
}

// makeCluster makes the cluster unless it is there. It is made aside and
// renamed when it is whole, because a killed initdb leaves a folder that
// PostgreSQL refuses.
func (s *Server) makeCluster(ctx context.Context) error {
	leftovers, err := filepath.Glob(filepath.Join(s.home, "aside-*"))
	if err != nil {
		return fmt.Errorf("local: looking for leftovers: %w", err)
	}
	for _, dir := range leftovers {
		if err := os.RemoveAll(dir); err != nil {
			// An initdb that outlived its service may still be writing there.
			s.log.Info("a killed start left a folder that can't be removed yet", "folder", dir, "error", err)
		}
	}
	version, err := clusterVersion(s.cluster())
	if err != nil {
		return err
	}
	if err := s.readPasswords(version != 0); err != nil || version != 0 {
		return err
	}
	if _, err := os.Lstat(s.cluster()); err == nil {
		return fault.New(fault.Conflict,
			s.cluster()+" is no PostgreSQL cluster: remove it, or name another folder in DRYSLOT_DATA")
	}
	s.log.Info("making a PostgreSQL cluster", "folder", s.cluster(), "version", s.bin.major)
	aside, err := os.MkdirTemp(s.home, "aside-")
	if err != nil {
		return fmt.Errorf("local: making the cluster: %w", err)
	}
	if err := s.initdb(ctx, aside); err != nil {
		return errors.Join(err, os.RemoveAll(aside))
	}
	if err := os.Rename(aside, s.cluster()); err != nil {
		return fmt.Errorf("local: making the cluster: %w", err)
	}
	return syncFolder(s.home)
}

// initdb fills an empty folder of the server's user with a cluster in which
// every connection has to know a password.
func (s *Server) initdb(ctx context.Context, dir string) error {
	if err := s.account.own(dir); err != nil {
		return err
	}
	pw, err := os.CreateTemp(s.home, "aside-pw-")
	if err != nil {
		return fmt.Errorf("local: making the cluster: %w", err)
	}
	defer os.Remove(pw.Name())
	_, err = pw.WriteString(s.passwords.Admin + "\n")
	if err = errors.Join(err, pw.Close(), s.account.own(pw.Name())); err != nil {
		return fmt.Errorf("local: making the cluster: %w", err)
	}
	args := []string{"-D", dir, "-U", adminRole, "--auth=scram-sha-256", "--pwfile=" + pw.Name(),
		"--encoding=UTF8", "--locale=C"}
	if s.throwaway {
		args = append(args, "--no-sync")
	}
	cmd := s.account.command("/", s.bin.path("initdb"), args...)
	var out bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &out
	if err := cmd.Start(); err != nil {
		return fmt.Errorf("local: initdb as %s: %w", s.account.who(), err)
	}
	stop := context.AfterFunc(ctx, func() { _ = cmd.Process.Kill() })
	defer stop()
	if err := cmd.Wait(); err != nil {
		return errors.Join(fmt.Errorf("local: initdb: %w: %s", err, lastLines(out.Bytes(), 5)), ctx.Err())
	}
	return nil
}

// readPasswords reads the roles' passwords, or makes them where there is no
// cluster yet.
func (s *Server) readPasswords(clusterThere bool) error {
	path := filepath.Join(s.data, "passwords.json")
	b, err := os.ReadFile(path)
	if err == nil {
		if err := json.Unmarshal(b, &s.passwords); err != nil {
			return fault.Wrap(fault.Unreadable, path+" does not hold the database's passwords", err)
		}
		return nil
	}
	if !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("local: the database's passwords: %w", err)
	}
	if clusterThere {
		return fault.Wrap(fault.Unavailable, fmt.Sprintf(
			"the database in %s has passwords that %s held: put it back, name another folder in DRYSLOT_DATA, "+
				"or remove %s to begin with an empty database", s.cluster(), path, s.home), err)
	}
	s.passwords = passwords{newPassword(), newPassword(), newPassword()}
	if b, err = json.Marshal(s.passwords); err != nil {
		return fmt.Errorf("local: the database's passwords: %w", err)
	}
	return writeWhole(path, b, 0o600)
}

func newPassword() string {
	b := make([]byte, 24)
	_, _ = rand.Read(b) // never fails: crypto/rand ends the program instead
	return hex.EncodeToString(b)
}

// writeWhole writes a file so that after a crash it is there whole or not at all.
func writeWhole(path string, content []byte, mode fs.FileMode) error {
	f, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+"-")
	if err != nil {
		return fmt.Errorf("local: writing %s: %w", path, err)
	}
	defer os.Remove(f.Name()) // nothing is there once it is renamed
	_, err = f.Write(content)
	if err = errors.Join(err, f.Chmod(mode), f.Sync(), f.Close()); err != nil {
		return fmt.Errorf("local: writing %s: %w", path, err)
	}
	if err := os.Rename(f.Name(), path); err != nil {
		return fmt.Errorf("local: writing %s: %w", path, err)
	}
	return syncFolder(filepath.Dir(path))
}

func syncFolder(dir string) error {
	f, err := os.Open(dir)
	if err != nil {
		return fmt.Errorf("local: syncing %s: %w", dir, err)
	}
	defer f.Close()
	if err := f.Sync(); err != nil {
		return fmt.Errorf("local: syncing %s: %w", dir, err)
	}
	return nil
}

func lastLines(b []byte, n int) string {
	lines := strings.Split(strings.TrimSpace(string(b)), "\n")
	return strings.Join(lines[max(0, len(lines)-n):], "; ")
}
