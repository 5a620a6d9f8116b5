package web

import (
	"cmp"
	"log/slog"
	"net/http"
	"slices"
	"time"

	"github.com/labstack/echo/v4"

	"dryslot/internal/logs"
	"dryslot/internal/message"
	"dryslot/internal/metrics"
	"dryslot/internal/traces"
)

// known are the methods and routes that requests are noted by: the pattern of the
// route, so that no request can add names without end.
func known(c echo.Context) (method, route string) {
	method, route = c.Request().Method, cmp.Or(c.Path(), "none")
	if !slices.Contains([]string{http.MethodGet, http.MethodPost, http.MethodPatch, http.MethodDelete}, method) {
		method = "other"
	}
	return method, route
}

// trace makes a span of a request, which its lines in the log name. A trace that a
// proxy of ours began goes on.
func (s *Server) trace(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		r := c.Request()
		asked := traces.Request{ID: c.Response().Header().Get(echo.HeaderXRequestID)}
		asked.Method, asked.Route = known(c)
		if s.fromProxy(r) {
			asked.Parent = r.Header.Get("Traceparent")
		}
		ctx, id, end := s.Traces.Begin(r.Context(), asked)
		if id != "" {
			ctx = logs.With(ctx, slog.String("trace", id))
		}
		c.SetRequest(r.WithContext(ctx))
		err := next(c)
		end(c.Response().Status)
		return err
	}
}

// observe notes how long an answer took, and logs who was refused.
func (s *Server) observe(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		begun := s.Wall()
		if err := next(c); err != nil {
			c.Error(err)
		}
		method, route := known(c)
		status := c.Response().Status
		s.Metrics.Request(route, method, status, s.Wall().Sub(begun))
		if status == http.StatusUnauthorized || status == http.StatusForbidden || status == http.StatusTooManyRequests {
			s.Log.InfoContext(c.Request().Context(), "refused", "status", status, "method", method, "route", route,
				"address", s.ClientAddress(c.Request()).String())
		}
		return nil
	}
}

// figures reads how the service stands. Where the database does not answer,
// that is the one figure. An age is left out where there is nothing that could
// have one.
func (s *Server) figures(r *http.Request) []metrics.Gauge {
	const up, upHelp = "dryslot_database_up", "1 where the database answered, else 0."
	f, err := s.Store.Figures(r.Context(), s.Clock())
	if err != nil {
		s.Log.WarnContext(r.Context(), "figures can't be read", "error", err)
		return []metrics.Gauge{{Name: up, Help: upHelp}}
	}
	out := []metrics.Gauge{{Name: up, Help: upHelp, Figure: 1}}
	count := func(name, help string, n int) {
		out = append(out, metrics.Gauge{Name: name, Help: help, Figure: float64(n)})
	}
	age := func(name, help string, from time.Time) {
		if !from.IsZero() {
			out = append(out, metrics.Gauge{Name: name, Help: help, Figure: s.Clock().Sub(from).Seconds()})
		}
	}
	count("dryslot_cells", "Cells of the forecast grid that are watched.", f.Cells)
	count("dryslot_cells_overdue", "Cells whose next fetch is due.", f.CellsOverdue)
	count("dryslot_cells_failing", "Cells whose last fetch failed.", f.CellsFailing)
	age("dryslot_forecast_age_seconds", "Since the fetch of the oldest forecast in use.", f.OldestForecast)
	count("dryslot_projects", "Projects.", f.Projects)
	count("dryslot_projects_overdue", "Projects whose time for an alert or a plan has come.", f.ProjectsOverdue)
	count("dryslot_deliveries", "Alerts neither sent nor given up.", f.Deliveries)
	age("dryslot_delivery_lateness_seconds", "Since the delivery that is due longest should have been tried.",
		f.OldestDelivery)
	for _, j := range f.Jobs {
		out = append(out, metrics.Gauge{Name: "dryslot_jobs", Help: "Jobs in the queue by state.", Label: "state",
			Value: j.State, Figure: float64(j.Count)})
	}
	return out
}

// machines registers what machines ask for; it needs no token.
func (s *Server) machines(e *echo.Echo) {
	e.GET("/healthz", func(c echo.Context) error {
		return c.String(http.StatusOK, "alive\n")
	})
	e.GET("/readyz", func(c echo.Context) error {
		if s.Stopping != nil && s.Stopping() {
			return NewProblem(http.StatusServiceUnavailable, message.New(ServiceStopping))
		}
		if err := s.Store.Ready(c.Request().Context()); err != nil {
			p := NewProblem(http.StatusServiceUnavailable, message.New(NotReady))
			p.cause, p.retryAfter = err, max(1, ProblemOf(err).retryAfter)
			return p
		}
		return c.String(http.StatusOK, "ready\n")
	})
	e.GET("/metrics", echo.WrapHandler(s.Metrics.Handler(s.figures)))
}
