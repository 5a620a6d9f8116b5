package web

import (
	"context"
	"errors"
	"math"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"github.com/labstack/echo/v4"

	"dryslot/internal/fault"
	"dryslot/internal/message"
	"dryslot/internal/pour"
	"dryslot/internal/say"
)

// CalendarAddress is where a project's pours are as a calendar; its key is a secret.
func CalendarAddress(publicURL string, p pour.Project) string {
	return publicURL + "/v1/projects/" + p.ID + "/calendar.ics?key=" + url.QueryEscape(p.CalendarKey)
}

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
	fault.TooMany:     http.StatusTooManyRequests,
}

// Problem is an error as every route answers it (RFC 9457), with each value at
// fault.
type Problem struct {
	Type   string          `json:"type" doc:"about:blank: the status says what kind of problem it is"`
	Title  string          `json:"title" doc:"The status in words"`
	Status int             `json:"status"`
	Detail string          `json:"detail" doc:"One sentence for who caused it, in its Accept-Language"`
	Data   message.Message `json:"detail_data" doc:"The same as a code with its figures"`
	Errors []ProblemField  `json:"errors" doc:"Every value at fault"`

	retryAfter int // seconds, 0: not known
	cause      error
}

// ProblemField names one value at fault and the rule that it breaks.
type ProblemField struct {
	Field string          `json:"field" doc:"Such as pads[2].thickness_m, a query parameter or a header"`
	Value string          `json:"value" doc:"What was given, as text, cut to 80 characters"`
	Rule  string          `json:"rule" doc:"Such as: must be a number from 0.04 to 0.5 m"`
	Data  message.Message `json:"rule_data" doc:"As a code with figures, in the unit of the field"`
}

// AtFault names a value at fault and the rule that it breaks.
func AtFault(field, value string, rule message.Code, figures ...message.Figure) ProblemField {
	return FieldOf(fault.Field{Path: field, Value: value, Rule: fault.RuleOf(rule, figures...)})
}

// FieldOf is a value at fault as a problem gives it. A rule that is stated for
// operators only is left out.
func FieldOf(f fault.Field) ProblemField {
	rule := f.Rule.Message
	if rule.Code == fault.StatedRule {
		rule = message.New(FieldRefused)
	}
	return ProblemField{Field: f.Path, Value: f.Value, Rule: english().Say(rule), Data: rule}
}

// english is the reader of a problem until the request's language is known.
// It has no zone: instants are given in RFC 3339, figures in SI.
func english() say.Reader { return say.Reader{Language: "en"} }

// Worded puts a problem in the language that a request asks for, else in
// another: a project's, where it is about one.
func (p *Problem) Worded(accept, other string) *Problem {
	r := say.Reader{Language: say.LanguageOf(accept, other)}
	out := *p
	out.Detail = r.Say(p.Data)
	out.Errors = make([]ProblemField, len(p.Errors))
	for i, f := range p.Errors {
		f.Rule = r.Say(f.Data)
		out.Errors[i] = f
	}
	return &out
}

// NewProblem returns a problem of one status.
func NewProblem(status int, detail message.Message, fields ...ProblemField) *Problem {
	if fields == nil {
		fields = []ProblemField{}
	}
	return &Problem{Type: "about:blank", Title: http.StatusText(status), Status: status, Detail: english().Say(detail),
		Data: detail, Errors: fields}
}

// Error, GetStatus, ContentType and GetHeaders let huma answer a problem.
func (p *Problem) Error() string { return p.Detail }

func (p *Problem) GetStatus() int { return p.Status }

func (p *Problem) ContentType(string) string { return "application/problem+json" }

func (p *Problem) Unwrap() error { return p.cause }

func (p *Problem) GetHeaders() http.Header {
	h := http.Header{}
	if p.Status == http.StatusUnauthorized {
		h.Set("WWW-Authenticate", `Bearer realm="dryslot"`)
	}
	retry := p.retryAfter
	if retry == 0 && (p.Status == http.StatusServiceUnavailable || p.Status == http.StatusTooManyRequests) {
		retry = retryUnknown
	}
	if retry > 0 {
		h.Set("Retry-After", strconv.Itoa(retry))
	}
	return h
}

// retryUnknown is when to try again where nothing better is known, in seconds:
// a database that restarts or is taken over by its standby is back by then, as
// a rule (judgement).
const retryUnknown = 5

// ProblemOf turns any error into the problem that is answered. What has no
// kind tells nothing of its cause, and what is stated for operators tells its
// kind only: the log has the rest.
func ProblemOf(err error) *Problem {
	var p *Problem
	if errors.As(err, &p) {
		return p
	}
	if errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		p = NewProblem(http.StatusServiceUnavailable, message.New(RequestGivenUp))
		p.cause = err
		return p
	}
	kind := fault.KindOf(err)
	status, ok := statusOf[kind]
	if !ok {
		p = NewProblem(http.StatusInternalServerError, message.New(InternalError))
		p.cause = err
		return p
	}
	var f *fault.Error
	if !errors.As(err, &f) {
		p = NewProblem(status, message.New(kindCodes[kind]))
		p.cause = err
		return p
	}
	detail := f.Message
	if !f.Worded() {
		detail = message.New(kindCodes[kind])
	}
	p = NewProblem(status, detail)
	for _, x := range f.Fields {
		p.Errors = append(p.Errors, FieldOf(x))
	}
	p.retryAfter = int(math.Ceil(f.RetryAfter.Seconds()))
	p.cause = err
	return p
}

// Fail answers an error as a problem and logs what is a mistake of ours.
func (s *Server) Fail(c echo.Context, err error) {
	if c.Response().Committed {
		s.Log.ErrorContext(c.Request().Context(), "an answer broke off", "route", c.Path(), "error", err)
		return
	}
	p := s.problemOfEcho(err, c).Worded(c.Request().Header.Get("Accept-Language"), "en")
	if p.Status >= http.StatusInternalServerError {
		r := c.Request()
		s.Log.ErrorContext(r.Context(), "a request failed", "method", r.Method, "route", c.Path(), "error", err)
	}
	s.holdBack(c, p.Status)
	h := c.Response().Header()
	for k, v := range p.GetHeaders() {
		h[k] = v
	}
	h.Add(echo.HeaderVary, "Accept-Language")
	h.Set(echo.HeaderContentType, p.ContentType(""))
	if err := c.JSON(p.Status, p); err != nil {
		s.Log.WarnContext(c.Request().Context(), "a problem could not be answered", "error", err)
	}
}

func (s *Server) problemOfEcho(err error, c echo.Context) *Problem {
	var he *echo.HTTPError
	if !errors.As(err, &he) {
		return ProblemOf(err)
	}
	switch he.Code {
	case http.StatusNotFound:
		return NewProblem(he.Code, message.New(NoRoute), AtFault("path", Cut(c.Request().URL.Path), RouteWanted))
	case http.StatusMethodNotAllowed:
		allow := strings.Split(c.Response().Header().Get(echo.HeaderAllow), ", ")
		return NewProblem(he.Code, message.New(WrongMethod),
			AtFault("method", Cut(c.Request().Method), MethodWanted, message.Names("allowed", allow)))
	default:
		return NewProblem(he.Code, message.New(RequestRefused))
	}
}

// Cut shortens a value for a problem.
func Cut(v string) string {
	var l fault.List
	l.Add("", strings.ToValidUTF8(v, "?"), "")
	return l[0].Value
}

// NotPrintableASCII reports whether a character has no place in a header.
func NotPrintableASCII(r rune) bool { return r < 0x20 || r > 0x7e }
