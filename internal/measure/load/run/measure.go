package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"time"

	"dryslot/internal/measure/load"
	"dryslot/internal/postgres"
)

// look is the time between two looks at the run.
const look = 2 * time.Second

// measure sets everything up, lets it run, and prints what came of it.
func measure(ctx context.Context, o options) (err error) {
	dir, server, stop, err := startDatabase(ctx, "dryslot-load-")
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, stop()) }()
	store, err := postgres.Open(ctx, server.URL())
	if err != nil {
		return err
	}
	defer store.Close()

	begun := time.Now()
	accounts, err := settle(ctx, store, o, time.Now())
	if err != nil {
		return err
	}
	fmt.Printf("%d projects on %d cells set up in %s\n", o.projects, o.cells, time.Since(begun).Round(time.Second))

	var procs children
	defer func() { err = errors.Join(err, procs.stop()) }()
	provider, address, err := procs.start(ctx, dir, "provider", nil, "provider",
		"-errors", fmt.Sprint(o.errors),
		"-hangs", fmt.Sprint(o.hangs), "-paid="+strconv.FormatBool(o.paid))
	if err != nil {
		return err
	}
	defer provider.Close()
	env := []string{"DATABASE_URL=" + server.URL(), "DRYSLOT_FEEDS=open-meteo", "OPENMETEO_URL=" + address,
		"DRYSLOT_CONTACT=load@dryslot.example", "DRYSLOT_REQUESTS_A_MINUTE=0", "DRYSLOT_MOST_PROJECTS=0"}
	if o.paid {
		env = append(env, "OPENMETEO_KEY=load")
	}
	if o.ensemble {
		env = append(env, "OPENMETEO_ENSEMBLE_URL="+address)
	}
	was, err := before(ctx, store, server.PID())
	if err != nil {
		return err
	}
	beside, err := startReaders(ctx, &procs, dir, env, accounts)
	if err != nil {
		return err
	}
	begun = time.Now()
	for i := range o.workers {
		args := []string{"worker"}
		if i == 0 && o.profile != "" {
			args = append(args, "-profile", o.profile)
		}
		if err := procs.worker(ctx, dir, "worker"+strconv.Itoa(i), env, args); err != nil {
			return err
		}
	}
	r, err := watchOver(ctx, store, o, address, begun, &procs)
	if err != nil {
		return err
	}
	if err := procs.stopWorkers(); err != nil {
		return err
	}
	r.memoryMB, r.cpu = procs.peaks, procs.cpu
	memory, err := beside.stop()
	if err != nil {
		return err
	}
	is, err := before(ctx, store, server.PID())
	if err != nil {
		return err
	}
	if err := r.count(ctx, store, o, accounts); err != nil {
		return err
	}
	err = r.print(o)
	beside.print(memory)
	r.printSpent(was, is, r.planned)
	if len(beside.took) == 0 || len(beside.wrong) > 0 {
		err = errors.Join(err, errors.New("reads beside the planning went wrong"))
	}
	return err
}

// watchOver waits until everything is fresh and planned, or time is up.
func watchOver(ctx context.Context, store *postgres.Store, o options, address string, begun time.Time,
	procs *children) (*result, error) {
	r := &result{}
	ticker := time.NewTicker(look)
	defer ticker.Stop()
	said := time.Now()
	for {
		select {
		case <-ctx.Done():
			return nil, ctx.Err()
		case err := <-procs.failed:
			return nil, err
		case <-ticker.C:
		}
		since := time.Since(begun)
		if err := r.ask(ctx, address); err != nil {
			return nil, err
		}
		waiting, err := r.queued(ctx, store)
		if err != nil {
			return nil, err
		}
		if r.fresh == 0 && r.seen.Cells >= o.cells {
			n, err := freshCells(ctx, store, o, begun)
			if err != nil {
				return nil, err
			}
			if n == o.cells {
				r.fresh = since
			}
		}
		if time.Since(said) > 30*time.Second {
			said = time.Now()
			fmt.Printf("%4.0f s: %d requests, %d of %d cells answered, %d jobs waiting\n", since.Seconds(),
				r.seen.Requests, r.seen.Cells, o.cells, waiting)
		}
		done := r.fresh > 0 && waiting == 0
		if done || (since > o.planning && (r.fresh > 0 || since > o.within)) {
			r.lasted = since
			return r, nil
		}
	}
}

// ask reads the provider's figures.
func (r *result) ask(ctx context.Context, address string) error {
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, address+"/figures", nil)
	if err != nil {
		return err
	}
	resp, err := http.DefaultClient.Do(req)
	if err != nil {
		return err
	}
	defer resp.Body.Close()
	r.seen = load.Figures{}
	return json.NewDecoder(resp.Body).Decode(&r.seen)
}

// children are the processes started.
type children struct {
	all     []*exec.Cmd
	workers []*exec.Cmd
	peaks   []float64 // MB, of the workers
	cpu     time.Duration
	failed  chan error
}

func (c *children) start(ctx context.Context, dir, name string, env []string, args ...string) (io.ReadCloser, string,
	error) {
	cmd, out, err := c.command(ctx, dir, name, env, args...)
	if err != nil {
		return nil, "", err
	}
	line, err := bufio.NewReader(out).ReadString('\n')
	if err != nil {
		return nil, "", fmt.Errorf("%s: no address: %w", name, err)
	}
	c.all = append(c.all, cmd)
	return out, strings.TrimSpace(line), nil
}

func (c *children) worker(ctx context.Context, dir, name string, env, args []string) error {
	cmd, out, err := c.command(ctx, dir, name, env, args...)
	if err != nil {
		return err
	}
	go func() { _, _ = io.Copy(io.Discard, out) }() // it says nothing that is wanted
	c.workers = append(c.workers, cmd)
	return nil
}

func (c *children) command(ctx context.Context, dir, name string, env []string, args ...string) (*exec.Cmd,
	io.ReadCloser, error) {
	self, err := os.Executable()
	if err != nil {
		return nil, nil, err
	}
	if c.failed == nil {
		c.failed = make(chan error, 1)
	}
	log, err := os.Create(filepath.Join(dir, name+".log"))
	if err != nil {
		return nil, nil, err
	}
	cmd := exec.CommandContext(context.WithoutCancel(ctx), self, args...)
	cmd.Env, cmd.Stderr = append(os.Environ(), env...), log
	out, err := cmd.StdoutPipe()
	if err != nil {
		return nil, nil, err
	}
	return cmd, out, cmd.Start()
}

// stopWorkers ends the workers in good order and notes their memory.
func (c *children) stopWorkers() error {
	var bad error
	for _, w := range c.workers {
		bad = errors.Join(bad, w.Process.Signal(syscall.SIGTERM))
	}
	for _, w := range c.workers {
		bad = errors.Join(bad, w.Wait())
		if u, ok := w.ProcessState.SysUsage().(*syscall.Rusage); ok {
			c.peaks = append(c.peaks, float64(u.Maxrss)/1024) // Linux: kB (getrusage(2))
			c.cpu += w.ProcessState.UserTime() + w.ProcessState.SystemTime()
		}
	}
	c.workers = nil
	return bad
}

func (c *children) stop() error {
	bad := c.stopWorkers()
	for _, p := range c.all {
		bad = errors.Join(bad, p.Process.Signal(syscall.SIGTERM), p.Wait())
	}
	c.all = nil
	return bad
}
