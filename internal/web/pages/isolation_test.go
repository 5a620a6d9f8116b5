package pages

import (
	"cmp"
	"context"
	"fmt"
	"net/http"
	"net/http/httptest"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/labstack/echo/v4"

	"dryslot/internal/accounts"
	"dryslot/internal/fault"
	"dryslot/internal/photo"
	"dryslot/internal/postgres"
	"dryslot/internal/web"
	"dryslot/internal/web/api"
	"dryslot/internal/web/pages/view"
	"dryslot/internal/web/webtest"
)

// openTo are the addresses that show nothing of an account to whoever asks, or
// for which a key in the address is what opens them.
var openTo = regexp.MustCompile(
	`^(/healthz|/readyz|/metrics|/openapi\.json|/docs.*|/sign-in|/sign-in/passkey|/sign-out|/join/:key|/r/:key|` +
		`/archive/:key|/v1/concrete/.*|.*/calendar\.ics|/[a-z0-9-]+\.(js|css|svg|png|webmanifest|json)|/offline)$`)

// roleFor is the role that a route of one project takes, where it is not the
// usual one: a viewer's to read, an owner's to change.
var roleFor = map[string]accounts.Role{
	"POST /v1/projects/:id/log":                accounts.RoleCrew,
	"POST /v1/projects/:id/photos":             accounts.RoleCrew,
	"POST /v1/projects/:id/plan":               accounts.RoleCrew,
	"POST /p/:id/log":                          accounts.RoleCrew,
	"POST /p/:id/confirm":                      accounts.RoleCrew,
	"POST /p/:id/photos":                       accounts.RoleCrew,
	"DELETE /v1/projects/:id":                  accounts.RoleAccount,
	"GET /v1/projects/:id/recipients":          accounts.RoleOwner,
	"GET /p/:id/alerts":                        accounts.RoleOwner,
	"GET /p/:id/crew":                          accounts.RoleAccount,
	"POST /p/:id/crew":                         accounts.RoleAccount,
	"GET /v1/projects/:id/invitations":         accounts.RoleAccount,
	"POST /v1/projects/:id/invitations":        accounts.RoleAccount,
	"DELETE /v1/projects/:id/invitations/:iid": accounts.RoleAccount,
	"DELETE /v1/projects/:id/members/:mid":     accounts.RoleAccount, // but for oneself
}

func neededFor(method, path string) accounts.Role {
	if r, ok := roleFor[method+" "+path]; ok {
		return r
	}
	if method == http.MethodGet {
		return accounts.RoleViewer
	}
	return accounts.RoleOwner
}

// somebody is one who asks: by a token, or by a signed-in browser.
type somebody struct {
	name  string
	token string
	role  accounts.Role // on the project; empty: none
	known bool          // signed in, or with a token that opens an account
	key   string        // of the session
}

