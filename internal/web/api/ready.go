package api

import (
	"context"
	"errors"
	"net/http"
	"regexp"
	"strconv"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humaecho"

	"dryslot/internal/fault"
	"dryslot/internal/ready"
	"dryslot/internal/say"
	"dryslot/internal/web"
)

// readyRoute marks an operation whose answers are kept ready.
const readyRoute = "ready"

// readyName is the form of what follows a project's id in the address of an
// answer that is kept ready; what it names is looked up as text.
var readyName = regexp.MustCompile(`^[a-z0-9/-]{1,40}$`)

func isReady(op *huma.Operation) bool {
	is, _ := op.Metadata[readyRoute].(bool)
	return is
}

// holding says how long an answer holds but for what is written meanwhile.
type holding struct {
	since, until time.Time // as in ready.Answer
}

// wanted is an answer that may be kept ready, as one request asks for it.
type wanted struct {
	query ready.Query
	basis string // of what it is made; empty: it can't be kept
}

// readyQuery returns what to look up for a request; false: its answer is not
// one of those that are kept.
func (s *server) readyQuery(r *http.Request, c *call) (ready.Query, bool) {
	project, name, ok := strings.Cut(strings.TrimPrefix(r.URL.Path, "/v1/projects/"), "/")
	if !ok || r.URL.RawQuery != "" || !uuidForm.MatchString(project) || !readyName.MatchString(name) {
		return ready.Query{}, false
	}
	q := ready.Query{Now: s.Clock(), Packed: web.TakesGzip(r),
		Key: ready.Key{Project: project, Name: s.Build + " " + name, Language: say.LanguageOf(c.accept, "")}}
	for _, tag := range tags(r.Header.Values("If-None-Match")) {
		if !strings.ContainsFunc(tag, web.NotPrintableASCII) {
			q.Held = append(q.Held, strings.TrimPrefix(tag, "W/"))
		}
	}
	return q, true
}

// sendReady finds the account of a token and, in the same round trip, the
// answer that is kept for it. It reports whether it was sent.
func (s *server) sendReady(ctx huma.Context, r *http.Request, c *call, token string, q ready.Query) (bool, error) {
	found, err := s.store.ReadyAnswer(r.Context(), token, q)
	if errors.Is(err, fault.Forbidden) {
		return false, tokenRefused("not shown", TokenWanted)
	}
	if err != nil {
		return false, err
	}
	c.caller, c.account, c.wanted = found.Account, found.Account, &wanted{q, found.Basis}
	if found.Tag == "" {
		return false, nil
	}
	e := humaecho.Unwrap(ctx)
	if err := s.LimitAccount(e, c.caller); err != nil {
		return false, err
	}
	ctx.AppendHeader("Vary", "Accept-Language")
	e.Response().Header().Set("ETag", "W/"+found.Tag)
	if found.Body == nil {
		return true, e.NoContent(http.StatusNotModified)
	}
	body, packed, err := found.Sent(q)
	if err != nil {
		return false, err
	}
	if packed {
		e.Response().Header().Set("Content-Encoding", "gzip")
	}
	e.Response().Header().Set("Content-Length", strconv.Itoa(len(body)))
	return true, e.Blob(http.StatusOK, "application/json", body)
}

// keepReady keeps an answer for the next who asks, and compresses it where the
// client takes that. That it can't be kept is no reason not to send it.
func (s *server) keepReady(ctx context.Context, c *call, a *sent, h holding) *sent {
	w := c.wanted
	pieces := [][]byte{a.Body}
	if !h.since.IsZero() {
		pieces = pieces[:0]
		from := 0
		for _, at := range ages.FindAllIndex(a.Body, -1) {
			pieces = append(pieces, a.Body[from:at[0]+len(`"age_min":`)])
			from = at[1]
		}
		pieces = append(pieces, a.Body[from:])
	}
	kept, err := ready.New(pieces)
	if err != nil {
		s.Log.WarnContext(ctx, "an answer can't be kept ready", "route", c.route, "error", err)
		return a
	}
	kept.Tag, kept.Since, kept.From, kept.Until = strings.TrimPrefix(a.ETag, "W/"), h.since, w.query.Now, h.until
	if w.basis != "" && h.until.After(w.query.Now) {
		if err := s.store.KeepReady(ctx, c.account, w.query.Key, w.basis, kept); err != nil {
			s.Log.WarnContext(ctx, "an answer was not kept ready", "route", c.route, "error", err)
		}
	}
	if w.query.Packed {
		if body, err := ready.Gzip(kept.Packed, h.since, w.query.Now); err == nil {
			out := *a
			out.ContentEncoding, out.Body = "gzip", body
			return &out
		}
	}
	return a
}
