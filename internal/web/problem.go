package web

import (
	"context"
	"errors"
	"fmt"
	"math"
	"net/http"
	"strconv"
	"strings"

	"github.com/danielgtaylor/huma/v2"
	"github.com/labstack/echo/v4"

	"dryslot/internal/fault"
)

// statusOf is the one table from kind of error to HTTP status. Whatever has
// no kind is a mistake of ours: 500.
var statusOf = map[fault.Kind]int{
	fault.NotFound:    http.StatusNotFound,
	fault.Unreadable:  http.StatusBadRequest,
	fault.Invalid:     http.StatusUnprocessableEntity,
	fault.Conflict:    http.StatusConflict,
	fault.Forbidden:   http.StatusUnauthorized,
	fault.Unavailable: http.StatusServiceUnavailable,
	fault.Stale:       http.StatusPreconditionFailed,
}

// problem is an error as every route answers it (RFC 9457), with each value at
// fault.
type problem struct {
	Type   string         `json:"type" doc:"about:blank: the status says what kind of problem it is"`
	Title  string         `json:"title" doc:"The status in words"`
	Status int            `json:"status"`
	Detail string         `json:"detail" doc:"One sentence for the person who caused it"`
	Errors []problemField `json:"errors" doc:"Every value at fault"`

	retryAfter int // seconds, 0: not known
	cause      error
}

// problemField names one value at fault and the rule that it breaks.
type problemField struct {
	Field string `json:"field" doc:"Such as pads[2].thickness_m, a query parameter or a header"`
	Value string `json:"value" doc:"What was given, as text, cut to 80 characters"`
	Rule  string `json:"rule" doc:"Such as: must be a number from 0.04 to 0.5"`
}

// newProblem returns a problem of one status.
func newProblem(status int, detail string, fields ...problemField) *problem {
	if fields == nil {
		fields = []problemField{}
	}
	return &problem{Type: "about:blank", Title: http.StatusText(status), Status: status, Detail: detail, Errors: fields}
}

// Error, GetStatus, ContentType and GetHeaders let huma answer a problem.
func (p *problem) Error() string { return p.Detail }

func (p *problem) GetStatus() int { return p.Status }

func (p *problem) ContentType(string) string { return "application/problem+json" }

func (p *problem) Unwrap() error { return p.cause }

func (p *problem) GetHeaders() http.Header {
	h := http.Header{}
	if p.Status == http.StatusUnauthorized {
		h.Set("WWW-Authenticate", `Bearer realm="dryslot"`)
	}
	if p.retryAfter > 0 {
		h.Set("Retry-After", strconv.Itoa(p.retryAfter))
	}
	return h
}

// problemOf turns any error into the problem that is answered. What has no
// kind tells nothing of its cause: the log does.
func problemOf(err error) *problem {
	var p *problem
	if errors.As(err, &p) {
		return p
	}
	if errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return &problem{Type: "about:blank", Title: http.StatusText(http.StatusServiceUnavailable), Status: http.StatusServiceUnavailable,
			Detail: "the request was given up before it was done", Errors: []problemField{}, cause: err}
	}
	status, ok := statusOf[fault.KindOf(err)]
	if !ok {
		p = newProblem(http.StatusInternalServerError, "something went wrong here; the log knows more")
		p.cause = err
		return p
	}
	var f *fault.Error
	if !errors.As(err, &f) {
		p = newProblem(status, string(fault.KindOf(err)))
		p.cause = err
		return p
	}
	p = newProblem(status, f.Message)
	for _, x := range f.Fields {
		p.Errors = append(p.Errors, problemField{x.Path, x.Value, x.Rule})
	}
	p.retryAfter = int(math.Ceil(f.RetryAfter.Seconds()))
	p.cause = err
	return p
}

// asProblem is a huma transformer: huma's own errors take our form.
func asProblem(_ huma.Context, _ string, v any) (any, error) {
	m, ok := v.(*huma.ErrorModel)
	if !ok {
		return v, nil
	}
	p := newProblem(m.Status, m.Detail)
	for _, e := range m.Errors {
		var l fault.List // cuts values to size
		l.Add(bareField(e.Location), fmt.Sprint(e.Value), e.Message)
		p.Errors = append(p.Errors, problemField{l[0].Path, l[0].Value, l[0].Rule})
	}
	return p, nil
}

// bareField takes huma's place off a location: query.air_c is air_c.
func bareField(location string) string {
	for _, place := range []string{"query.", "path.", "header."} {
		if rest, ok := strings.CutPrefix(location, place); ok {
			return rest
		}
	}
	return location
}

// onError is echo's last resort: unknown routes, wrong methods, panics, and
// whatever a plain handler returned.
func (s *server) onError(err error, c echo.Context) {
	if c.Response().Committed {
		s.log.Error("an answer broke off", "path", c.Request().URL.Path, "error", err)
		return
	}
	p := s.problemOfEcho(err, c)
	if p.Status >= http.StatusInternalServerError {
		s.log.Error("a request failed", "method", c.Request().Method, "path", c.Request().URL.Path, "error", err)
	}
	h := c.Response().Header()
	for k, v := range p.GetHeaders() {
		h[k] = v
	}
	h.Set(echo.HeaderContentType, p.ContentType(""))
	if err := c.JSON(p.Status, p); err != nil {
		s.log.Warn("a problem could not be answered", "error", err)
	}
}

func (s *server) problemOfEcho(err error, c echo.Context) *problem {
	var he *echo.HTTPError
	if !errors.As(err, &he) {
		return problemOf(err)
	}
	path := problemField{"path", cut(c.Request().URL.Path), "must be one of the routes in /openapi.json"}
	switch he.Code {
	case http.StatusNotFound:
		return newProblem(he.Code, "there is no such route", path)
	case http.StatusMethodNotAllowed:
		allow := c.Response().Header().Get(echo.HeaderAllow)
		return newProblem(he.Code, "the route does not take this method",
			problemField{"method", cut(c.Request().Method), "must be one of " + allow})
	default:
		return newProblem(he.Code, fmt.Sprint(he.Message))
	}
}

// cut shortens a value for a problem.
func cut(v string) string {
	var l fault.List
	l.Add("", strings.ToValidUTF8(v, "?"), "")
	return l[0].Value
}
