package api

import (
	"context"
	"net/http"
	"reflect"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humaecho"

	"dryslot/internal/accounts"
	"dryslot/internal/fault"
	"dryslot/internal/message"
	"dryslot/internal/pour"
	"dryslot/internal/say"
	"dryslot/internal/web"
)

// accountView is what opens an account.
type accountView struct {
	ID       string        `json:"id"`
	Mail     *string       `json:"mail"`
	Tokens   []tokenView   `json:"tokens"`
	Sessions []sessionView `json:"sessions"`

	MemberOf []membershipView `json:"member_of"`

	Holds holdingsView `json:"holds" doc:"How much is kept of the account, all of which goes with it"`
}

// holdingsView is how much is kept of an account.
type holdingsView struct {
	Projects   int `json:"projects"`
	LogEntries int `json:"log_entries"`
	Photos     int `json:"photos"`
	Plans      int `json:"plans"`
	Recipients int `json:"recipients"`
	Alerts     int `json:"alerts"`
	Members    int `json:"members"`
}

// tokenView is a token as answered; the token itself only once, when made.
type tokenView struct {
	ID        string     `json:"id"`
	Name      string     `json:"name"`
	CreatedAt *time.Time `json:"created_at"`
	Token     *string    `json:"token,omitempty"`
}

// sessionView is a signed-in browser as answered.
type sessionView struct {
	ID        string    `json:"id"`
	Browser   string    `json:"browser"`
	CreatedAt time.Time `json:"created_at"`
	ExpiresAt time.Time `json:"expires_at"`
}

// tokenOrder is a token as asked for.
type tokenOrder struct {
	Name string `json:"name" required:"true" minLength:"1" maxLength:"60"`
}

type tokenIn struct {
	TID string `path:"tid" doc:"The token's id"`
}

type deleteIn struct {
	Confirm string `query:"confirm" doc:"The account's id: it is deleted for good, with everything that is kept of it"`
}

type sessionIn struct {
	SID string `path:"sid" doc:"The session's id"`
}

func (s *server) accountRoutes() {
	handle(s, route{method: http.MethodGet, path: "/v1/account", id: "get-account", summary: "What opens the account",
		secret: true}, s.getAccount)
	handle(s, route{method: http.MethodPost, path: "/v1/account/tokens", id: "create-token",
		summary: "Make a token of the account", status: http.StatusCreated, body: reflect.TypeFor[tokenOrder](),
		headers: []string{"Location"}, secret: true}, s.createToken)
	handle(s, route{method: http.MethodDelete, path: "/v1/account/tokens/{tid}", id: "revoke-token",
		summary: "Revoke a token, and sign out the browsers that signed in with it", status: http.StatusNoContent},
		s.revokeToken)
	handle(s, route{method: http.MethodDelete, path: "/v1/account/sessions/{sid}", id: "end-session",
		summary: "Sign a browser out", status: http.StatusNoContent}, s.endSession)
	handle(s, route{method: http.MethodDelete, path: "/v1/account", id: "delete-account",
		summary: "Delete the account with everything that is kept of it, for good", status: http.StatusNoContent},
		s.deleteAccount)
	s.exportRoute()
}

// exportRoute registers the archive of an account, which is no JSON.
func (s *server) exportRoute() {
	op := huma.Operation{Method: http.MethodGet, Path: "/v1/account/export", OperationID: "export-account",
		Summary:  "What is kept of the account, as a ZIP file of JSON, of CSV for the log, and of JPEG for photos",
		Metadata: map[string]any{secretRoute: true, neededRole: accounts.RoleViewer},
		Responses: map[string]*huma.Response{"200": {Description: "OK",
			Content: map[string]*huma.MediaType{web.ArchiveType: binaryBody()}}}}
	s.TakesLong(op.Method, op.Path)
	s.PacksItself(op.Method, op.Path)
	huma.Register(s.api, op, func(ctx context.Context, _ *struct{}) (*huma.StreamResponse, error) {
		made, err := web.NewArchive(ctx, func(ctx context.Context, fn func(context.Context, web.Tx) error) error {
			return s.in(ctx, callOf(ctx), fn)
		}, s.Clock())
		if err != nil {
			s.Log.ErrorContext(ctx, "a request failed", "route", op.Method+" "+op.Path, "error", err)
			return nil, web.ProblemOf(err)
		}
		return &huma.StreamResponse{Body: func(c huma.Context) {
			s.SendArchive(ctx, humaecho.Unwrap(c).Response(), made)
		}}, nil
	})
	op.Responses["200"].Headers = headers("Cache-Control")
	op.Responses["default"] = s.problemResponse()
}

func (s *server) deleteAccount(ctx context.Context, c *call, in *deleteIn) (*reply[struct{}], error) {
	return &reply[struct{}]{}, s.services.Accounts.Delete(ctx, c.account, in.Confirm)
}

