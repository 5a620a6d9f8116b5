package pages

import (
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"dryslot/internal/accounts"
	"dryslot/internal/pour"
	"dryslot/internal/web/webtest"
)

// A crew logs under its name, a viewer only reads, and a link that is withdrawn
// lets nobody in.
func TestACrewLogsUnderItsName(t *testing.T) {
	h := newService(t)
	people, box, newVisitor := mailSite(t, h, accounts.SignUpInvite)
	id := h.Create(t, webtest.FirstToken, webtest.Yard)
	h.Refresh(t, id)
	boss := newVisitor()
	boss.signIn(webtest.FirstToken)
	link := func(role string) string {
		t.Helper()
		status, _, body := boss.post("/p/"+id+"/crew", url.Values{"do": {"invite"}, "role": {role}})
		made := regexp.MustCompile(`http://dryslot\.example(/join/[^<]+)`).FindStringSubmatch(body)
		if status != http.StatusOK || made == nil {
			t.Fatalf("a link for %s: %d", role, status)
		}
		return made[1]
	}
	join := link("crew")
	ana := newVisitor()
	if status, _, body := ana.get(join); status != http.StatusOK || !strings.Contains(body, "Boules court kerb") {
		t.Fatalf("the link shows %d", status)
	}
	ana.post("/sign-in", url.Values{"mail": {"ana@example.org"}, "next": {join}}) // an account is made: she was invited
	if status, at, _ := ana.post("/sign-in", formOf(box.next(t, "ana@example.org"))); status != http.StatusOK ||
		at != join {
		t.Fatalf("signing in leads to %s: %d", at, status)
	}
	if status, _, _ := ana.post(join, url.Values{"name": {""}}); status != http.StatusUnprocessableEntity {
		t.Errorf("without a name: %d", status)
	}
	if status, at, _ := ana.post(join, url.Values{"name": {"Ana"}}); status != http.StatusOK || at != "/p/"+id {
		t.Fatalf("joining leads to %s: %d", at, status)
	}
	note := url.Values{"kind": {string(pour.EntryNote)}, "at": {h.Now.Add(-time.Hour).Format("2006-01-02T15:04")},
		"text": {"sheets are on site"}}
	if status, _, body := ana.post("/p/"+id+"/log", note); status != http.StatusOK ||
		!strings.Contains(body, "logged by Ana") {
		t.Errorf("logging: %d %s", status, body)
	}
	log := h.Must(t, http.StatusOK, "GET", "/v1/projects/"+id+"/log", "")
	if parse(t, log.Body).Get("items").Array[0].Get("by").Text != "Ana" {
		t.Errorf("the log does not say who: %s", log.Body)
	}
	if status, _, _ := ana.post("/p/"+id+"/change", url.Values{"do": {"change"}}); status != http.StatusForbidden {
		t.Errorf("a crew changes the project: %d", status)
	}
	// A crew's pages offer the log and no change; a viewer's no form at all.
	eve := newVisitor()
	look := link("viewer")
	eve.post("/sign-in", url.Values{"mail": {"eve@example.org"}, "next": {look}})
	eve.post("/sign-in", formOf(box.next(t, "eve@example.org")))
	if status, at, _ := eve.post(look, url.Values{"name": {"Eve"}}); status != http.StatusOK || at != "/p/"+id {
		t.Fatalf("joining leads to %s: %d", at, status)
	}
	for _, tail := range []string{"", "/pads", "/log"} {
		boss.get("/p/" + id + tail) // what is kept of it is for nobody else
		_, _, hers := ana.get("/p/" + id + tail)
		_, _, seen := eve.get("/p/" + id + tail)
		if strings.Contains(hers, id+"/change") || strings.Contains(hers, id+"/alerts") ||
			tail == "/log" && !strings.Contains(hers, `value="placed"`) {
			t.Errorf("a crew's page %q offers what it may not, or not what it may", tail)
		}
		if strings.Contains(seen, id+"/change") || strings.Contains(seen, id+"/alerts") ||
			strings.Count(seen, "<form") != 1 {
			t.Errorf("a viewer's page %q offers what is refused", tail)
		}
	}
	if _, at, _ := ana.get("/"); at != "/p/"+id {
		t.Errorf("the first page leads to %s", at)
	}
	// The boss removes her, and the link is withdrawn.
	account, err := h.Store.AccountByMail(t.Context(), "ana@example.org")
	if err != nil {
		t.Fatal(err)
	}
	boss.post("/p/"+id+"/crew", url.Values{"do": {"remove"}, "member": {account}})
	if status, _, _ := ana.get("/p/" + id); status != http.StatusNotFound {
		t.Errorf("a removed member sees the project: %d", status)
	}
	owner, err := h.Store.AccountByToken(t.Context(), webtest.FirstToken)
	if err != nil {
		t.Fatal(err)
	}
	links, err := people.Invitations(t.Context(), owner, id)
	if err != nil || len(links) != 2 {
		t.Fatal(links, err)
	}
	for _, l := range links {
		boss.post("/p/"+id+"/crew", url.Values{"do": {"withdraw"}, "invitation": {l.ID}})
	}
	if status, _, _ := ana.post(join, url.Values{"name": {"Ana"}}); status != http.StatusNotFound {
		t.Errorf("joining by a withdrawn link: %d", status)
	}
	// The calendar gets another address, and the old one opens nothing.
	was := parse(t, h.Must(t, http.StatusOK, "GET", "/v1/projects/"+id, "").Body).Get("calendar_url").Text
	boss.post("/p/"+id+"/crew", url.Values{"do": {"renew"}})
	is := parse(t, h.Must(t, http.StatusOK, "GET", "/v1/projects/"+id, "").Body).Get("calendar_url").Text
	for address, want := range map[string]int{was: http.StatusNotFound, is: http.StatusOK} {
		h.Must(t, want, "GET", strings.TrimPrefix(address, "http://dryslot.example"), "", "Authorization", "")
	}
}
