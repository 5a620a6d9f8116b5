package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"dryslot/internal/measure/load"
	"dryslot/internal/place"
	"dryslot/internal/postgres"
	"dryslot/internal/postgres/local"
	"dryslot/internal/pour"
)

// Measuring how long it takes from a forecast, or an entry, that puts soft
// concrete at risk until the message is at its recipient.
const (
	// withEntries is the share of projects whose builder logs that it rains; the
	// others learn of it from the forecast.
	withEntries = 0.1
	// mostLatency is what 99 of 100 messages have to come within.
	mostLatency = time.Minute
	// untilDue is by how much the clock is set ahead for the weather to turn: every
	// forecast is due by then, at once, which is the worst case.
	untilDue = 75 * time.Minute
)

// dayUnderWay is when the clock begins: at eight in the morning of a working day.
var dayUnderWay = time.Date(2026, 6, 10, 6, 0, 0, 0, time.UTC)

// latency measures one run of it.
type latency struct {
	o        options
	dir      string
	env      []string
	store    *postgres.Store
	provider *load.Provider
	procs    *children // of the service
	base     string    // of the API
	accounts []account

	mu      sync.Mutex
	begun   time.Time // wall-clock time when the service's clock began, or was set ahead
	clock   time.Time // what the service's clock read then
	arrived map[string]time.Time
	news    chan struct{} // of each first message about rain
}

// now is the service's clock.
func (l *latency) now() time.Time {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.clock.Add(time.Since(l.begun))
}

// measureLatency sets everything up, has the weather turn, and prints how long
// the messages took.
func measureLatency(ctx context.Context, o options) (err error) {
	dir, server, stop, err := startDatabase(ctx, "dryslot-latency-")
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, stop()) }()
	l := &latency{o: o, dir: dir, clock: dayUnderWay, begun: time.Now(), arrived: map[string]time.Time{},
		news: make(chan struct{}, o.projects)}
	if l.store, err = postgres.Open(ctx, server.URL()); err != nil {
		return err
	}
	defer l.store.Close()
	l.provider = load.NewProvider(load.Config{Limits: limits(true), Now: l.now, Dry: true})
	feed, stopFeed, err := listenOn(ctx, l.provider)
	if err != nil {
		return err
	}
	defer stopFeed()
	hooks, stopHooks, err := listenOn(ctx, http.HandlerFunc(l.hooked))
	if err != nil {
		return err
	}
	defer stopHooks()
	l.env = []string{"DATABASE_URL=" + server.URL(), "DRYSLOT_FEEDS=open-meteo", "OPENMETEO_URL=" + feed,
		"OPENMETEO_KEY=load", "DRYSLOT_CONTACT=load@dryslot.example", "DRYSLOT_REQUESTS_A_MINUTE=0",
		"DRYSLOT_MOST_PROJECTS=0", "DRYSLOT_PRIVATE_WEBHOOKS=127.0.0.0/8", "DRYSLOT_LISTEN=127.0.0.1:0"}
	l.o.hooks = hooks
	if l.accounts, err = settle(ctx, l.store, l.o, l.now()); err != nil {
		return err
	}
	if err := l.start(ctx); err != nil {
		return err
	}
	defer func() { err = errors.Join(err, l.procs.stop()) }()
	return l.run(ctx)
}

// startDatabase starts a migrated PostgreSQL in a folder of its own, which is
// removed when it is stopped.
func startDatabase(
	ctx context.Context, folder string,
) (dir string, server *local.Server, stop func() error, err error) {
	if dir, err = os.MkdirTemp("", folder); err != nil {
		return "", nil, nil, err
	}
	stop = func() error {
		end, cancel := context.WithTimeout(context.WithoutCancel(ctx), time.Minute)
		defer cancel()
		var stopped error
		if server != nil {
			stopped = server.Stop(end)
		}
		return errors.Join(stopped, os.RemoveAll(dir))
	}
	if err := os.Chmod(dir, 0o711); err != nil { // the server's user has to pass when run by root
		return "", nil, nil, errors.Join(err, stop())
	}
	if server, err = local.Start(ctx, local.Options{DataDir: filepath.Join(dir, "pg"), Spare: dir}); err != nil {
		return "", nil, nil, errors.Join(err, stop())
	}
	if err := postgres.Migrate(ctx, server.MigrateURL(), server.ServiceRole()); err != nil {
		return "", nil, nil, errors.Join(err, stop())
	}
	return dir, server, stop, nil
}

