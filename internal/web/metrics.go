package web

import (
	"fmt"
	"maps"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"sync"

	"github.com/danielgtaylor/huma/v2"
	"github.com/labstack/echo/v4"
)

// Gauge is one figure of the running service for /metrics.
type Gauge struct {
	Name   string // such as dryslot_forecast_age_seconds
	Help   string // one line
	Labels map[string]string
	Value  float64
}

// counts counts answers by route, method and status.
type counts struct {
	mu    sync.Mutex
	tally map[answerKind]uint64
}

type answerKind struct {
	route, method string
	status        int
}

func newCounts() *counts { return &counts{tally: map[answerKind]uint64{}} }

// count counts an answer once it is given. Routes are counted by their
// pattern, so that no request can add names without end.
func (s *server) count(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		if err := next(c); err != nil {
			c.Error(err)
		}
		route := c.Path()
		if route == "" {
			route = "none"
		}
		method := c.Request().Method
		if !slices.Contains([]string{http.MethodGet, http.MethodPost, http.MethodPatch, http.MethodDelete}, method) {
			method = "other"
		}
		s.counts.mu.Lock()
		defer s.counts.mu.Unlock()
		s.counts.tally[answerKind{route, method, c.Response().Status}]++
		return nil
	}
}

// metrics writes the Prometheus text format, version 0.0.4.
func (s *server) metrics(c echo.Context) error {
	var b strings.Builder
	b.WriteString("# HELP dryslot_http_requests_total Answers by route, method and status.\n# TYPE dryslot_http_requests_total counter\n")
	s.counts.mu.Lock()
	tally := maps.Clone(s.counts.tally)
	s.counts.mu.Unlock()
	var lines []string
	for k, n := range tally {
		lines = append(lines, sample("dryslot_http_requests_total",
			map[string]string{"route": k.route, "method": k.method, "status": strconv.Itoa(k.status)}, float64(n)))
	}
	slices.Sort(lines)
	b.WriteString(strings.Join(lines, ""))
	if s.Gauges != nil {
		gauges, err := s.Gauges(c.Request().Context())
		if err != nil {
			return err
		}
		slices.SortStableFunc(gauges, func(a, b Gauge) int { return strings.Compare(a.Name, b.Name) })
		for i, g := range gauges {
			if i == 0 || gauges[i-1].Name != g.Name {
				fmt.Fprintf(&b, "# HELP %s %s\n# TYPE %s gauge\n", g.Name, g.Help, g.Name)
			}
			b.WriteString(sample(g.Name, g.Labels, g.Value))
		}
	}
	return c.Blob(http.StatusOK, "text/plain; version=0.0.4; charset=utf-8", []byte(b.String()))
}

// sample writes one line: a name, its labels in order, and the value.
func sample(name string, labels map[string]string, value float64) string {
	escape := strings.NewReplacer(`\`, `\\`, `"`, `\"`, "\n", `\n`)
	var pairs []string
	for _, k := range slices.Sorted(maps.Keys(labels)) {
		pairs = append(pairs, k+`="`+escape.Replace(labels[k])+`"`)
	}
	if len(pairs) > 0 {
		name += "{" + strings.Join(pairs, ",") + "}"
	}
	return name + " " + strconv.FormatFloat(value, 'g', -1, 64) + "\n"
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
