package app_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/cookiejar"
	"net/url"
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
	"dryslot/internal/postgres"
	"dryslot/internal/postgres/postgrestest"
)

// said gathers what a run prints, and tells when it listens.
type said struct {
	mu     sync.Mutex
	b      bytes.Buffer
	mark   string // what it prints once it listens
	listen chan struct{}
}

func (s *said) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.b.Write(p)
	if strings.Contains(s.b.String(), s.mark) {
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
	out = &said{listen: make(chan struct{}), mark: "listening on"}
	ended := make(chan error, 1)
	go func() { ended <- app.Run(ctx, cfg, app.Options{Serve: true, Demo: demo, Out: out}) }()
	select {
	case <-out.listen:
	case err := <-ended:
		t.Fatalf("ended: %v\n%s", err, out)
	case <-time.After(10 * time.Minute): // a hang, not a slow machine
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
	pagesLine = regexp.MustCompile(`(?m)^Pages:  (http://[^/]+)/sign-in\?link=(\S+)$`)
	tokenLine = regexp.MustCompile(`(?m)^Token:  (\S+)$`)
)

// The demonstration starts a PostgreSQL of its own, and finds its data again.
func TestDemonstration(t *testing.T) {
	env := map[string]string{"DRYSLOT_LISTEN": "127.0.0.1:0", "DRYSLOT_FEEDS": "replay",
		"DRYSLOT_DATA": filepath.Join(openFolder(t), "data")}
	var tokens []string
	for range 2 {
		out, stop := run(t, env, true)
		link, word := pagesLine.FindStringSubmatch(out.String()), tokenLine.FindStringSubmatch(out.String())
		if link == nil || word == nil || !strings.Contains(out.String(), "Sample weather, not for real pours") ||
			!strings.Contains(out.String(), "Bee-yard stands and cart path: ") || !strings.Contains(out.String(),
			"tomorrow, ") {
			t.Fatalf("it prints\n%s", out)
		}
		tokens = append(tokens, word[1])
		if n := len(get(t, link[1]+"/v1/projects", word[1])); n < 100 {
			t.Errorf("the list of projects has %d bytes", n)
		}
		for _, want := range []string{"Bee-yard stands", "was used already"} {
			if page := signIn(t, link[1], link[2]); !strings.Contains(page, want) {
				t.Errorf("the sign-in link leads to\n%.500s\nwant %s", page, want)
			}
		}
		beside, err := token(t, env, "list")
		stop()
		alone, err2 := token(t, env, "list")
		if err != nil || err2 != nil || beside != alone || strings.Count(beside, "\n") != 2 {
			t.Errorf("its tokens, while it runs and after: %q, %v; %q, %v", beside, err, alone, err2)
		}
	}
	if tokens[0] != tokens[1] {
		t.Error("a second start has another token")
	}
	if info, err := os.Stat(filepath.Join(env["DRYSLOT_DATA"], "token")); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("the token's file: %v, %v", info, err)
	}
}

// openFolder makes a folder that every user can enter, as the database's must
// when the tests run as root; t.TempDir is closed to it, and the database would
// go to a folder of the machine's and stay there.
func openFolder(t *testing.T) string {
	t.Helper()
	dir, err := os.MkdirTemp("", "app-test-")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := os.RemoveAll(dir); err != nil {
			t.Error(err)
		}
	})
	if err := os.Chmod(dir, 0o711); err != nil {
		t.Fatal(err)
	}
	return dir
}

