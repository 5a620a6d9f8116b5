// Package webtest runs the whole service behind its HTTP server for tests.
package webtest

import (
	"context"
	"crypto/rand"
	"encoding/json"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"strings"
	"sync"
	"testing"
	"time"

	"dryslot/internal/accounts"
	"dryslot/internal/alerts"
	"dryslot/internal/fetching"
	"dryslot/internal/forecast/openmeteo"
	"dryslot/internal/place"
	"dryslot/internal/planner"
	"dryslot/internal/postgres"
	"dryslot/internal/postgres/postgrestest"
	"dryslot/internal/pour"
	"dryslot/internal/projects"
	"dryslot/internal/web"
)

// Service is the whole service behind its HTTP server: a real database, the real
// planner, and a feed on the loopback that answers with a recorded document.
type Service struct {
	URL       string
	Token     string
	Now       time.Time // of the service's clock
	Store     *postgres.Store
	Database  postgrestest.Database
	Projects  *projects.Service
	Alerts    *alerts.Service
	Fetching  *fetching.Service
	People    *accounts.Service // on the wall's clock
	feed      *httptest.Server
	Weather   func(*http.Request) []byte // the feed's document; nil: the recorded one
	mu        sync.Mutex                 // of the two below
	described *Described
	// Seen holds the first body and answer that each operation took well.
	Seen   map[string]map[string]json.RawMessage
	Errors *strings.Builder // of the log: what became a 500 stands here
}

// Recorded for Berlin from 2025-07-27 on; see testdata/feeds/SOURCES.md.
const (
	recorded    = "../../../testdata/feeds/open-meteo/berlin_2025-07-27_168h_allparams_forecast.json"
	SecondToken = "another account's token, 32 characters and more"
	FirstToken  = "the first account's token, 32 characters and more"
)

// Patient is how long a request may take where a busy machine must not matter.
const Patient = 10 * time.Minute

// Yard is a project where the recorded document was made for.
const Yard = `{"name":"Boules court kerb","latitude":52.52,"longitude":13.42,
	"crew":{"people":2},"form_sets":[{"name":"F1","count":2}],
	"pads":[{"name":"A1","length_m":1.2,"width_m":0.9,"thickness_m":0.075,"x_m":0,"y_m":0,"form_set":"F1"},
		{"name":"A2","length_m":1.2,"width_m":0.9,"thickness_m":0.075,"x_m":1.2,"y_m":0,"form_set":"F1",
		"after":[{"pad":"A1","until":"stripped"}]}, {"name":"A3","length_m":1.2,"width_m":0.9,"thickness_m":0.075,
		"x_m":2.4,"y_m":0,"form_set":"F1"}],
	"stock":{"bags_on_hand":4,"deliveries":[{"date":"2025-07-29","bags":8}],"covers":[{"kind":"plastic","pads":2}]}}`

// New starts a service; handler makes its HTTP handler.
func New(t *testing.T, handler func(*Service, web.Options) http.Handler) *Service {
	t.Helper()
	berlin, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	database := postgrestest.URLs(t)
	h := &Service{Token: FirstToken, Now: time.Date(2025, 7, 27, 20, 0, 0, 0, berlin),
		Store: postgrestest.Open(t, database), Database: database, Errors: &strings.Builder{}}
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
		body := doc
		if h.Weather != nil {
			body = h.Weather(r)
		}
		_, _ = w.Write(body)
	}))
	t.Cleanup(h.feed.Close)
	feed, err := openmeteo.New(openmeteo.Config{BaseURL: h.feed.URL, Contact: "weather@example.org", Timeout: Patient})
	if err != nil {
		t.Fatal(err)
	}
	clock := func() time.Time { return h.Now }
	h.Alerts = &alerts.Service{Store: h.Store.Alerts(), Now: clock, Random: rand.Reader,
		BaseURL: "http://dryslot.example"}
	h.Projects = &projects.Service{Store: h.Store.Projects(), Alerts: h.Alerts, Plan: planner.Make, Now: clock}
	h.Alerts.Projects = h.Projects
	h.Fetching = &fetching.Service{Store: h.Store.Fetching(), Feeds: []fetching.Feed{feed}, Now: clock}
	h.People = &accounts.Service{Store: h.Store, Wall: time.Now}
	srv := httptest.NewServer(handler(h, web.Options{Store: h.Store, Clock: clock, ClockSet: true,
		PublicURL: "http://dryslot.example", Longest: Patient,
		Log: slog.New(slog.NewTextHandler(h.Errors, &slog.HandlerOptions{Level: slog.LevelError}))}))
	t.Cleanup(srv.Close)
	t.Cleanup(func() {
		if t.Failed() && h.Errors.Len() > 0 {
			t.Logf("the log: %s", h.Errors)
		}
	})
	h.URL = srv.URL
	for _, token := range []string{FirstToken, SecondToken} {
		if _, err := h.Store.EnsureToken(context.Background(), token); err != nil {
			t.Fatal(err)
		}
	}
	return h
}

