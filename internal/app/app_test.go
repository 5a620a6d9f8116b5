package app_test

import (
	"bytes"
	"context"
	"errors"
	"net/http"
	"net/http/cookiejar"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"dryslot/internal/app"
	"dryslot/internal/config"
	"dryslot/internal/fault"
	"dryslot/internal/postgres/postgrestest"
)

// said gathers what a run prints, and tells when it listens.
type said struct {
	mu     sync.Mutex
	b      bytes.Buffer
	listen chan struct{}
}

func (s *said) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.b.Write(p)
	if strings.Contains(s.b.String(), "listening on") {
		select {
		case <-s.listen:
		default:
			close(s.listen)
		}
	}
	return len(p), nil
}

func (s *said) String() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.String()
}

// run runs until it listens; stop ends it in good order.
func run(t *testing.T, env map[string]string, demo bool) (out *said, stop func()) {
	t.Helper()
	cfg, err := config.Load(func(k string) string { return env[k] })
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	out = &said{listen: make(chan struct{})}
	ended := make(chan error, 1)
	go func() { ended <- app.Run(ctx, cfg, app.Options{Serve: true, Demo: demo, Out: out}) }()
	select {
	case <-out.listen:
	case err := <-ended:
		t.Fatalf("ended: %v\n%s", err, out)
	case <-time.After(2 * time.Minute):
		t.Fatalf("does not listen:\n%s", out)
	}
	stop = sync.OnceFunc(func() {
		cancel()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	})
	t.Cleanup(stop)
	return out, stop
}

var (
	pagesLine = regexp.MustCompile(`(?m)^Pages:  (http://[^/]+)(/sign-in\?token=\S+)$`)
	tokenLine = regexp.MustCompile(`(?m)^Token:  (\S+)$`)
)

// The demonstration starts a PostgreSQL of its own, and finds its data again.
func TestDemonstration(t *testing.T) {
	env := map[string]string{"DRYSLOT_LISTEN": "127.0.0.1:0", "DRYSLOT_FEEDS": "replay", "DRYSLOT_DATA": filepath.Join(t.TempDir(), "data")}
	var tokens []string
	for range 2 {
		out, stop := run(t, env, true)
		link, token := pagesLine.FindStringSubmatch(out.String()), tokenLine.FindStringSubmatch(out.String())
		if link == nil || token == nil || !strings.Contains(out.String(), "Sample weather, not for real pours") || !strings.Contains(out.String(), "Bee-yard stands and cart path: ") || !strings.Contains(out.String(), "tomorrow, ") {
			t.Fatalf("it prints\n%s", out)
		}
		tokens = append(tokens, token[1])
		if n := len(get(t, link[1]+"/v1/projects", token[1])); n < 100 {
			t.Errorf("the list of projects has %d bytes", n)
		}
		if page := get(t, link[1]+link[2], ""); !strings.Contains(page, "Bee-yard stands") {
			t.Errorf("the sign-in link leads to\n%.500s", page)
		}
		stop()
	}
	if tokens[0] != tokens[1] {
		t.Error("a second start has another token")
	}
	if info, err := os.Stat(filepath.Join(env["DRYSLOT_DATA"], "token")); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("the token's file: %v, %v", info, err)
	}
}

// get asks as a browser does, with cookies and redirects, or with a token.
func get(t *testing.T, url, token string) string {
	t.Helper()
	req, err := http.NewRequest(http.MethodGet, url, nil)
	if err != nil {
		t.Fatal(err)
	}
	cookies, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	client := &http.Client{Jar: cookies}
	if token != "" {
		req.Header.Set("Authorization", "Bearer "+token)
	}
	resp, err := client.Do(req)
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	var b bytes.Buffer
	if _, err := b.ReadFrom(resp.Body); err != nil || resp.StatusCode != http.StatusOK {
		t.Errorf("%s: %s, %v", url, resp.Status, err)
	}
	return b.String()
}

func TestAnOperatorsOwnDatabase(t *testing.T) {
	db := postgrestest.URLs(t)
	const token = "an-operators-token-long-enough-to-be-one"
	env := map[string]string{"DRYSLOT_LISTEN": "127.0.0.1:0", "DATABASE_URL": db.ServiceURL, "DATABASE_MIGRATE_URL": db.OwnerURL,
		"DRYSLOT_TOKEN": token, "DRYSLOT_CLOCK": "2025-12-28T20:00:00-05:00", "DRYSLOT_FEEDS": "replay"}
	out, _ := run(t, env, false)
	base := strings.TrimSpace(strings.TrimPrefix(out.String(), "listening on "))
	req, err := http.NewRequest(http.MethodGet, base+"/v1/projects", nil)
	if err != nil {
		t.Fatal(err)
	}
	req.Header.Set("Authorization", "Bearer "+token)
	resp, err := http.DefaultClient.Do(req)
	if err != nil {
		t.Fatal(err)
	}
	resp.Body.Close()
	if resp.StatusCode != http.StatusOK || !strings.HasPrefix(resp.Header.Get("Dryslot-Clock"), "2025-12-2") {
		t.Errorf("%s, clock %q", resp.Status, resp.Header.Get("Dryslot-Clock"))
	}
}

func TestWhatCannotRunSaysWhy(t *testing.T) {
	for name, c := range map[string]struct {
		env   map[string]string
		serve bool
		says  string
	}{
		"a worker without a database":  {map[string]string{}, false, "DATABASE_URL"},
		"a database that is not there": {map[string]string{"DATABASE_URL": "postgres://nobody:x@127.0.0.1:1/none?connect_timeout=2"}, true, "connect"},
	} {
		cfg, err := config.Load(func(k string) string { return c.env[k] })
		if err != nil {
			t.Fatal(err)
		}
		err = app.Run(context.Background(), cfg, app.Options{Serve: c.serve})
		if err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v", name, err)
		}
	}
	db := postgrestest.URLs(t)
	cfg, err := config.Load(func(k string) string {
		return map[string]string{"DATABASE_URL": db.ServiceURL, "DATABASE_MIGRATE_URL": db.OwnerURL, "DRYSLOT_LISTEN": "203.0.113.1:80", "DRYSLOT_FEEDS": "replay"}[k]
	})
	if err != nil {
		t.Fatal(err)
	}
	if err := app.Run(context.Background(), cfg, app.Options{Serve: true}); !errors.Is(err, fault.Invalid) || !strings.Contains(err.Error(), "DRYSLOT_LISTEN") {
		t.Errorf("an address that is not ours: %v", err)
	}
}
