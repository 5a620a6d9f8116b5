package web

import (
	"context"
	"crypto/rand"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"strings"
	"testing"
	"time"

	"dryslot/internal/forecast/openmeteo"
	"dryslot/internal/place"
	"dryslot/internal/planner"
	"dryslot/internal/postgres"
	"dryslot/internal/postgres/postgrestest"
	"dryslot/internal/pour"
	"dryslot/internal/watch"
)

// house is the whole service behind its door: a real database, the real
// planner, and a feed on the loopback that answers with a recorded document.
type house struct {
	url    string
	token  string
	now    time.Time // of the service's clock
	store  *postgres.Store
	svc    *watch.Service
	feed   *httptest.Server
	errors *strings.Builder // of the log: what became a 500 stands here
}

// Recorded for Berlin from 2025-07-27 on; see testdata/feeds/SOURCES.md.
const (
	recorded = "../../testdata/feeds/open-meteo/berlin_2025-07-27_168h_allparams_forecast.json"
	secondly = "another account's token, 32 characters and more"
	firstly  = "the first account's token, 32 characters and more"
)

// patient is how long a request may take where a busy machine must not matter.
const patient = 10 * time.Minute

// yard is a project where the recorded document was made for.
const yard = `{"name":"Boules court kerb","latitude":52.52,"longitude":13.42,
	"crew":{"people":2},"form_sets":[{"name":"F1","count":2}],
	"pads":[{"name":"A1","length_m":1.2,"width_m":0.9,"thickness_m":0.075,"x_m":0,"y_m":0,"form_set":"F1"},
		{"name":"A2","length_m":1.2,"width_m":0.9,"thickness_m":0.075,"x_m":1.2,"y_m":0,"form_set":"F1","after":[{"pad":"A1","until":"stripped"}]},
		{"name":"A3","length_m":1.2,"width_m":0.9,"thickness_m":0.075,"x_m":2.4,"y_m":0,"form_set":"F1"}],
	"stock":{"bags_on_hand":4,"deliveries":[{"date":"2025-07-29","bags":8}],"covers":[{"kind":"plastic","pads":2}]}}`

func newHouse(t *testing.T) *house {
	t.Helper()
	berlin, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	h := &house{token: firstly, now: time.Date(2025, 7, 27, 20, 0, 0, 0, berlin), store: postgrestest.New(t), errors: &strings.Builder{}}
	doc, err := os.ReadFile(recorded)
	if err != nil {
		t.Fatal(err)
	}
	h.feed = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path != "/v1/forecast" {
			http.NotFound(w, r)
			return
		}
		w.Header().Set("Content-Type", "application/json; charset=utf-8")
		_, _ = w.Write(doc)
	}))
	t.Cleanup(h.feed.Close)
	feed, err := openmeteo.New(openmeteo.Config{BaseURL: h.feed.URL, Contact: "weather@example.org", Timeout: patient})
	if err != nil {
		t.Fatal(err)
	}
	clock := func() time.Time { return h.now }
	h.svc = &watch.Service{Store: h.store, Plan: planner.Make,
		Feeds: []watch.Feed{feed}, Now: clock, Random: rand.Reader, BaseURL: "http://dryslot.example"}
	srv := httptest.NewServer(New(Options{Service: h.svc, Store: h.store, Clock: clock, ClockSet: true, PublicURL: "http://dryslot.example", Longest: patient,
		Log: slog.New(slog.NewTextHandler(h.errors, &slog.HandlerOptions{Level: slog.LevelError}))}))
	t.Cleanup(srv.Close)
	t.Cleanup(func() {
		if t.Failed() && h.errors.Len() > 0 {
			t.Logf("the log: %s", h.errors)
		}
	})
	h.url = srv.URL
	for _, token := range []string{firstly, secondly} {
		if _, err := h.store.EnsureToken(context.Background(), token); err != nil {
			t.Fatal(err)
		}
	}
	return h
}

// answer is what a request got.
type answer struct {
	status int
	header http.Header
	body   string
}

// send sends a request with the house's token, unless the headers, given as
// name and value, say otherwise; an empty value leaves a header out.
func (h *house) send(t *testing.T, method, path, body string, headers ...string) answer {
	t.Helper()
	// The path is sent as it is written: tests send what clients should not.
	path, query, asked := strings.Cut(strings.ReplaceAll(path, " ", "%20"), "?")
	req, err := http.NewRequest(method, h.url, strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	req.URL.Opaque = path
	req.URL.RawQuery, req.URL.ForceQuery = query, asked
	req.Header.Set("Authorization", "Bearer "+h.token)
	if body != "" {
		req.Header.Set("Content-Type", "application/json")
	}
	for i := 0; i+1 < len(headers); i += 2 {
		if headers[i+1] == "" {
			req.Header.Del(headers[i])
			continue
		}
		req.Header.Set(headers[i], headers[i+1])
	}
	resp, err := http.DefaultClient.Do(req)
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	got, err := io.ReadAll(resp.Body)
	if err != nil {
		t.Fatal(err)
	}
	return answer{resp.StatusCode, resp.Header, string(got)}
}

// must sends a request and fails the test unless it is answered with a status.
func (h *house) must(t *testing.T, status int, method, path, body string, headers ...string) answer {
	t.Helper()
	a := h.send(t, method, path, body, headers...)
	if a.status != status {
		t.Fatalf("%s %s: %d, want %d: %.800s\n%s", method, path, a.status, status, a.body, h.errors)
	}
	return a
}

// create sets a project up and returns its id.
func (h *house) create(t *testing.T, token, body string) string {
	t.Helper()
	a := h.must(t, http.StatusCreated, "POST", "/v1/projects", body, "Authorization", "Bearer "+token)
	return parse(t, a.body).Get("id").Text
}

// refresh fetches the forecast of a project's cell and plans from it.
func (h *house) refresh(t *testing.T, id string) {
	t.Helper()
	ctx := context.Background()
	account, err := h.store.AccountByToken(ctx, h.token)
	if err != nil {
		t.Fatal(err)
	}
	var p pour.Project
	if err := h.store.InAccount(ctx, account, func(ctx context.Context, tx watch.Tx) (err error) {
		p, err = tx.Project(ctx, id)
		return err
	}); err != nil {
		t.Fatal(err)
	}
	if err := h.svc.Refresh(ctx, place.CellOf(p.Latitude, p.Longitude)); err != nil {
		t.Fatal(err)
	}
	if _, err := h.svc.Replan(ctx, account, id, "new forecast"); err != nil {
		t.Fatal(err)
	}
}