// signIn uses a link with the key as a browser of its own does, and returns the
// page that it lands on.
func signIn(t *testing.T, base, key string) string {
	t.Helper()
	cookies, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	resp, err := (&http.Client{Jar: cookies}).PostForm(base+"/sign-in", url.Values{"link": {key}})
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	var b bytes.Buffer
	if _, err := b.ReadFrom(resp.Body); err != nil {
		t.Error(err)
	}
	return b.String()
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
	const first = "an-operators-token-long-enough-to-be-one"
	env := map[string]string{"DRYSLOT_LISTEN": "127.0.0.1:0", "DATABASE_URL": db.ServiceURL,
		"DATABASE_MIGRATE_URL": db.OwnerURL, "DRYSLOT_TOKEN": first, "DRYSLOT_CLOCK": "2025-12-28T20:00:00-05:00",
		"DRYSLOT_FEEDS": "replay"}
	out, stop := run(t, env, false)
	base := strings.TrimSpace(strings.TrimPrefix(out.String(), "listening on "))
	status, header := ask(t, base, first)
	if status != http.StatusOK || !strings.HasPrefix(header.Get("Dryslot-Clock"), "2025-12-2") {
		t.Errorf("%d, clock %q", status, header.Get("Dryslot-Clock"))
	}

	// The operator gives the account another token while it runs, and revokes
	// the first: it opens nothing from then on, here and at the next start.
	list, err := token(t, env, "list")
	lines := strings.Split(strings.TrimSpace(list), "\n")
	if err != nil || len(lines) != 2 {
		t.Fatalf("tokens: %v\n%s", err, list)
	}
	row := strings.Fields(lines[1])
	made, err := token(t, env, "new", row[1])
	second := tokenLine.FindStringSubmatch(made)
	if err != nil || second == nil || !strings.Contains(made, row[1]) {
		t.Fatalf("a new one: %v\n%s", err, made)
	}
	link, err := token(t, env, "link", row[1])
	key := regexp.MustCompile(`(?m)^Link:   http://\S+/sign-in\?link=(\S+)$`).FindStringSubmatch(link)
	if err != nil || key == nil {
		t.Fatalf("a link: %v\n%s", err, link)
	}
	if page := signIn(t, base, key[1]); !strings.Contains(page, "No project yet") {
		t.Errorf("the operator's link leads to\n%.500s", page)
	}
	if said, err := token(t, env, "revoke", row[0]); err != nil || !strings.Contains(said, row[0]) {
		t.Errorf("revoked: %v\n%s", err, said)
	}
	for what, want := range map[string]int{first: http.StatusUnauthorized, second[1]: http.StatusOK} {
		if got, _ := ask(t, base, what); got != want {
			t.Errorf("after that %s gets %d, want %d", what, got, want)
		}
	}
	stop()
	cfg, err := config.Load(func(k string) string { return env[k] })
	if err != nil {
		t.Fatal(err)
	}
	if err := app.Run(context.Background(), cfg, app.Options{Serve: true}); !errors.Is(err, fault.Conflict) ||
		!strings.Contains(err.Error(), "revoked") {
		t.Errorf("a start with the revoked token gave %v", err)
	}
}

// ask asks for the list of projects.
func ask(t *testing.T, base, token string) (int, http.Header) {
	t.Helper()
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
	return resp.StatusCode, resp.Header
}

// token does an operator's work on tokens, and returns what it printed.
func token(t *testing.T, env map[string]string, args ...string) (string, error) {
	t.Helper()
	cfg, err := config.Load(func(k string) string { return env[k] })
	if err != nil {
		t.Fatal(err)
	}
	var out strings.Builder
	err = app.Tokens(context.Background(), cfg, args, &out, slog.New(slog.DiscardHandler))
	return out.String(), err
}

// An account is shown before it is deleted, and deleted only by the whole word.
func TestAnAccountIsDeleted(t *testing.T) {
	db := postgrestest.URLs(t)
	env := map[string]string{"DATABASE_URL": db.ServiceURL, "DATABASE_MIGRATE_URL": db.OwnerURL}
	made, err := token(t, env, "new")
	if err != nil {
		t.Fatal(err)
	}
	id := regexp.MustCompile(`opens the account (\S+)\.`).FindStringSubmatch(made)[1]
	do := func(args ...string) error {
		return app.Accounts(context.Background(), load(t, env), args, io.Discard, slog.New(slog.DiscardHandler))
	}
	for _, args := range [][]string{nil, {"show"}, {"delete", id, "all"}, {"list", id}, {"show", id, "everything"}} {
		if err := do(args...); !errors.Is(err, fault.Invalid) {
			t.Errorf("%q: %v", args, err)
		}
	}
	for _, args := range [][]string{{"show", id}, {"delete", id}, {"delete", id, "everything"}} {
		if err := do(args...); err != nil {
			t.Errorf("%q: %v", args, err)
		}
	}
	if err := do("show", id); !errors.Is(err, fault.NotFound) {
		t.Errorf("after it was deleted: %v", err)
	}
	if list, err := token(t, env, "list"); err != nil || strings.Contains(list, id) {
		t.Errorf("its tokens are left: %q, %v", list, err)
	}
}

