package web

import (
	"cmp"
	"fmt"
	"maps"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/labstack/echo/v4"

	"dryslot/internal/watch"
)

// counts counts answers by route, method and status, and the time they took.
type counts struct {
	mu    sync.Mutex
	tally map[answerKind]taken
}

type answerKind struct {
	route, method string
	status        int
}

type taken struct {
	answers uint64
	seconds float64
}

func newCounts() *counts { return &counts{tally: map[answerKind]taken{}} }

// count counts an answer once it is given. Routes are counted by their
// pattern, so that no request can add names without end.
func (s *server) count(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		begun := s.Wall()
		if err := next(c); err != nil {
			c.Error(err)
		}
		kind := answerKind{c.Path(), c.Request().Method, c.Response().Status}
		if kind.route == "" {
			kind.route = "none"
		}
		if !slices.Contains([]string{http.MethodGet, http.MethodPost, http.MethodPatch, http.MethodDelete}, kind.method) {
			kind.method = "other"
		}
		s.counts.mu.Lock()
		defer s.counts.mu.Unlock()
		t := s.counts.tally[kind]
		s.counts.tally[kind] = taken{t.answers + 1, t.seconds + s.Wall().Sub(begun).Seconds()}
		return nil
	}
}

// metrics writes the Prometheus text format, version 0.0.4.
func (s *server) metrics(c echo.Context) error {
	figures, err := s.Store.Figures(c.Request().Context(), s.Clock())
	if err != nil {
		return err
	}
	var m exposition
	s.counts.mu.Lock()
	tally := maps.Clone(s.counts.tally)
	s.counts.mu.Unlock()
	for _, family := range []struct {
		name, help string
		value      func(taken) float64
	}{
		{"dryslot_http_requests_total", "Answers by route, method and status.", func(t taken) float64 { return float64(t.answers) }},
		{"dryslot_http_seconds_total", "Time that they took.", func(t taken) float64 { return t.seconds }},
	} {
		m.family(family.name, "counter", family.help)
		for _, k := range slices.SortedFunc(maps.Keys(tally), answerKind.compare) {
			m.sample(family.name, family.value(tally[k]), "route", k.route, "method", k.method, "status", strconv.Itoa(k.status))
		}
	}
	m.figures(figures, s.Clock())
	return c.Blob(http.StatusOK, "text/plain; version=0.0.4; charset=utf-8", []byte(m.String()))
}

func (k answerKind) compare(l answerKind) int {
	return cmp.Or(strings.Compare(k.route, l.route), strings.Compare(k.method, l.method), cmp.Compare(k.status, l.status))
}

// exposition is a text in the making.
type exposition struct{ strings.Builder }

func (m *exposition) family(name, kind, help string) {
	fmt.Fprintf(m, "# HELP %s %s\n# TYPE %s %s\n", name, help, name, kind)
}

// sample writes one line: a name, labels as name and value, and the value.
func (m *exposition) sample(name string, value float64, labels ...string) {
	escape := strings.NewReplacer(`\`, `\\`, `"`, `\"`, "\n", `\n`)
	var pairs []string
	for i := 0; i+1 < len(labels); i += 2 {
		pairs = append(pairs, labels[i]+`="`+escape.Replace(labels[i+1])+`"`)
	}
	if len(pairs) > 0 {
		name += "{" + strings.Join(pairs, ",") + "}"
	}
	m.WriteString(name + " " + strconv.FormatFloat(value, 'g', -1, 64) + "\n")
}

// figures writes how the service stands. An age is left out where there is
// nothing that could have one.
func (m *exposition) figures(f watch.Figures, now time.Time) {
	gauge := func(name, help string, value float64) {
		m.family(name, "gauge", help)
		m.sample(name, value)
	}
	age := func(name, help string, from time.Time) {
		if !from.IsZero() {
			gauge(name, help, now.Sub(from).Seconds())
		}
	}
	gauge("dryslot_cells", "Cells of the forecast grid that are watched.", float64(f.Cells))
	gauge("dryslot_cells_overdue", "Cells whose next fetch is due.", float64(f.CellsOverdue))
	gauge("dryslot_cells_failing", "Cells whose last fetch failed.", float64(f.CellsFailing))
	age("dryslot_forecast_age_seconds", "Since the fetch of the oldest forecast in use.", f.OldestForecast)
	gauge("dryslot_projects", "Projects.", float64(f.Projects))
	gauge("dryslot_projects_overdue", "Projects whose time for an alert or a plan has come.", float64(f.ProjectsOverdue))
	gauge("dryslot_deliveries", "Alerts neither sent nor given up.", float64(f.Deliveries))
	age("dryslot_delivery_lateness_seconds", "Since the delivery that is due longest should have been tried.", f.OldestDelivery)
	m.family("dryslot_jobs", "gauge", "Jobs in the queue by state.")
	for _, j := range f.Jobs {
		m.sample("dryslot_jobs", float64(j.Count), "state", j.State)
	}
}

// describeMachines adds the machines' routes to the description.
func (s *server) describeMachines() {
	for path, summary := range map[string]string{"/healthz": "Alive", "/readyz": "Ready: the database answers and is migrated",
		"/metrics": "Figures in the Prometheus text format", "/openapi.json": "This description"} {
		kind := "text/plain"
		if path == "/openapi.json" {
			kind = "application/json"
		}
		s.api.OpenAPI().AddOperation(&huma.Operation{Method: http.MethodGet, Path: path, Summary: summary, OperationID: path[1:],
			Security:  []map[string][]string{},
			Responses: map[string]*huma.Response{"200": {Description: "OK", Content: map[string]*huma.MediaType{kind: {}}}, "default": s.problemResponse()}})
	}
}

// machines registers what machines ask for; it needs no token.
func (s *server) machines(e *echo.Echo) {
	e.GET("/healthz", func(c echo.Context) error {
		return c.String(http.StatusOK, "alive\n")
	})
	e.GET("/readyz", func(c echo.Context) error {
		if err := s.Store.Ready(c.Request().Context()); err != nil {
			p := newProblem(http.StatusServiceUnavailable, "the database does not answer, or is not migrated")
			p.cause, p.retryAfter = err, max(1, problemOf(err).retryAfter)
			return p
		}
		return c.String(http.StatusOK, "ready\n")
	})
	e.GET("/metrics", s.metrics)
	e.GET("/openapi.json", func(c echo.Context) error {
		return c.Blob(http.StatusOK, "application/json", s.openAPI)
	})
}
