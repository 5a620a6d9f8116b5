package api

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humaecho"

	"dryslot/internal/accounts"
	"dryslot/internal/fault"
	"dryslot/internal/message"
	"dryslot/internal/web"
)

// maxBody is the longest body taken, in bytes: a project of 500 pads needs
// about 150 kB.
const maxBody = 1 << 20

// call is what one request of the API carries besides its parameters.
type call struct {
	caller  string          // the account of the token
	account string          // whose rows are worked on: the caller's, or those that it is a member of
	acts    accounts.Member // as whom, on the project of the path
	body    []byte
	hash    []byte // of the body
	key     string // Idempotency-Key, empty: none
	route   string // method and path, which the key belongs to
	ifMatch []string
	faults  fault.List // of the query
	accept  string     // Accept-Language

	language string   // of the project that the request is about; empty: none was found
	held     []string // If-None-Match: tags of answers that the client has
	wanted   *wanted  // an answer that may be kept ready; nil: it is not of that kind
	address  *url.URL
}

type callKey struct{}

func callOf(ctx context.Context) *call { return ctx.Value(callKey{}).(*call) }

// guard does before every route of the API what no route may forget: it finds
// the account, looks at the query's names, and reads the body whole, within
// its limit.
func (s *server) guard(ctx huma.Context, next func(huma.Context)) {
	r := humaecho.Unwrap(ctx).Request()
	c := &call{route: r.Method + " " + r.URL.Path, accept: r.Header.Get("Accept-Language"), address: r.URL}
	humaecho.Unwrap(ctx).Response().Header().Set("Cache-Control", keeping(ctx.Operation()))
	if isReady(ctx.Operation()) {
		ctx.AppendHeader("Vary", "Accept-Encoding") // of others, whoever compresses them says it
	}
	done, err := s.authenticate(ctx, r, c)
	if done {
		if err != nil {
			s.Log.WarnContext(r.Context(), "an answer was not sent", "route", c.route, "error", err)
		}
		return
	}
	if err == nil && c.caller != "" {
		err = s.LimitAccount(humaecho.Unwrap(ctx), c.caller)
	}
	if err == nil {
		ctx, err = s.actAs(ctx, c)
	}
	if err == nil {
		err = checkQuery(r.URL.RawQuery, ctx.Operation(), &c.faults)
	}
	if err == nil {
		err = s.readBody(ctx, r, c)
	}
	if err == nil {
		err = readHeaders(r, c)
	}
	if err == nil && r.Method != http.MethodGet {
		var leave func()
		if leave, err = s.TakeTurn(r.Context(), c.caller); err == nil {
			defer leave()
		}
	}
	if err != nil {
		s.Fail(humaecho.Unwrap(ctx), err)
		return
	}
	ctx.AppendHeader("Vary", "Accept-Language")
	next(huma.WithValue(ctx, callKey{}, c))
}

// authenticate finds the account of a request's token. It reports whether the
// request is answered already, by an answer that was kept ready.
func (s *server) authenticate(ctx huma.Context, r *http.Request, c *call) (done bool, err error) {
	if open, _ := ctx.Operation().Metadata[openRoute].(bool); open {
		return false, nil
	}
	given := r.Header.Values("Authorization")
	if len(given) != 1 {
		return false, tokenRefused(fmt.Sprintf("%d headers", len(given)), AuthorizationOnce)
	}
	scheme, token, _ := strings.Cut(given[0], " ")
	token = strings.TrimSpace(token)
	if !strings.EqualFold(scheme, "Bearer") || token == "" || strings.ContainsFunc(token, web.NotPrintableASCII) {
		return false, tokenRefused("not shown", BearerWanted)
	}
	if isReady(ctx.Operation()) && r.Method == http.MethodGet {
		if q, ok := s.readyQuery(r, c); ok {
			return s.sendReady(ctx, r, c, token, q)
		}
	}
	c.account, err = s.store.AccountByToken(r.Context(), token)
	if errors.Is(err, fault.Forbidden) {
		err = tokenRefused("not shown", TokenWanted)
	}
	c.caller = c.account
	return false, err
}