// Every route, found from the router itself, is tried by all who must not get
// in, and by members of each role.
func TestNobodyGetsFurtherThanTheirRole(t *testing.T) {
	h := newService(t)
	people := h.People
	var err error
	if people.Keys, err = accounts.NewRelyingParty("http://localhost"); err != nil {
		t.Fatal(err)
	}
	views, err := view.Parse()
	if err != nil {
		t.Fatal(err)
	}
	var routes []*echo.Route
	handler := web.New(web.Options{Store: h.Store, Clock: h.Projects.Now, PublicURL: "http://dryslot.example",
		Longest: webtest.Patient},
		api.Routes(
			api.Services{Projects: h.Projects, Alerts: h.Alerts, Forecasts: h.Fetching, Accounts: people}, h.Rows()),
		Routes(
			Services{Projects: h.Projects, Alerts: h.Alerts, Forecasts: h.Fetching, Accounts: people}, h.Rows(), views),
		func(_ *web.Server, e *echo.Echo) { routes = e.Routes() })
	srv := httptest.NewServer(handler)
	t.Cleanup(srv.Close)

	id := h.Create(t, webtest.FirstToken, webtest.Yard)
	h.Refresh(t, id)
	owner, err := h.Store.AccountByToken(t.Context(), webtest.FirstToken)
	if err != nil {
		t.Fatal(err)
	}
	rid := parse(t, h.Must(t, http.StatusCreated, "POST", "/v1/projects/"+id+"/recipients",
		`{"kind":"webhook","address":"https://hooks.example.org/pour"}`).Body).Get("id").Text
	who, colleague := everybody(t, h, people, owner, id)
	picture := ""
	err = h.Store.InAccount(t.Context(), owner, func(ctx context.Context, tx *postgres.AccountTx) (err error) {
		picture, err = tx.AddPhoto(ctx, id, photo.Photo{Width: 4, Height: 3, JPEG: []byte("a picture")})
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	values := map[string]string{"id": id, "date": "tomorrow", "n": "1", "rid": rid, "mid": colleague, "iid": rid,
		"pad": "A1", "tid": "0123456789abcdef", "sid": "0123456789abcdef", "pid": picture, "photo": picture}
	before := state(t, h, owner, id)

	tried, counts := 0, map[string]int{}
	for _, s := range who {
		if s.role == accounts.RoleOwner { // the last, who alone may change something
			if after := state(t, h, owner, id); after != before {
				t.Errorf("something changed:\n%s\n%s", before, after)
			}
		}
		for _, r := range routes {
			if openTo.MatchString(r.Path) || r.Method == echo.RouteNotFound {
				continue
			}
			path, more := addressOf(t, r, values)
			status, at := s.ask(t, srv.URL, r.Method, path)
			tried++
			counts[s.name]++
			want := s.wants(r.Method, r.Path, strings.Contains(r.Path, "/:id"), more)
			if !slices.Contains(want, status) {
				t.Errorf("%s: %s %s: %d at %s, want one of %v", s.name, r.Method, r.Path, status, at, want)
			}
		}
	}
	if tried < 200 {
		t.Errorf("only %d requests were tried", tried)
	}
	t.Logf("%d requests on %d routes: %v", tried, len(routes), counts)
}

// addressOf is the address of a route, and whether it names more than a project.
func addressOf(t *testing.T, r *echo.Route, values map[string]string) (path string, more bool) {
	t.Helper()
	path = r.Path
	for _, part := range regexp.MustCompile(`:[a-z]+`).FindAllString(r.Path, -1) {
		v, ok := values[part[1:]]
		if !ok {
			t.Errorf("%s %s: no value for %s is known to this test", r.Method, r.Path, part)
		}
		more = more || part != ":id"
		path = strings.Replace(path, part, v, 1)
	}
	return path, more
}

// wants are the statuses that a request may get.
func (s somebody) wants(method, path string, ofProject, more bool) []int {
	isAPI := strings.HasPrefix(path, "/v1/")
	switch {
	case !s.known && isAPI:
		return []int{http.StatusUnauthorized}
	case !s.known:
		return []int{http.StatusSeeOther} // to sign in
	case !ofProject: // of the account itself
		return []int{http.StatusOK, http.StatusCreated, http.StatusSeeOther, http.StatusUnprocessableEntity,
			http.StatusNotFound, http.StatusBadRequest, http.StatusConflict}
	case path == "/v1/projects/:id/members" && method == http.MethodPost: // a key is what opens it
		return []int{http.StatusUnprocessableEntity, http.StatusBadRequest}
	case s.role == "":
		return []int{http.StatusNotFound}
	case !s.role.May(neededFor(method, path)):
		return []int{http.StatusForbidden}
	}
	ok := []int{http.StatusOK, http.StatusCreated, http.StatusAccepted, http.StatusNoContent, http.StatusSeeOther,
		http.StatusUnprocessableEntity, http.StatusBadRequest, http.StatusPreconditionFailed}
	if more { // what the rest of the path names may not be there
		ok = append(ok, http.StatusNotFound)
	}
	return ok
}

// ask sends a request with nothing in it, as a program and as a browser would.
func (s somebody) ask(t *testing.T, base, method, path string) (status int, at string) {
	t.Helper()
	body, kind := "", ""
	if method == http.MethodPost || method == http.MethodPatch {
		body, kind = cmp.Or(bodies[path[strings.LastIndex(path, "/"):]], "{}"), "application/json"
		if !strings.HasPrefix(path, "/v1/") {
			body, kind = "do=none", "application/x-www-form-urlencoded"
		}
		switch {
		case !strings.HasSuffix(path, "/photos"):
		case strings.HasPrefix(path, "/v1/"):
			body, kind = "no picture", web.PhotoType
		default:
			body, kind = bodies["/photos"], "multipart/form-data; boundary=x"
		}
	}
	req, err := http.NewRequest(method, base+path, strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	req.Header.Set("If-Match", `"none"`)
	if kind != "" {
		req.Header.Set("Content-Type", kind)
	}
	if s.token != "" {
		req.Header.Set("Authorization", "Bearer "+s.token)
	}
	if s.key != "" {
		req.AddCookie(&http.Cookie{Name: "dryslot_session", Value: s.key})
	}
	client := &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	resp, err := client.Do(req)
	if err != nil {
		t.Fatal(err)
	}
	resp.Body.Close()
	return resp.StatusCode, resp.Header.Get("Location")
}

func (s somebody) account(t *testing.T, h *webtest.Service) string {
	t.Helper()
	account, err := h.Store.AccountByToken(t.Context(), s.token)
	if err != nil {
		t.Fatal(err)
	}
	return account
}

// everybody makes all who ask.
func everybody(
	t *testing.T, h *webtest.Service, people *accounts.Service, owner, project string,
) (all []somebody, colleague string) {
	t.Helper()
	ctx := t.Context()
	fresh := func(name string) somebody {
		token := name + ", a token of thirty-two characters or more"
		account, err := h.Store.EnsureToken(ctx, token)
		if err != nil {
			t.Fatal(err)
		}
		in, err := people.SignInByToken(ctx, token, accounts.Browser{Name: name})
		if err != nil || account == "" {
			t.Fatal(err)
		}
		return somebody{name: name, token: token, known: true, key: in.Key}
	}
	invite := func(role accounts.Role) (string, accounts.Invitation) {
		key, kept, err := people.Invite(ctx, owner, project, role)
		if err != nil {
			t.Fatal(err)
		}
		return key, kept
	}
	member := func(name string, role accounts.Role) somebody {
		s := fresh(name)
		key, _ := invite(role)
		if got, err := people.Join(ctx, key, s.account(t, h), name); err != nil || got != project {
			t.Fatal(got, err)
		}
		s.role = role
		return s
	}
	other := fresh("another account")
	viewer, crew, coOwner := member("viewer", accounts.RoleViewer), member("crew", accounts.RoleCrew),
		member("owner", accounts.RoleOwner)

	withdrawn := fresh("withdrawn link")
	key, kept := invite(accounts.RoleCrew)
	if err := people.Withdraw(ctx, owner, project, kept.ID); err != nil {
		t.Fatal(err)
	}
	if _, err := people.Join(ctx, key, withdrawn.account(t, h), "late"); fault.KindOf(err) != fault.Forbidden {
		t.Errorf("joining by a withdrawn link: %v", err)
	}
	removed := member("removed member", accounts.RoleOwner)
	if err := people.RemoveMember(ctx, owner, project, removed.account(t, h)); err != nil {
		t.Fatal(err)
	}
	removed.role = ""

	ended := somebody{name: "ended session"}
	in, err := people.SignInByToken(ctx, webtest.FirstToken, accounts.Browser{Name: ended.name})
	if err != nil {
		t.Fatal(err)
	}
	if err := people.SignOut(ctx, in.Key); err != nil {
		t.Fatal(err)
	}
	ended.key = in.Key
	secret, token, err := people.NewToken(ctx, owner, "to revoke", "en")
	if err != nil {
		t.Fatal(err)
	}
	in, err = people.SignInByToken(ctx, secret, accounts.Browser{Name: "revoked token"})
	if err != nil {
		t.Fatal(err)
	}
	if err := people.RevokeToken(ctx, owner, token.ID); err != nil {
		t.Fatal(err)
	}
	revoked := somebody{name: "revoked token", token: secret, key: in.Key}
	colleague = member("colleague", accounts.RoleCrew).account(t, h)
	return []somebody{{name: "no account"}, other, viewer, crew, withdrawn, removed, ended, revoked, coOwner}, colleague
}

// state is what a project holds that somebody might change.
func state(t *testing.T, h *webtest.Service, owner, project string) string {
	t.Helper()
	var out string
	err := h.Store.InAccount(t.Context(), owner, func(ctx context.Context, tx *postgres.AccountTx) error {
		p, err := tx.Project(ctx, project)
		if err != nil {
			return err
		}
		log, err := tx.WholeLog(ctx, project)
		if err != nil {
			return err
		}
		to, err := tx.Recipients(ctx, project)
		out = fmt.Sprint(p.Revision, p.CalendarKey, len(log), len(to))
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}
