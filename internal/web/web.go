// Package web owns what the JSON API and the pages share: the server with its
// limits of time and of changes at once, compression, problems (RFC 9457), and
// what machines ask for. Routes are in web/api and web/pages. It turns kinds
// of error into statuses and decides nothing else.
//
//	handler := web.New(web.Options{Store: store, ...},
//		api.Routes(service, store), pages.Routes(service, store, views))
package web

import (
	"cmp"
	"context"
	"crypto/rand"
	"fmt"
	"log/slog"
	"net/http"
	"net/netip"
	"runtime/debug"
	"strconv"
	"strings"
	"time"

	"github.com/labstack/echo/v4"
	"github.com/labstack/echo/v4/middleware"

	"dryslot/internal/logs"
	"dryslot/internal/message"
	"dryslot/internal/metrics"
	"dryslot/internal/traces"
)

// Store is what the probes ask of the database.
type Store interface {
	// Ready reports whether the database answers and is migrated.
	Ready(ctx context.Context) error
	// Figures reads how the service stands.
	Figures(ctx context.Context, now time.Time) (metrics.Figures, error)
}

// Options is what the server needs.
type Options struct {
	Store Store
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
	// Proxies are networks of proxies in front of the service, whose
	// X-Forwarded-For is believed; none: the address of the connection counts.
	Proxies []netip.Prefix
	// Longest is how long a request may take; 0: 30 s.
	Longest time.Duration
	// Origins may ask the API by scripts in a browser: each as
	// https://host[:port], or * alone for all; none: no other origin.
	Origins []string
	// Build tells this program from others, whose answers may be worded
	// otherwise: what one keeps ready another does not send.
	Build string
	// Metrics takes how long requests take; nil: its own.
	Metrics *metrics.Metrics
	// Traces makes a span of each request; nil: none.
	Traces *traces.Traces
	// RequestsAMinute is how many requests one account may make in a minute, and
	// an address addressShare times as many; 0: as many as they like.
	RequestsAMinute int
	// RefusalPause is how long whoever is refused for a wrong token or for too many
	// requests waits for the answer; 0: not at all.
	RefusalPause time.Duration
	// OwnProbes says that metrics and probes have a listener of their own.
	OwnProbes bool
	// Stopping reports whether the service is about to stop listening: it is
	// not ready then; nil: it never is.
	Stopping func() bool
	// Log takes what went wrong here; nil: nothing is logged.
	Log *slog.Logger
}

// SampleWeather is what every answer and page says of invented weather.
const SampleWeather = "sample weather, not for real pours"

// Server is what all routes share. Its Options are complete.
type Server struct {
	Options
	turns     turns
	rates     rates
	packing   map[string]bool // method and path of routes whose answers are not compressed here
	lengthy   map[string]bool // method and path of routes whose answers take long on a poor connection
	reading   chan struct{}   // holds one for each photo that is being read
	held      chan struct{}   // holds one for each refusal that waits
	showError ShowPage        // of errors outside the API; nil: they are problems
}

// Routes registers a part's routes.
type Routes func(*Server, *echo.Echo)

// New returns the handler of every route of the parts, and of the probes.
func New(o Options, parts ...Routes) http.Handler {
	s, e := newServer(o)
	e.Use(s.identify, s.trace, s.observe, s.recover, s.within, s.announce, s.limitAddress, s.methods)
	if len(s.Origins) > 0 {
		e.Use(s.otherOrigins())
	}
	e.Use(middleware.GzipWithConfig(middleware.GzipConfig{MinLength: packFrom,
		Skipper: func(c echo.Context) bool { return s.packing[c.Request().Method+" "+c.Path()] }}))
	if !s.OwnProbes {
		s.machines(e)
	}
	for _, register := range parts {
		register(s, e)
	}
	return headAsGet(e)
}

// Probes returns the handler of metrics and probes alone, for a listener of
// their own. The pages and the API are not there.
func Probes(o Options) http.Handler {
	s, e := newServer(o)
	e.Use(s.identify, s.recover, s.within)
	s.machines(e)
	return headAsGet(e)
}