// actAs finds out as whom the caller works on the project of the path, and
// refuses a member whose role does not allow it. Whoever is no member works on
// its own rows, where other accounts' projects are not found.
func (s *server) actAs(ctx huma.Context, c *call) (huma.Context, error) {
	c.acts = accounts.Member{Role: accounts.RoleAccount}
	project := ctx.Param("id")
	if open, _ := ctx.Operation().Metadata[openRoute].(bool); open {
		return ctx, nil
	}
	if stranger, _ := ctx.Operation().Metadata[strangerRoute].(bool); stranger || !uuidForm.MatchString(project) {
		return ctx, nil
	}
	m, err := s.services.Accounts.RoleOn(ctx.Context(), c.caller, project)
	if err != nil || m.Role == accounts.RoleAccount {
		return ctx, err
	}
	c.acts, c.account = m, m.Account
	c.route += " by " + m.Member // idempotency keys are each member's own
	if needed, _ := ctx.Operation().Metadata[neededRole].(accounts.Role); !m.Role.May(needed) {
		return ctx, c.tooLow(needed)
	}
	return huma.WithContext(ctx, accounts.Acting(ctx.Context(), m)), nil
}

func tokenRefused(value string, rule message.Code) error {
	return web.NewProblem(http.StatusUnauthorized, message.New(TokenNeeded), web.AtFault("Authorization", value, rule))
}

// tooLow is the problem of a member whose role does not allow something.
func (c *call) tooLow(needed accounts.Role) error {
	return web.NewProblem(http.StatusForbidden,
		message.New(accounts.RoleTooLow, message.Term("needed", string(needed)),
			message.Term("is", string(c.acts.Role))))
}

// readBody reads the body of a request that may have one.
func (s *server) readBody(ctx huma.Context, r *http.Request, c *call) error {
	if r.Method != http.MethodPost && r.Method != http.MethodPatch {
		return nil
	}
	takes, _ := ctx.Operation().Metadata[takesRoute].([]string)
	if err := checkType(r, takes); err != nil {
		return err
	}
	body, err := io.ReadAll(http.MaxBytesReader(humaecho.Unwrap(ctx).Response(), r.Body, maxBody))
	var long *http.MaxBytesError
	switch {
	case errors.As(err, &long):
		return web.NewProblem(http.StatusRequestEntityTooLarge, message.New(BodyTooLong),
			web.AtFault("body", fmt.Sprintf("more than %d bytes", long.Limit), web.BytesMost,
				message.Count("max", int(long.Limit))))
	case err != nil:
		return fault.Of(fault.Unreadable, BodyBrokeOff).By(err)
	}
	sum := sha256.Sum256(body)
	c.body, c.hash = body, sum[:]
	return nil
}

// checkType takes the types of a route, else JSON in UTF-8, and nothing else. No
// type at all is taken as JSON.
func checkType(r *http.Request, takes []string) error {
	given := r.Header.Get("Content-Type")
	if given == "" && len(takes) == 0 {
		return nil
	}
	allowed := takes
	switch {
	case len(takes) > 0:
	case r.Method == http.MethodPatch:
		allowed = []string{"application/merge-patch+json", "application/json"}
	default:
		allowed = []string{"application/json"}
	}
	kind, params, err := mime.ParseMediaType(given)
	charset := params["charset"]
	if err == nil && (charset == "" || strings.EqualFold(charset, "utf-8")) && slices.Contains(allowed, kind) {
		return nil
	}
	return web.NewProblem(http.StatusUnsupportedMediaType, message.New(BodyType),
		web.AtFault("Content-Type", web.Cut(given), web.MediaType, message.Names("allowed", allowed)))
}

// maxKey is the longest idempotency key taken.
const maxKey = 200

func readHeaders(r *http.Request, c *call) error {
	var l fault.List
	if keys := r.Header.Values("Idempotency-Key"); len(keys) > 0 && r.Method == http.MethodPost {
		c.key = keys[0]
		switch {
		case len(keys) > 1:
			l.Break("Idempotency-Key", strings.Join(keys, " and "), fault.RuleOf(fault.GivenTwice))
		case c.key == "" || len(c.key) > maxKey || strings.ContainsFunc(c.key, web.NotPrintableASCII):
			l.Break("Idempotency-Key", web.Cut(c.key), fault.RuleOf(KeyForm, message.Count("max", maxKey)))
		}
	}
	c.ifMatch, c.held = tags(r.Header.Values("If-Match")), tags(r.Header.Values("If-None-Match"))
	return l.Broken(HeaderBreaksRule)
}
