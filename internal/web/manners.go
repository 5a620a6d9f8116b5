package web

import (
	"net/http"
	"regexp"
	"strings"

	"github.com/labstack/echo/v4"
	"github.com/labstack/echo/v4/middleware"

	"dryslot/internal/message"
)

// machineAddress is the form of the addresses that programs ask: the API, of
// versions to come too, its description, and the probes. All others are pages.
var machineAddress = regexp.MustCompile(`^/(v[0-9]+(/.*)?|openapi\.json|healthz|readyz|metrics)$`)

// ShowPage is how an error is shown to a person in a browser.
type ShowPage func(c echo.Context, p *Problem) error

// ShowErrorsBy makes pages of the errors at addresses that are for people, unknown
// ones included. Without it they are problems.
func (s *Server) ShowErrorsBy(show ShowPage) { s.showError = show }

// onError is echo's last resort: unknown routes, wrong methods, panics, and
// whatever a plain handler returned.
func (s *Server) onError(err error, c echo.Context) {
	if s.showError == nil || c.Response().Committed || machineAddress.MatchString(c.Request().URL.Path) {
		s.Fail(c, err)
		return
	}
	p := s.problemOfEcho(err, c)
	if p.Status == http.StatusNotFound {
		p = NewProblem(p.Status, message.New(NoPage))
	}
	s.holdBack(c, p.Status)
	if err := s.showError(c, p); err != nil {
		s.Fail(c, err)
	}
}

// methods answers OPTIONS, and a method that a known path does not take, with
// the methods that it takes. echo knows nothing of HEAD, which is answered
// wherever GET is.
func (s *Server) methods(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		allow, ok := c.Get(echo.ContextKeyHeaderAllow).(string)
		if !ok {
			return next(c)
		}
		known := strings.Split(allow, ", ")
		with := make([]string, 0, len(known)+1)
		for _, m := range known {
			if with = append(with, m); m == http.MethodGet {
				with = append(with, http.MethodHead)
			}
		}
		allow = strings.Join(with, ", ")
		c.Set(echo.ContextKeyHeaderAllow, allow) // the CORS middleware reads it
		c.Response().Header().Set(echo.HeaderAllow, allow)
		if c.Request().Method == http.MethodOptions && c.Request().Header.Get(echo.HeaderOrigin) == "" {
			return c.NoContent(http.StatusNoContent)
		}
		return next(c)
	}
}

// otherOrigins lets scripts of the origins in Options ask the API from a
// browser (CORS, as the Fetch standard has it). No cookie opens the API, so that
// nothing is lent to those scripts: they bring their own token.
func (s *Server) otherOrigins() echo.MiddlewareFunc {
	return middleware.CORSWithConfig(middleware.CORSConfig{
		Skipper: func(c echo.Context) bool {
			known := c.Get(echo.ContextKeyHeaderAllow) != nil
			path := c.Request().URL.Path
			return !machineAddress.MatchString(path) || c.Request().Method == http.MethodOptions && !known
		},
		AllowOrigins: s.Origins,
		AllowHeaders: []string{"Authorization", "Content-Type", "Accept-Language", "If-Match", "If-None-Match",
			"Idempotency-Key"},
		ExposeHeaders: []string{"ETag", "Link", "Location", "Retry-After", "Allow", "WWW-Authenticate",
			"RateLimit", "RateLimit-Policy", "X-Request-Id",
			"Dryslot-Clock", "Dryslot-Weather"},
		MaxAge: preflightAge,
	})
}

// preflightAge is how long a browser may keep what a preflight said, in
// seconds: the most that the common browsers keep (judgement).
const preflightAge = 7200
