package app_test

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/emersion/go-smtp"
	standardwebhooks "github.com/standard-webhooks/standard-webhooks/libraries/go"

	"dryslot/internal/notify/smtptest"
	"dryslot/internal/postgres/postgrestest"
)

const crashToken = "a-token-for-the-crash-test-0123456789"

// site is the real commands over a real PostgreSQL, with a feed, a mail server
// and a webhook on loopback that are slow and refuse now and then. Its clock
// runs with the wall's, and leaps ahead when told to.
type site struct {
	t     *testing.T
	ctx   context.Context
	dir   string
	env   []string
	mail  *smtptest.Server
	feed  *httptest.Server
	hook  *httptest.Server
	procs map[string]*running // by command
	log   *os.File

	mu      sync.Mutex
	base    string // of the API; empty while it is away
	rnd     *rand.Rand
	leap    time.Duration
	begun   time.Time
	kills   []time.Time
	fetches int
	posts   []receipt
	secrets map[string]string // of webhooks, by path
	away    map[victim][]time.Duration

	cluster    *postgrestest.Cluster // nil: the database is another's to kill
	zone       *time.Location
	migrations int
	outage     time.Time // of the database, or of what leads to it: when it began last
}

// receipt is one message as a channel's far end took it.
type receipt struct {
	id, body string
	at       time.Time
}

// dayOne is when the clock begins: builders are at work, and an evening's word is
// still to come.
var dayOne = time.Date(2026, 6, 9, 10, 0, 0, 0, time.UTC)

func newSite(t *testing.T, seed uint64) *site {
	cluster := postgrestest.Own(t)
	s := newSiteOver(t, seed, cluster.Database())
	s.cluster = cluster
	return s
}

// newSiteOver is newSite over a database that there is.
func newSiteOver(t *testing.T, seed uint64, db postgrestest.Database) *site {
	dir := t.TempDir()
	for _, name := range []string{"api", "worker"} {
		build := exec.CommandContext(t.Context(), "go", "build", "-o", filepath.Join(dir, name), "dryslot/cmd/"+name)
		if out, err := build.CombinedOutput(); err != nil {
			t.Fatalf("building %s: %v\n%s", name, err, out)
		}
	}
	// What else is compiled at the same time can make building last minutes:
	// the time for the rest is counted from then on.
	ctx, cancel := context.WithTimeout(t.Context(), 10*time.Minute+time.Duration(*crashRounds)*10*time.Second)
	t.Cleanup(cancel)
	s := &site{t: t, ctx: ctx, dir: dir, procs: map[string]*running{}, rnd: rand.New(rand.NewPCG(seed, 2)),
		begun: time.Now(), secrets: map[string]string{}, away: map[victim][]time.Duration{}}
	var err error
	if s.zone, err = time.LoadLocation("Europe/Lisbon"); err != nil {
		t.Fatal(err)
	}
	s.mail = smtptest.Start(t, smtptest.Options{})
	s.mail.Answer(func(int, smtptest.Received) error {
		s.dawdle(ctx, 250*time.Millisecond)
		if s.chance(0.1) {
			return &smtp.SMTPError{Code: 451, Message: "greylisted"}
		}
		return nil
	})
	s.feed = httptest.NewServer(http.HandlerFunc(s.forecast))
	s.hook = httptest.NewServer(http.HandlerFunc(s.hooked))
	t.Cleanup(s.feed.Close)
	t.Cleanup(s.hook.Close)
	s.env = append(os.Environ(), "DATABASE_URL="+db.ServiceURL, "DATABASE_MIGRATE_URL="+db.OwnerURL,
		"DRYSLOT_LISTEN=127.0.0.1:0", "DRYSLOT_PUBLIC_URL=http://pads.example", "DRYSLOT_WORKER=inline",
		"DRYSLOT_TOKEN="+crashToken, "DRYSLOT_FEEDS=open-meteo", "OPENMETEO_URL="+s.feed.URL, "OPENMETEO_KEY=crash",
		"SMTP_URL=smtp://"+s.mail.Addr, "MAIL_FROM=pads@example.org", "DRYSLOT_PRIVATE_WEBHOOKS=127.0.0.0/8",
		"DRYSLOT_REQUESTS_A_MINUTE=0")
	if s.log, err = os.Create(filepath.Join(s.dir, "log")); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		s.killAll(syscall.SIGKILL)
		if t.Failed() {
			t.Logf("the commands said, last:\n%s", tail(s.log.Name(), 6000))
		}
		s.log.Close()
	})
	return s
}

func tail(path string, most int) string {
	b, err := os.ReadFile(path)
	if err != nil {
		return err.Error()
	}
	return string(b[max(0, len(b)-most):])
}

// now is the service's clock.
func (s *site) now() time.Time {
	s.mu.Lock()
	defer s.mu.Unlock()
	return dayOne.Add(s.leap + time.Since(s.begun))
}

func (s *site) ahead(d time.Duration) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.leap += d
}

func (s *site) chance(p float64) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.rnd.Float64() < p
}

func (s *site) upTo(d time.Duration) time.Duration {
	s.mu.Lock()
	defer s.mu.Unlock()
	return time.Duration(s.rnd.Int64N(int64(d)))
}