func TestTokenWorkThatIsNone(t *testing.T) {
	for _, args := range [][]string{nil, {"show"}, {"list", "all"}, {"new", "a", "b"}, {"new", ""}, {"revoke"},
		{"revoke", "a", "b"}} {
		if out, err := token(t, nil, args...); !errors.Is(err, fault.Invalid) || !strings.Contains(err.Error(),
			app.TokenUsage) || out != "" {
			t.Errorf("%q: %q, %v", args, out, err)
		}
	}
}

// Where the owner's connection is kept from the service, it is migrated first.
func TestMigratingApart(t *testing.T) {
	db := postgrestest.Empty(t)
	load := func(owner string) config.Config {
		cfg, err := config.Load(func(k string) string {
			return map[string]string{"DRYSLOT_LISTEN": "127.0.0.1:0", "DATABASE_URL": db.ServiceURL,
				"DATABASE_MIGRATE_URL": owner, "DRYSLOT_FEEDS": "replay"}[k]
		})
		if err != nil {
			t.Fatal(err)
		}
		return cfg
	}
	quiet := slog.New(slog.DiscardHandler)
	if err := app.Run(context.Background(), load(""), app.Options{Serve: true}); !errors.Is(err, fault.Forbidden) {
		t.Errorf("before: %v", err)
	}
	needs, err := postgres.Wanted()
	if err != nil {
		t.Fatal(err)
	}
	at := regexp.MustCompile(`version (\d+)`)
	for _, want := range []string{"0", fmt.Sprint(needs)} { // a second time there is nothing to do
		var out strings.Builder
		if err := app.Migrate(context.Background(), load(db.OwnerURL), &out, quiet); err != nil {
			t.Fatal(err)
		}
		if m := at.FindStringSubmatch(out.String()); m == nil || m[1] != want {
			t.Errorf("it says %q, and was at version %s", &out, want)
		}
	}
	if err := app.Migrate(context.Background(), load(""), io.Discard, quiet); err != nil {
		t.Errorf("after, as the service: %v", err)
	}
	var out strings.Builder
	if err := app.Version(&out); err != nil || !strings.Contains(out.String(), fmt.Sprintf("database version %d\n",
		needs)) {
		t.Errorf("the program says %q, %v", &out, err)
	}
}

func TestWhatCannotRunSaysWhy(t *testing.T) {
	for name, c := range map[string]struct {
		env   map[string]string
		serve bool
		says  string
	}{
		"a worker without a database": {map[string]string{}, false, "DATABASE_URL"},
		"a database that is not there": {
			map[string]string{"DATABASE_URL": "postgres://nobody:x@127.0.0.1:1/none?connect_timeout=2"}, true,
			"connect"},
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
		return map[string]string{"DATABASE_URL": db.ServiceURL, "DATABASE_MIGRATE_URL": db.OwnerURL,
			"DRYSLOT_LISTEN": "203.0.113.1:80", "DRYSLOT_FEEDS": "replay"}[k]
	})
	if err != nil {
		t.Fatal(err)
	}
	if err := app.Run(context.Background(), cfg, app.Options{Serve: true}); !errors.Is(err, fault.Invalid) ||
		!strings.Contains(err.Error(), "DRYSLOT_LISTEN") {
		t.Errorf("an address that is not ours: %v", err)
	}
}