// Rows is the store as the API and the pages see it.
func (h *Service) Rows() postgres.AccountView[web.Tx] {
	return postgres.ViewOfAccounts(h.Store, func(tx *postgres.AccountTx) web.Tx { return tx })
}

// Answer is what a request got.
type Answer struct {
	Status int
	Header http.Header
	Body   string
}

// Send sends a request with the service's token, unless the headers, given as
// name and value, say otherwise; an empty value leaves a header out.
func (h *Service) Send(t *testing.T, method, path, body string, headers ...string) Answer {
	t.Helper()
	// The path is sent as it is written: tests send what clients should not.
	path, query, asked := strings.Cut(strings.ReplaceAll(path, " ", "%20"), "?")
	req, err := http.NewRequest(method, h.URL, strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	req.URL.Opaque = path
	req.URL.RawQuery, req.URL.ForceQuery = query, asked
	req.Header.Set("Authorization", "Bearer "+h.Token)
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
	a := Answer{resp.StatusCode, resp.Header, string(got)}
	h.compare(t, req, method, path, body, a)
	return a
}

// compare fails the test where an answer of the API departs from its
// description, or where a body was accepted that the description refuses.
func (h *Service) compare(t *testing.T, req *http.Request, method, path, body string, a Answer) {
	t.Helper()
	if !strings.HasPrefix(path, "/v1/") {
		return
	}
	h.mu.Lock() // tests send several requests at a time
	defer h.mu.Unlock()
	if h.described == nil {
		resp, err := http.Get(h.URL + "/openapi.json")
		if err != nil {
			t.Fatal(err)
		}
		defer resp.Body.Close()
		document, err := io.ReadAll(resp.Body)
		if err != nil {
			t.Fatal(err)
		}
		h.described = Describe(t, document)
	}
	if err := h.described.Answer(method, path, a.Status, a.Header, a.Body); err != nil {
		t.Errorf("%s %s: the answer departs from its description: %v\n%.400s", method, path, err, a.Body)
	}
	op, _, _ := h.described.operation(method, path)
	if id, _ := op["operationId"].(string); id != "" && a.Status < 300 && (h.Seen[id] == nil ||
		h.Seen[id]["body"] == nil && body != "") && json.Valid([]byte(a.Body)) {
		if h.Seen == nil {
			h.Seen = map[string]map[string]json.RawMessage{}
		}
		h.Seen[id] = map[string]json.RawMessage{"answer": json.RawMessage(a.Body)}
		if body != "" {
			h.Seen[id]["body"] = json.RawMessage(body)
		}
	}
	if a.Status < 300 && body != "" && req.Header.Get("Content-Type") != "" {
		if err := h.described.Body(method, path, body); err != nil {
			t.Errorf("%s %s: a body was accepted that departs from its description: %v\n%.400s", method, path, err,
				body)
		}
	}
}

// Must sends a request and fails the test unless it is answered with a status.
func (h *Service) Must(t *testing.T, status int, method, path, body string, headers ...string) Answer {
	t.Helper()
	a := h.Send(t, method, path, body, headers...)
	if a.Status != status {
		t.Fatalf("%s %s: %d, want %d: %.800s\n%s", method, path, a.Status, status, a.Body, h.Errors)
	}
	return a
}

// Create sets a project up and returns its id.
func (h *Service) Create(t *testing.T, token, body string) string {
	t.Helper()
	a := h.Must(t, http.StatusCreated, "POST", "/v1/projects", body, "Authorization", "Bearer "+token)
	n, err := pour.Parse([]byte(a.Body))
	if err != nil {
		t.Fatal(err)
	}
	return n.Get("id").Text
}

// Refresh fetches the forecast of a project's cell and plans from it.
func (h *Service) Refresh(t *testing.T, id string) {
	t.Helper()
	ctx := context.Background()
	account, err := h.Store.AccountByToken(ctx, h.Token)
	if err != nil {
		t.Fatal(err)
	}
	var p pour.Project
	if err := h.Store.InAccount(ctx, account, func(ctx context.Context, tx *postgres.AccountTx) (err error) {
		p, err = tx.Project(ctx, id)
		return err
	}); err != nil {
		t.Fatal(err)
	}
	if err := h.Fetching.Refresh(ctx, place.CellOf(p.Latitude, p.Longitude)); err != nil {
		t.Fatal(err)
	}
	if _, err := h.Projects.Replan(ctx, account, id, "new forecast"); err != nil {
		t.Fatal(err)
	}
}