// listenOn serves a handler on a port of its own.
func listenOn(ctx context.Context, h http.Handler) (address string, stop func(), err error) {
	at, err := (&net.ListenConfig{}).Listen(ctx, "tcp", "127.0.0.1:0")
	if err != nil {
		return "", nil, err
	}
	srv := &http.Server{Handler: h, ReadHeaderTimeout: 10 * time.Second}
	go func() { _ = srv.Serve(at) }() // it ends when it is closed
	return "http://" + at.Addr().String(), func() { _ = srv.Close() }, nil
}

// start starts the API and the workers, with the clock as it is.
func (l *latency) start(ctx context.Context) error {
	l.procs = &children{}
	env := append(slices.Clone(l.env), "DRYSLOT_CLOCK="+l.now().Format(time.RFC3339Nano))
	out, line, err := l.procs.start(ctx, l.dir, "api", append(env, "DRYSLOT_WORKER=off"), "serve")
	if err != nil {
		return err
	}
	go func() { _, _ = io.Copy(io.Discard, out) }() // it says nothing else that is wanted
	found := false
	if _, l.base, found = strings.Cut(line, "listening on "); !found {
		return fmt.Errorf("the API says %q", line)
	}
	for i := range l.o.workers {
		args := []string{"worker"}
		if i == 0 && l.o.profile != "" {
			args = append(args, "-profile", l.o.profile)
		}
		if err := l.procs.worker(ctx, l.dir, fmt.Sprintf("worker%d", i), env, args); err != nil {
			return err
		}
	}
	return nil
}

// run waits until every project is under way, and has some builders see rain, then
// the forecast turn for all others.
func (l *latency) run(ctx context.Context) error {
	began := time.Now()
	if err := l.planned(ctx); err != nil {
		return err
	}
	if err := l.watched(ctx); err != nil {
		return err
	}
	fmt.Printf("%d projects under way on %d cells after %s\n", l.o.projects, l.o.cells,
		time.Since(began).Round(time.Second))
	seen, err := l.entries(ctx)
	if err != nil {
		return err
	}
	told, err := l.forecasts(ctx, len(seen))
	if err != nil {
		return err
	}
	return l.print(seen, told)
}

type entry struct {
	Kind pour.EntryKind `json:"kind"`
	Pads []string       `json:"pads,omitempty"`
	At   time.Time      `json:"at"`
}

// entries has some builders log that it rains, and returns when each did.
func (l *latency) entries(ctx context.Context) (map[string]time.Time, error) {
	logged := map[string]time.Time{}
	most := max(1, int(withEntries*float64(l.o.projects)))
	for i, a := range l.accounts {
		for _, p := range a.projects {
			if len(logged) == most {
				break
			}
			logged[p] = time.Now()
			if err := l.post(ctx, tokenOf(i), "/v1/projects/"+p+"/log", entry{pour.EntryRainBegan, nil,
				l.now()}); err != nil {
				return nil, err
			}
		}
	}
	return logged, l.await(ctx, len(logged))
}

// forecasts has the forecast turn for all, with every product due at
// once, and returns when its alert arrived for each project that was dry till then.
func (l *latency) forecasts(ctx context.Context, before int) (map[string]time.Time, error) {
	l.mu.Lock()
	wet := map[string]bool{}
	for p := range l.arrived {
		wet[p] = true
	}
	l.mu.Unlock()
	if err := l.procs.stop(); err != nil {
		return nil, err
	}
	l.mu.Lock()
	l.clock, l.begun = l.clock.Add(time.Since(l.begun)+untilDue), time.Now()
	l.mu.Unlock()
	l.provider.Turn()
	if err := l.start(ctx); err != nil {
		return nil, err
	}
	if err := l.await(ctx, l.o.projects-before); err != nil {
		return nil, err
	}
	out, told := map[string]time.Time{}, l.provider.Told()
	for i, a := range l.accounts {
		for k, n := range projectsOf(i, l.o) {
			at := load.Cells(l.o.cells)[n%l.o.cells]
			if p := a.projects[k]; !wet[p] {
				out[p] = told[place.CellOf(at[0], at[1])]
			}
		}
	}
	return out, nil
}