func (s *server) getAccount(ctx context.Context, c *call, _ *struct{}) (*reply[accountView], error) {
	mail, err := s.services.Accounts.MailOf(ctx, c.account)
	if err != nil {
		return nil, err
	}
	tokens, err := s.services.Accounts.Tokens(ctx, c.account)
	if err != nil {
		return nil, err
	}
	sessions, err := s.services.Accounts.Sessions(ctx, c.account)
	if err != nil {
		return nil, err
	}
	out := accountView{ID: c.account, Mail: someText(mail), Tokens: []tokenView{}, Sessions: []sessionView{},
		MemberOf: []membershipView{}}
	for _, t := range tokens {
		out.Tokens = append(out.Tokens, tokenView{ID: t.ID, Name: t.Name, CreatedAt: some(t.CreatedAt.UTC())})
	}
	for _, x := range sessions {
		out.Sessions = append(out.Sessions, sessionView{x.ID, x.Browser, x.CreatedAt.UTC(), x.ExpiresAt.UTC()})
	}
	memberships, err := s.services.Accounts.Memberships(ctx, c.account)
	for _, m := range memberships {
		out.MemberOf = append(out.MemberOf, viewMembership(m))
	}
	if err != nil {
		return nil, err
	}
	h, err := s.services.Accounts.Holdings(ctx, c.account)
	out.Holds = holdingsView{h.Projects, h.Entries, h.Photos, h.Plans, h.Recipients, h.Alerts, h.Members}
	return &reply[accountView]{Body: &out}, err
}

// readUnkept reads the body of a request whose answer holds a secret, and so is not
// kept for a repeated request: an Idempotency-Key is refused.
func (c *call) readUnkept(order any) error {
	if c.key != "" {
		return web.NewProblem(http.StatusUnprocessableEntity, message.New(AnswerNotKept),
			web.AtFault("Idempotency-Key", c.key, KeyNotTaken))
	}
	doc, err := pour.Parse(c.body)
	if err != nil {
		return err
	}
	return doc.Read(order)
}

// createToken makes a token. Its answer is not kept for a repeated request:
// that would keep the token itself.
func (s *server) createToken(ctx context.Context, c *call, _ *struct{}) (*reply[tokenView], error) {
	var order tokenOrder
	if err := c.readUnkept(&order); err != nil {
		return nil, err
	}
	token, kept, err := s.services.Accounts.NewToken(ctx, c.account, order.Name, say.LanguageOf(c.accept, ""))
	if err != nil {
		return nil, err
	}
	return &reply[tokenView]{Location: "/v1/account", Body: &tokenView{ID: kept.ID, Name: kept.Name,
		CreatedAt: some(kept.CreatedAt.UTC()), Token: &token}}, nil
}

func (s *server) revokeToken(ctx context.Context, c *call, in *tokenIn) (*reply[struct{}], error) {
	err := s.services.Accounts.RevokeToken(ctx, c.account, in.TID)
	return &reply[struct{}]{}, notThere(err, accounts.NoToken, "tid", in.TID, TokenID)
}

func (s *server) endSession(ctx context.Context, c *call, in *sessionIn) (*reply[struct{}], error) {
	err := s.services.Accounts.EndSession(ctx, c.account, in.SID)
	return &reply[struct{}]{}, notThere(err, accounts.NoSession, "sid", in.SID, SessionID)
}

// notThere adds to an error of kind NotFound the part of the path that names nothing.
func notThere(err error, code message.Code, field, value string, rule message.Code) error {
	if fault.KindOf(err) != fault.NotFound {
		return err
	}
	return fault.Of(fault.NotFound, code).By(err).At(field, value, fault.RuleOf(rule))
}

// Accounts is what the API asks of accounts.Service.
type Accounts interface {
	MailOf(ctx context.Context, account string) (string, error) // empty: none
	Tokens(ctx context.Context, account string) ([]accounts.Token, error)
	// NewToken makes a token of an account, and tells its mail address in a language; fault.Invalid, and
	// fault.Conflict where there are too many.
	NewToken(ctx context.Context, account, name, language string) (secret string, kept accounts.Token, err error)
	RevokeToken(ctx context.Context, account, id string) error // fault.NotFound
	Sessions(ctx context.Context, account string) ([]accounts.Session, error)
	EndSession(ctx context.Context, account, id string) error // fault.NotFound
	Holdings(ctx context.Context, account string) (accounts.Holdings, error)
	Delete(ctx context.Context, account, confirm string) error // fault.Invalid

	// RoleOn returns as whom an account takes part in a project: as the account
	// itself where it is no member.
	RoleOn(ctx context.Context, account, project string) (accounts.Member, error)
	Memberships(ctx context.Context, account string) ([]accounts.Member, error)
	Members(ctx context.Context, account, project string) ([]accounts.Member, error)
	RemoveMember(ctx context.Context, account, project, member string) error // fault.NotFound
	Invite(ctx context.Context, account, project string, role accounts.Role) (
		key string, kept accounts.Invitation, err error)
	Invitations(ctx context.Context, account, project string) ([]accounts.Invitation, error)
	Withdraw(ctx context.Context, account, project, id string) error     // fault.NotFound
	InvitedBy(ctx context.Context, key string) (accounts.Invited, error) // fault.Forbidden
	Join(ctx context.Context, key, account, name string) (project string, err error)
}
