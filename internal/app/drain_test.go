package app_test

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io"
	"log/slog"
	"net/http"
	"regexp"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"dryslot/internal/app"
	"dryslot/internal/config"
	"dryslot/internal/logs"
	"dryslot/internal/postgres/postgrestest"
)

// lines gathers a log.
type lines struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lines) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

// stopped lists the parts in the order in which they were stopped.
func (l *lines) stopped(t *testing.T) (parts []string) {
	t.Helper()
	l.mu.Lock()
	defer l.mu.Unlock()
	for d := json.NewDecoder(&l.b); ; {
		var line struct{ Msg, Part string }
		if err := d.Decode(&line); errors.Is(err, io.EOF) {
			return parts
		} else if err != nil {
			t.Fatal(err)
		}
		if line.Msg == "stopped" {
			parts = append(parts, line.Part)
		}
	}
}

// drained is a run that is stopped in good order.
type drained struct {
	base, probes string
	cancel       context.CancelFunc
	waits        chan time.Duration // what it waits for while it is not ready
	release      chan time.Time     // ends that wait
	ended        chan error
	log          lines
}

var atProbes, atPages = regexp.MustCompile(`(?m)^probes and metrics on (\S+)$`),
	regexp.MustCompile(`(?m)^listening on (\S+)$`)

func startDrained(t *testing.T, env map[string]string, serve bool) *drained {
	t.Helper()
	cfg, err := config.Load(func(k string) string { return env[k] })
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	d := &drained{cancel: cancel, waits: make(chan time.Duration, 1), release: make(chan time.Time),
		ended: make(chan error, 1)}
	out := &said{listen: make(chan struct{}), mark: "listening on"}
	if !serve {
		out.mark = "probes and metrics on"
	}
	go func() {
		d.ended <- app.Run(ctx, cfg, app.Options{Serve: serve, Out: out, Log: logs.New(&d.log, logs.JSON,
			slog.LevelInfo), After: func(wait time.Duration) <-chan time.Time { d.waits <- wait; return d.release }})
	}()
	select {
	case <-out.listen:
	case err := <-d.ended:
		t.Fatalf("ended: %v\n%s", err, out)
	}
	d.probes = atProbes.FindStringSubmatch(out.String())[1]
	if serve {
		d.base = atPages.FindStringSubmatch(out.String())[1]
	}
	return d
}

func status(t *testing.T, address string) int {
	t.Helper()
	resp, err := http.Get(address)
	if err != nil {
		t.Fatal(err)
	}
	resp.Body.Close()
	return resp.StatusCode
}

// At a stop the service says that it is not ready and goes on serving, until a
// load balancer has had the time to notice; then it takes no requests; then the
// jobs end; then the probes.
func TestItStopsInOrder(t *testing.T) {
	db := postgrestest.URLs(t)
	const token = "an-operators-token-long-enough-to-be-one"
	d := startDrained(t, map[string]string{"DRYSLOT_LISTEN": "127.0.0.1:0", "DATABASE_URL": db.ServiceURL,
		"DATABASE_MIGRATE_URL": db.OwnerURL, "DRYSLOT_TOKEN": token, "DRYSLOT_FEEDS": "replay",
		"DRYSLOT_WORKER": "inline", "DRYSLOT_OPS_LISTEN": "127.0.0.1:0", "DRYSLOT_DRAIN": "15s"}, true)
	for address, want := range map[string]int{d.probes + "/healthz": 200, d.probes + "/readyz": 200,
		d.probes + "/metrics": 200, d.probes + "/v1/projects": 404, d.probes + "/sign-in": 404,
		d.base + "/healthz": 404, d.base + "/readyz": 404, d.base + "/metrics": 404, d.base + "/sign-in": 200} {
		if got := status(t, address); got != want {
			t.Errorf("%s answers %d, want %d", address, got, want)
		}
	}
	d.cancel()
	if wait := <-d.waits; wait != 15*time.Second {
		t.Errorf("it is not ready for %v", wait)
	}
	if got := status(t, d.probes+"/readyz"); got != http.StatusServiceUnavailable {
		t.Errorf("/readyz answers %d while it stops", got)
	}
	if got := status(t, d.probes+"/healthz"); got != http.StatusOK {
		t.Errorf("/healthz answers %d while it stops", got)
	}
	if got, _ := ask(t, d.base, token); got != http.StatusOK {
		t.Errorf("a request is answered %d while it is not ready", got)
	}
	close(d.release)
	if err := <-d.ended; err != nil {
		t.Fatal(err)
	}
	if got := d.log.stopped(t); !slices.Equal(got, []string{"server", "worker", "probes"}) {
		t.Errorf("it stopped %q", got)
	}
	for _, address := range []string{d.base, d.probes} {
		if _, err := http.Get(address); !errors.Is(err, syscall.ECONNREFUSED) {
			t.Errorf("%s after the stop: %v", address, err)
		}
	}
}

// A worker of its own has probes too, and drains its jobs before they go.
func TestAWorkerHasProbes(t *testing.T) {
	db := postgrestest.URLs(t)
	d := startDrained(t, map[string]string{"DATABASE_URL": db.ServiceURL, "DATABASE_MIGRATE_URL": db.OwnerURL,
		"DRYSLOT_FEEDS": "replay", "DRYSLOT_OPS_LISTEN": "127.0.0.1:0"}, false)
	for path, want := range map[string]int{"/healthz": 200, "/readyz": 200, "/metrics": 200, "/": 404} {
		if got := status(t, d.probes+path); got != want {
			t.Errorf("%s answers %d, want %d", path, got, want)
		}
	}
	if page := get(t, d.probes+"/metrics", ""); !strings.Contains(page, "dryslot_database_up 1") {
		t.Errorf("without figures of the service:\n%.300s", page)
	}
	d.cancel()
	if err := <-d.ended; err != nil {
		t.Fatal(err)
	}
	if got := d.log.stopped(t); !slices.Equal(got, []string{"worker", "probes"}) {
		t.Errorf("it stopped %q", got)
	}
}