func newServer(o Options) (*Server, *echo.Echo) {
	if o.Wall == nil {
		o.Wall = time.Now
	}
	if o.Metrics == nil {
		o.Metrics = metrics.New()
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	s := &Server{Options: o, packing: map[string]bool{}, lengthy: map[string]bool{},
		reading: make(chan struct{}, mostReading), held: make(chan struct{}, mostHeld)}
	e := echo.New()
	e.HideBanner, e.HidePort = true, true
	e.HTTPErrorHandler = s.onError
	return s, e
}

// longestID is the longest id of a request that is taken from a proxy: twice
// what the common forms of such ids have (judgement).
const longestID = 128

// identify gives each request an id, which its lines in the log and its answer
// carry. One that a proxy of ours gave stays; what anyone else writes does not,
// so that nobody can put another's id into the log.
func (s *Server) identify(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		r := c.Request()
		id := r.Header.Get(echo.HeaderXRequestID)
		if id == "" || len(id) > longestID || strings.ContainsFunc(id, NotPrintableASCII) || !s.fromProxy(r) {
			id = rand.Text()
		}
		c.Response().Header().Set(echo.HeaderXRequestID, id)
		c.SetRequest(r.WithContext(logs.With(r.Context(), slog.String("request", id))))
		return next(c)
	}
}

// TakeTurn waits until an account may make a change, at most until ctx ends;
// then the error is fault.Unavailable. Leave must be called once it is made.
func (s *Server) TakeTurn(ctx context.Context, account string) (leave func(), err error) {
	return s.turns.take(ctx, account)
}

// PacksItself leaves compressing to the route of a method and a path, as echo
// writes it.
func (s *Server) PacksItself(method, path string) { s.packing[method+" "+path] = true }

// TakesLong gives the route of a method and a path, as echo writes it, up to
// longestSending.
func (s *Server) TakesLong(method, path string) { s.lengthy[method+" "+path] = true }

// TakesGzip reports whether a client takes a body compressed by gzip (RFC 9110,
// 12.5.3).
func TakesGzip(r *http.Request) bool {
	takes := false
	for part := range strings.SplitSeq(strings.Join(r.Header.Values("Accept-Encoding"), ","), ",") {
		coding, weight, _ := strings.Cut(strings.TrimSpace(part), ";")
		name, value, _ := strings.Cut(strings.TrimSpace(weight), "=")
		switch coding = strings.ToLower(strings.TrimSpace(coding)); coding {
		case "gzip", "*":
			q, err := strconv.ParseFloat(value, 64)
			refused := strings.EqualFold(name, "q") && err == nil && q == 0
			if coding == "gzip" {
				return !refused
			}
			takes = !refused
		}
	}
	return takes
}

// packFrom is the shortest answer that is compressed, in bytes: a shorter one
// fits into one packet anyway (Ethernet's 1,500 bytes, less headers).
const packFrom = 1400

// longest is how long a request may take unless Options say otherwise. One that
// waits for a project that others are at gives its connection to the database
// back then.
const longest = 30 * time.Second

// longestSending is how long an archive of an account may take: 200 photos of 400 kB
// at 1 Mbit/s need eleven minutes (judgement).
const longestSending = 20 * time.Minute

// within bounds the time of a request.
func (s *Server) within(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		most := cmp.Or(s.Longest, longest)
		if s.lengthy[c.Request().Method+" "+c.Path()] {
			most = longestSending
		}
		ctx, cancel := context.WithTimeout(c.Request().Context(), most)
		defer cancel()
		c.SetRequest(c.Request().WithContext(ctx))
		return next(c)
	}
}

// announce says in every answer what is not as it would be on a real morning.
func (s *Server) announce(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		h := c.Response().Header()
		h.Set("X-Content-Type-Options", "nosniff")
		if s.Secure() {
			h.Set("Strict-Transport-Security", "max-age=31536000") // a year, of this host alone (RFC 6797)
		}
		if s.ClockSet {
			h.Set("Dryslot-Clock", s.Clock().Format(time.RFC3339))
		}
		if s.Sample {
			h.Set("Dryslot-Weather", SampleWeather)
		}
		return next(c)
	}
}

type headKey struct{}

// AsksHead reports whether a request was HEAD, which must change nothing (RFC 9110,
// 9.2.1): what a GET uses up stays.
func AsksHead(r *http.Request) bool { return r.Context().Value(headKey{}) != nil }

// headAsGet answers HEAD with what GET would; net/http looks at its own request
// and leaves out the body.
func headAsGet(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Method == http.MethodHead {
			r = r.WithContext(context.WithValue(r.Context(), headKey{}, true)) // a copy
			r.Method = http.MethodGet
		}
		next.ServeHTTP(w, r)
	})
}

// recover turns a panic into a problem, with its trace in the log.
func (s *Server) recover(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) (err error) {
		defer func() {
			v := recover()
			if v == nil {
				return
			}
			if v == http.ErrAbortHandler {
				panic(v)
			}
			s.Log.ErrorContext(c.Request().Context(), "a handler panicked", "route", c.Path(), "panic", fmt.Sprint(v),
				"trace", string(debug.Stack()))
			err = NewProblem(http.StatusInternalServerError, message.New(InternalError))
		}()
		return next(c)
	}
}
