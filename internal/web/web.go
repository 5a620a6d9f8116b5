// Package web owns the HTTP door: the JSON API of the contract, the calendar,
// what machines ask for, and the pages. It turns kinds of error into statuses
// and nothing else into decisions: those are the service's.
//
//	handler := web.New(web.Options{Service: svc, Store: store, ...})
package web

import (
	"cmp"
	"context"
	"io"
	"log/slog"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/labstack/echo/v4"
	"github.com/labstack/echo/v4/middleware"

	"dryslot/internal/metrics"
	"dryslot/internal/watch"
	"dryslot/internal/web/view"
)

// Options is what the door needs from the house.
type Options struct {
	Service Service
	Store   watch.Store
	// Clock is the service's clock, which may be set to another time for
	// demonstrations.
	Clock func() time.Time
	// ClockSet says that the clock is not the real one. Every answer then says
	// so in the header Dryslot-Clock.
	ClockSet bool
	// Wall is the real clock, for what expires; nil: time.Now.
	Wall func() time.Time
	// Sample says that the weather is invented. Every answer then says so in
	// the header Dryslot-Weather.
	Sample bool
	// PublicURL is the address that the service is reached at, without a
	// slash at its end, such as http://127.0.0.1:8080. Calendars are found there.
	PublicURL string
	// Views lays out the pages; nil: there are none.
	Views *view.Pages
	// Longest is how long a request may take; 0: 30 s.
	Longest time.Duration
	// Metrics takes how long requests take; nil: its own.
	Metrics *metrics.Metrics
	// Log takes what went wrong here; nil: nothing is logged.
	Log *slog.Logger
}

// SampleWeather is what every answer and page says of invented weather.
const SampleWeather = "sample weather, not for real pours"

// server answers requests.
type server struct {
	Options
	log     *slog.Logger
	turns   turns
	api     huma.API
	openAPI []byte
}

// New returns the handler of every route.
func New(o Options) http.Handler {
	if o.Wall == nil {
		o.Wall = time.Now
	}
	if o.Metrics == nil {
		o.Metrics = metrics.New()
	}
	if o.Log == nil {
		o.Log = slog.New(slog.NewTextHandler(io.Discard, nil))
	}
	s := &server{Options: o, log: o.Log}
	e := echo.New()
	e.HideBanner, e.HidePort = true, true
	e.HTTPErrorHandler = s.onError
	e.Use(s.observe, s.recover, s.within, s.announce, middleware.GzipWithConfig(middleware.GzipConfig{MinLength: packFrom}))
	s.machines(e)
	s.newAPI(e)
	if s.Views != nil {
		s.pages(e)
	}
	return headAsGet(e)
}

// packFrom is the shortest answer that is compressed, in bytes: a shorter one
// fits into one packet anyway (Ethernet's 1,500 bytes, less headers).
const packFrom = 1400

// longest is how long a request may take unless Options say otherwise. One that
// waits for a project that others are at gives its connection to the database
// back then.
const longest = 30 * time.Second

// within bounds the time of a request.
func (s *server) within(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		ctx, cancel := context.WithTimeout(c.Request().Context(), cmp.Or(s.Longest, longest))
		defer cancel()
		c.SetRequest(c.Request().WithContext(ctx))
		return next(c)
	}
}

// announce says in every answer what is not as it would be on a real morning.
func (s *server) announce(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		h := c.Response().Header()
		h.Set("X-Content-Type-Options", "nosniff")
		if s.ClockSet {
			h.Set("Dryslot-Clock", s.Clock().Format(time.RFC3339))
		}
		if s.Sample {
			h.Set("Dryslot-Weather", SampleWeather)
		}
		return next(c)
	}
}

// headAsGet answers HEAD with what GET would; net/http looks at its own request
// and leaves out the body.
func headAsGet(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Method == http.MethodHead {
			asGet := *r
			asGet.Method = http.MethodGet
			r = &asGet
		}
		next.ServeHTTP(w, r)
	})
}
