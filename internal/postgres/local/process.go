package local

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
)

// pidFile is what a server writes about itself into its cluster's folder
// (PostgreSQL, "Database File Layout": postmaster.pid).
type pidFile struct {
	pid    int
	socket string // folder
	ready  bool   // it says that it takes connections
}

// readPidFile returns the cluster's postmaster.pid; ok is false when there is
// none. The pid is 0 while the file is not whole: its writer is at it, or died.
func readPidFile(cluster string) (p pidFile, ok bool, err error) {
	b, err := os.ReadFile(filepath.Join(cluster, "postmaster.pid"))
	if errors.Is(err, os.ErrNotExist) {
		return p, false, nil
	}
	if err != nil {
		return p, false, fmt.Errorf("local: the server's pid file: %w", err)
	}
	lines := strings.Split(string(b), "\n")
	if p.pid, err = strconv.Atoi(strings.TrimSpace(lines[0])); err != nil || p.pid <= 0 {
		return pidFile{}, true, nil
	}
	if len(lines) > 7 {
		p.socket = lines[4]
		p.ready = strings.TrimSpace(lines[7]) == "ready" // else starting or stopping
	}
	return p, true, nil
}

// procState is how a process stands.
type procState byte

const (
	gone   procState = iota
	zombie           // dead, its parent has not looked yet: kill(pid, 0) still succeeds
	alive
)

// stateOf returns the state of a process, from /proc or else from ps.
func stateOf(pid int) procState {
	if pid <= 0 {
		return gone // the number of no process: 0 would mean a group
	}
	if err := syscall.Kill(pid, 0); errors.Is(err, syscall.ESRCH) {
		return gone
	}
	if hasProc() {
		b, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
		if err != nil {
			return gone
		}
		// The state follows the command, which may hold brackets and blanks itself.
		if i := bytes.LastIndexByte(b, ')'); i >= 0 && i+2 < len(b) && (b[i+2] == 'Z' || b[i+2] == 'X') {
			return zombie
		}
		return alive
	}
	out, err := exec.Command("ps", "-o", "stat=", "-p", strconv.Itoa(pid)).Output()
	switch stat := strings.TrimSpace(string(out)); {
	case err != nil || stat == "":
		return gone
	case strings.HasPrefix(stat, "Z"):
		return zombie
	}
	return alive
}

func hasProc() bool {
	_, err := os.Stat("/proc/self/stat")
	return err == nil
}

// worksIn reports whether a process works in the cluster's folder. Every
// process of a server changes into it; a process id alone proves nothing,
// since ids are used again after a restart of the machine.
func worksIn(pid int, cluster string) bool {
	if stateOf(pid) != alive {
		return false
	}
	if hasProc() {
		cwd, err := os.Readlink(fmt.Sprintf("/proc/%d/cwd", pid))
		return err == nil && cwd == cluster
	}
	out, err := exec.Command("ps", "-o", "command=", "-p", strconv.Itoa(pid)).Output()
	return err == nil && strings.Contains(string(out), cluster)
}

// anyWorksIn reports whether any process works in the cluster's folder: the
// server, or a child that outlived it and is about to end.
func anyWorksIn(cluster string) bool {
	if hasProc() {
		entries, err := os.ReadDir("/proc")
		if err != nil {
			return true // unknown: nothing is removed
		}
		for _, e := range entries {
			if pid, err := strconv.Atoi(e.Name()); err == nil && worksIn(pid, cluster) {
				return true
			}
		}
		return false
	}
	out, err := exec.Command("ps", "-A", "-o", "command=").Output()
	return err != nil || strings.Contains(string(out), cluster)
}
