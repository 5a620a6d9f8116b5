package api

import (
	"context"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"dryslot/internal/accounts"
	"dryslot/internal/metrics"
	"dryslot/internal/ready"
	"dryslot/internal/web"

	"dryslot/internal/fault"
	"dryslot/internal/web/webtest"
)

// barren is a store with an account that has nothing.
type barren struct{ probed }

// probed answers the probes.
type probed struct{}

func (probed) Ready(context.Context) error { return nil }
func (probed) Figures(context.Context, time.Time) (metrics.Figures, error) {
	return metrics.Figures{}, nil
}

func (barren) AccountByToken(context.Context, string) (string, error) { return "account", nil }

func (barren) ReadyAnswer(context.Context, string, ready.Query) (ready.Found, error) {
	return ready.Found{Account: "account"}, nil
}

func (barren) KeepReady(context.Context, string, ready.Key, string, ready.Answer) error { return nil }

func (barren) InAccount(context.Context, string, func(context.Context, web.Tx) error) error {
	return fault.New(fault.NotFound, "there is no such project")
}

func (barren) ProjectByCalendarKey(context.Context, string) (string, string, error) {
	return "", "", fault.New(fault.NotFound, "there is no such key")
}

// nobody is accounts where there are none.
type nobody struct{}

func (nobody) none() error { return fault.New(fault.NotFound, "there is nobody") }

func (nobody) MailOf(context.Context, string) (string, error)               { return "", nil }
func (nobody) Tokens(context.Context, string) ([]accounts.Token, error)     { return nil, nil }
func (n nobody) RevokeToken(context.Context, string, string) error          { return n.none() }
func (nobody) Sessions(context.Context, string) ([]accounts.Session, error) { return nil, nil }
func (n nobody) EndSession(context.Context, string, string) error           { return n.none() }
func (n nobody) Delete(context.Context, string, string) error               { return n.none() }
func (nobody) Holdings(context.Context, string) (accounts.Holdings, error) {
	return accounts.Holdings{}, nil
}
func (n nobody) NewToken(context.Context, string, string, string) (string, accounts.Token, error) {
	return "", accounts.Token{}, n.none()
}
func (nobody) RoleOn(_ context.Context, account, project string) (accounts.Member, error) {
	return accounts.Member{Account: account, Project: project, Role: accounts.RoleAccount}, nil
}
func (nobody) Memberships(context.Context, string) ([]accounts.Member, error)     { return nil, nil }
func (nobody) Members(context.Context, string, string) ([]accounts.Member, error) { return nil, nil }
func (n nobody) RemoveMember(context.Context, string, string, string) error       { return n.none() }
func (n nobody) Invite(context.Context, string, string, accounts.Role) (string, accounts.Invitation, error) {
	return "", accounts.Invitation{}, n.none()
}
func (nobody) Invitations(context.Context, string, string) ([]accounts.Invitation, error) {
	return nil, nil
}
func (n nobody) Withdraw(context.Context, string, string, string) error { return n.none() }
func (n nobody) InvitedBy(context.Context, string) (accounts.Invited, error) {
	return accounts.Invited{}, n.none()
}
func (n nobody) Join(context.Context, string, string, string) (string, error) { return "", n.none() }

// FuzzRequests: whatever is sent to whatever route, the answer is never our
// own mistake, and an error is always a problem in its form.
func FuzzRequests(f *testing.F) {
	h := web.New(web.Options{Store: barren{}, Clock: time.Now}, Routes(Services{Accounts: nobody{}}, barren{}))
	const id = "/v1/projects/00000000-0000-0000-0000-000000000000"
	for _, c := range [][3]string{
		{"GET", "/v1/concrete/evaporation?air_c=NaN&concrete_c=2&humidity_pct=1e999&wind_m_s=", ""},
		{"GET", "/v1/concrete/set-time?concrete_c=20&water_cement=.5", ""},
		{"GET", "/v1/concrete/mix-temperature?wanted_c=1&bag_c=2&bag_kg=3&water_l=4", ""},
		{"POST", "/v1/projects", webtest.Yard}, {"POST", "/v1/projects?x=1", `{"pads":[null]}`},
		{"PATCH", id, `{"pads":null}`}, {"POST", id + "/log", `{"kind":"placed","at":"2025-07-27T09:00:00+02:00"}`},
		{"POST", id + "/plan", `{"what_if":{"pads":[1]}}`},
		{"POST", id + "/recipients", `{"kind":"webhook","address":"https://[::1"}`},
		{"GET", id + "/plans/1?against=x", ""}, {"GET", id + "/mornings/2025-02-30?days=-1", ""},
		{"GET", id + "/calendar.ics?key=\x00", ""}, {"DELETE", id + "/recipients/%2e", ""},
		{"GET", "/v1/projects?cursor=%ff&limit=1;2", ""}, {"TRACE", "/", "x"},
	} {
		f.Add(c[0], c[1], c[2])
	}
	f.Fuzz(func(t *testing.T, method, target, body string) {
		path, query, _ := strings.Cut(target, "?")
		if method == "" || strings.ContainsFunc(method, func(r rune) bool { return r <= ' ' || r > '~' }) ||
			!strings.HasPrefix(path, "/") {
			return // no HTTP server hands that on
		}
		u, err := url.ParseRequestURI(path)
		if err != nil {
			u = &url.URL{Path: path}
		}
		u.RawQuery = query
		r := httptest.NewRequest(http.MethodGet, "/", strings.NewReader(body))
		r.Method, r.URL = method, u
		r.Header.Set("Authorization", "Bearer x")
		r.Header.Set("If-Match", "*")
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		if w.Code == http.StatusInternalServerError {
			t.Fatalf("%s %s: %s", method, target, w.Body)
		}
		if w.Code >= 400 && method != http.MethodHead {
			if w.Header().Get("Content-Type") != "application/problem+json" {
				t.Fatalf("%s %s: %d of type %q", method, target, w.Code, w.Header().Get("Content-Type"))
			}
			mustFit(t, "problem", w.Body.String())
		}
	})
}