// dawdle takes a random time, as a far end does.
func (s *site) dawdle(ctx context.Context, most time.Duration) { s.pass(ctx, s.upTo(most)) }

// pass lets wall time pass: kills at random moments are what is tested here.
func (s *site) pass(ctx context.Context, d time.Duration) {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-timer.C:
	case <-ctx.Done():
	}
}

// hooked takes a webhook: it checks its signature, and refuses now and then.
func (s *site) hooked(w http.ResponseWriter, r *http.Request) {
	body, err := io.ReadAll(r.Body)
	if err != nil {
		return // the sender was killed
	}
	s.dawdle(r.Context(), 250*time.Millisecond)
	if s.chance(0.1) {
		w.WriteHeader(http.StatusServiceUnavailable)
		return
	}
	s.mu.Lock()
	secret := s.secrets[r.URL.Path]
	s.mu.Unlock()
	verifier, err := standardwebhooks.NewWebhook(secret)
	if err == nil && secret != "" {
		err = verifier.Verify(body, r.Header)
	}
	if err != nil {
		s.t.Errorf("webhook to %s: %v", r.URL.Path, err)
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.posts = append(s.posts, receipt{id: r.Header.Get("webhook-id"), body: string(body), at: time.Now()})
}

// receipts are all messages taken, by id, in the order that they came.
func (s *site) receipts() map[string][]receipt {
	out := map[string][]receipt{}
	for _, m := range s.mail.Received() {
		id, _, _ := strings.Cut(m.MessageID(), "@")
		text, err := m.Text()
		if err != nil {
			s.t.Errorf("a message that can't be read: %v", err)
		}
		out[id] = append(out[id], receipt{id: id, body: m.Header.Get("Subject") + text, at: m.At})
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, p := range s.posts {
		out[p.id] = append(out[p.id], p)
	}
	return out
}

// errRefused says that the API found that an entry can't be true.
var errRefused = errors.New("refused")

// errGone says that the API did not answer, or answered that it can't.
var errGone = errors.New("the API is away")

// call asks the API once.
func (s *site) call(ctx context.Context, method, path, idempotency string, body, into any) (status int, err error) {
	var b []byte
	if body != nil {
		if b, err = json.Marshal(body); err != nil {
			return 0, err
		}
	}
	s.mu.Lock()
	base := s.base
	s.mu.Unlock()
	if base == "" {
		return 0, errGone
	}
	ctx, cancel := context.WithTimeout(ctx, time.Minute)
	defer cancel()
	req, err := http.NewRequestWithContext(ctx, method, base+path, bytes.NewReader(b))
	if err != nil {
		return 0, err
	}
	req.Header.Set("Authorization", "Bearer "+crashToken)
	req.Header.Set("Content-Type", "application/json")
	if idempotency != "" {
		req.Header.Set("Idempotency-Key", idempotency)
	}
	resp, err := http.DefaultClient.Do(req)
	if err != nil {
		return 0, fmt.Errorf("%w: %w", errGone, err)
	}
	defer resp.Body.Close()
	answer, err := io.ReadAll(resp.Body)
	if err != nil {
		return 0, fmt.Errorf("%w: %w", errGone, err)
	}
	if resp.StatusCode == http.StatusConflict || resp.StatusCode == http.StatusServiceUnavailable {
		return resp.StatusCode, errGone
	}
	if resp.StatusCode == http.StatusUnprocessableEntity {
		return resp.StatusCode, fmt.Errorf("%w: %s", errRefused, answer)
	}
	if resp.StatusCode >= 300 {
		return resp.StatusCode, fmt.Errorf("%s %s: %d %s", method, path, resp.StatusCode, answer)
	}
	if into == nil {
		return resp.StatusCode, nil
	}
	return resp.StatusCode, json.Unmarshal(answer, into)
}

// agree waits for the one message that a new mail address gets, and agrees to
// alerts on its page, as its reader does.
func (s *site) agree(address string) {
	s.t.Helper()
	page := ""
	for page == "" {
		for _, m := range s.mail.Received() {
			if m.To[0] == address {
				page = strings.TrimPrefix(strings.Trim(m.Header.Get("List-Unsubscribe"), "<>"), "http://pads.example")
			}
		}
		if s.ctx.Err() != nil {
			s.t.Fatalf("%s was never asked", address)
		}
		s.pass(s.ctx, 30*time.Millisecond)
	}
	for s.ctx.Err() == nil {
		s.mu.Lock()
		base := s.base
		s.mu.Unlock()
		resp, err := http.PostForm(base+page, url.Values{"do": {"confirm"}})
		if err == nil {
			resp.Body.Close()
		}
		if err == nil && resp.StatusCode == http.StatusOK {
			return
		}
		s.pass(s.ctx, 30*time.Millisecond)
	}
}

// must asks until the API answers. The same idempotency key makes it one
// request, however often it is sent.
func (s *site) must(ctx context.Context, method, path, idempotency string, body, into any) error {
	for {
		_, err := s.call(ctx, method, path, idempotency, body, into)
		if !errors.Is(err, errGone) || ctx.Err() != nil {
			return err
		}
		s.pass(ctx, 30*time.Millisecond)
	}
}
