package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"time"
)

// build compiles the commands of a commit into a folder. The working tree stays
// as it is: the commit is unpacked beside them.
func build(ctx context.Context, commit, into string) error {
	tree := into + "-source"
	if err := os.MkdirAll(tree, 0o755); err != nil {
		return err
	}
	archive := into + ".tar"
	for _, args := range [][]string{
		{"git", "archive", "--format=tar", "--output=" + archive, commit},
		{"tar", "-xf", archive, "-C", tree},
	} {
		if out, err := exec.CommandContext(ctx, args[0], args[1:]...).CombinedOutput(); err != nil {
			return fmt.Errorf("%s: %w\n%s", strings.Join(args, " "), err, out)
		}
	}
	return compile(ctx, tree, into)
}

// compile compiles the commands of the source in a folder into another.
func compile(ctx context.Context, source, into string) error {
	if err := os.MkdirAll(into, 0o755); err != nil {
		return err
	}
	cmd := exec.CommandContext(ctx, "go", "build", "-o", into, "./cmd/api", "./cmd/worker")
	cmd.Dir = source
	if out, err := cmd.CombinedOutput(); err != nil {
		return fmt.Errorf("building %s: %w\n%s", source, err, out)
	}
	return nil
}

// version is one version of the service: its API and its worker.
type version struct {
	name    string // before or now
	dir     string // of its commands
	env     []string
	owner   string // URL of the database's owner, which only migrate is given, as deployed
	clock   func() time.Time
	running []*process
	ended   []*process
	base    string // address of its API; empty: it does not run
}

// process is one command that runs.
type process struct {
	cmd  *exec.Cmd
	log  *log
	done chan struct{} // closed when it has ended, how stands in err
	err  error
}

// start starts the API and the worker, and returns when both are at work.
func (v *version) start(ctx context.Context) error {
	address, err := v.launch(ctx, "api", "listening on ")
	if err != nil {
		return err
	}
	v.base = address
	_, err = v.launch(ctx, "worker", "worker started")
	return err
}

// launch starts one command and returns what follows mark in what it prints.
func (v *version) launch(ctx context.Context, name, mark string) (string, error) {
	p := &process{cmd: v.command(ctx, name), log: newLog(mark), done: make(chan struct{})}
	p.cmd.Stdout, p.cmd.Stderr = p.log, p.log
	if err := p.cmd.Start(); err != nil {
		return "", err
	}
	go func() {
		p.err = p.cmd.Wait()
		close(p.done)
	}()
	v.running = append(v.running, p)
	select {
	case rest := <-p.log.found:
		return rest, nil
	case <-p.done:
		return "", fmt.Errorf("%s of the version %s ended by itself: %w\n%s", name, v.name, p.err, p.log.last(2000))
	case <-ctx.Done():
		return "", fmt.Errorf("%s of the version %s does not start: %w", name, v.name, ctx.Err())
	}
}

// command is a command of the version with the clock as it is. It is ended by
// stop, so that its transactions end in good order.
func (v *version) command(ctx context.Context, name string, args ...string) *exec.Cmd {
	cmd := exec.CommandContext(context.WithoutCancel(ctx), filepath.Join(v.dir, name), args...)
	cmd.Env = append(append(os.Environ(), v.env...), "DRYSLOT_CLOCK="+v.clock().Format(time.RFC3339Nano))
	cmd.Dir = v.dir
	return cmd
}

// migrate brings the database up to what the version needs.
func (v *version) migrate(ctx context.Context) error {
	cmd := v.command(ctx, "api", "migrate")
	cmd.Env = append(cmd.Env, "DATABASE_MIGRATE_URL="+v.owner)
	if out, err := cmd.CombinedOutput(); err != nil {
		return fmt.Errorf("migrating to the version %s: %w\n%s", v.name, err, out)
	}
	return nil
}

// stop ends both commands as an operator does. What had ended already is an
// error.
func (v *version) stop() (err error) {
	for _, p := range v.running {
		select {
		case <-p.done:
			err = errors.Join(err, fmt.Errorf("a command of the version %s ended by itself: %w", v.name, p.err))
			continue
		default:
		}
		err = errors.Join(err, p.cmd.Process.Signal(syscall.SIGTERM))
		<-p.done
		if p.err != nil {
			err = errors.Join(err, fmt.Errorf("stopping the version %s: %w", v.name, p.err))
		}
	}
	v.ended, v.running, v.base = append(v.ended, v.running...), nil, ""
	return err
}

// errorsLogged is how many lines of the level error the version has logged.
func (v *version) errorsLogged() (n int) {
	for _, p := range append(v.ended, v.running...) {
		n += p.log.errors()
	}
	return n
}

// last is what its commands have printed last.
func (v *version) last() string {
	var out strings.Builder
	for _, p := range append(v.ended, v.running...) {
		out.WriteString(p.log.last(3000))
	}
	return out.String()
}

// log keeps what a command prints.
type log struct {
	mark  string
	found chan string // what follows mark in its line, once

	mu   sync.Mutex
	text []byte
	told bool
}

var _ io.Writer = (*log)(nil)

func newLog(mark string) *log { return &log{mark: mark, found: make(chan string, 1)} }

// Write implements io.Writer.
func (l *log) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.text = append(l.text, p...)
	if l.told {
		return len(p), nil
	}
	_, rest, is := bytes.Cut(l.text, []byte(l.mark))
	if line, _, whole := bytes.Cut(rest, []byte("\n")); is && whole {
		l.told = true
		l.found <- string(line)
	}
	return len(p), nil
}

func (l *log) errors() int {
	l.mu.Lock()
	defer l.mu.Unlock()
	return bytes.Count(l.text, []byte("level=ERROR"))
}

func (l *log) last(most int) string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return string(l.text[max(0, len(l.text)-most):])
}
