package pages

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/http/cookiejar"
	"net/http/httptest"
	"net/url"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"dryslot/internal/accounts"
	"dryslot/internal/fault"
	"dryslot/internal/jobs"
	"dryslot/internal/notify"
	"dryslot/internal/web"
	"dryslot/internal/web/pages/view"
	"dryslot/internal/web/webtest"
)

// postbox keeps the letters of a test, and tells of each.
type postbox struct {
	mu   sync.Mutex
	came chan struct{}
	all  []letter
}

type letter struct {
	to string
	notify.Message
}

func (p *postbox) Send(_ context.Context, to notify.Recipient, m notify.Message) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.all = append(p.all, letter{to.Address, m})
	p.came <- struct{}{}
	return nil
}

// next waits for a letter and returns the address of its link below the site's.
func (p *postbox) next(t *testing.T, to string) string {
	t.Helper()
	select {
	case <-p.came:
	case <-time.After(webtest.Patient):
		t.Fatal("no letter came")
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	last := p.all[len(p.all)-1]
	link := regexp.MustCompile(`http://dryslot\.example(/sign-in\?\S+)`).FindStringSubmatch(last.Text)
	if last.to != to || link == nil {
		t.Fatalf("a letter to %s: %s", last.to, last.Text)
	}
	return link[1]
}

// mailSite is a site that mails links, with its worker.
func mailSite(t *testing.T, h *webtest.Service, who accounts.SignUp) (*accounts.Service, *postbox, func() *visitor) {
	t.Helper()
	views, err := view.Parse()
	if err != nil {
		t.Fatal(err)
	}
	box := &postbox{came: make(chan struct{}, 100)}
	people := &accounts.Service{Store: h.Store, Wall: time.Now, Mailer: box, SignUp: who,
		BaseURL: "http://dryslot.example"}
	startWorker(t, h, people)
	srv := httptest.NewServer(web.New(web.Options{Store: h.Store, Clock: h.Projects.Now,
		PublicURL: "http://dryslot.example", Longest: webtest.Patient},
		Routes(Services{Projects: h.Projects, Alerts: h.Alerts, Forecasts: h.Fetching, Accounts: people}, h.Rows(),
			views)))
	t.Cleanup(srv.Close)
	return people, box, func() *visitor {
		jar, err := cookiejar.New(nil)
		if err != nil {
			t.Fatal(err)
		}
		return &visitor{t, srv.URL, &http.Client{Jar: jar}}
	}
}

// startWorker starts a worker, which stops with the test.
func startWorker(t *testing.T, h *webtest.Service, people *accounts.Service) {
	t.Helper()
	w, err := jobs.New(h.Store.Driver(), jobs.Services{Projects: h.Projects, Alerts: h.Alerts, Fetching: h.Fetching,
		Accounts: people}, jobs.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if err := w.Start(context.WithoutCancel(t.Context())); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := w.Stop(context.Background()); err != nil {
			t.Error(err)
		}
	})
}

// formOf is what the button behind a mailed link sends.
func formOf(link string) url.Values {
	u, err := url.Parse(link)
	if err != nil {
		return nil
	}
	q := u.Query()
	return url.Values{"link": q["link"], "mail": q["mail"], "next": q["next"]}
}

func TestAMailedLinkMakesAnAccountAndSignsInToIt(t *testing.T) {
	h := newService(t)
	people, box, newVisitor := mailSite(t, h, accounts.SignUpOpen)
	v := newVisitor()
	ask := func(v *visitor, address string) {
		t.Helper()
		if status, _, body := v.post("/sign-in", url.Values{"mail": {address},
			"next": {"/account"}}); status != http.StatusOK || !strings.Contains(body, "a link is on its way") {
			t.Fatalf("asking for a link: %d", status)
		}
	}
	ask(v, " Yard@Example.org ")
	link := box.next(t, "yard@example.org")
	for range 2 { // opening it changes nothing
		if status, _, body := v.get(link); status != http.StatusOK ||
			!strings.Contains(body, "makes an account for yard@example.org") {
			t.Fatalf("the link shows %d: %s", status, body)
		}
	}
	if _, err := h.Store.AccountByMail(t.Context(), "yard@example.org"); !errors.Is(err, fault.NotFound) {
		t.Errorf("opening the link made an account: %v", err)
	}
	other := formOf(link)
	other.Set("mail", "stranger@example.org")
	if status, _, _ := v.post("/sign-in", other); status != http.StatusForbidden {
		t.Errorf("the link with another address: %d", status)
	}
	if status, _, _ := v.post("/sign-in", formOf(link), "Sec-Fetch-Site",
		"cross-site"); status != http.StatusForbidden {
		t.Errorf("from another site: %d", status)
	}
	if status, at, body := v.post("/sign-in", formOf(link)); status != http.StatusOK || at != "/account" ||
		!strings.Contains(body, "yard@example.org") {
		t.Fatalf("using the link: %d at %s", status, at)
	}
	if status, _, _ := newVisitor().post("/sign-in", formOf(link)); status != http.StatusForbidden {
		t.Errorf("using it again: %d", status)
	}
	account, err := h.Store.AccountByMail(t.Context(), "yard@example.org")
	if err != nil {
		t.Fatal(err)
	}
	// The next link signs in to the same account.
	w := newVisitor()
	ask(w, "yard@example.org")
	link = box.next(t, "yard@example.org")
	if status, _, body := w.get(link); status != http.StatusOK ||
		!strings.Contains(body, "signs this browser in to the account of yard@example.org") {
		t.Errorf("the second link shows %d", status)
	}
	w.post("/sign-in", formOf(link))
	if list, err := people.Sessions(t.Context(), account); err != nil || len(list) != 2 {
		t.Errorf("%d sessions, %v", len(list), err)
	}
}

// An address is given to an account only in a browser that is signed in to it,
// and to one account.
func TestAnAccountGetsItsAddressWhereItIsSignedIn(t *testing.T) {
	h := newService(t)
	_, box, newVisitor := mailSite(t, h, accounts.SignUpClosed)
	v := newVisitor()
	v.signIn(webtest.FirstToken)
	if status, _, _ := v.post("/account", url.Values{"do": {"mail"},
		"mail": {"not an address"}}); status != http.StatusUnprocessableEntity {
		t.Errorf("a wrong address: %d", status)
	}
	v.post("/account", url.Values{"do": {"mail"}, "mail": {"yard@example.org"}})
	link := box.next(t, "yard@example.org")
	if status, _, body := newVisitor().post("/sign-in", formOf(link)); status != http.StatusConflict ||
		!strings.Contains(body, "sign in to the account first") {
		t.Errorf("in a browser that is not signed in: %d", status)
	}
	if status, at, body := v.post("/sign-in", formOf(link)); status != http.StatusOK || at != "/account" ||
		!strings.Contains(body, "<strong>yard@example.org</strong>") {
		t.Errorf("in the account's own browser: %d at %s", status, at)
	}
	w := newVisitor()
	w.signIn(webtest.SecondToken)
	w.post("/account", url.Values{"do": {"mail"}, "mail": {"yard@example.org"}})
	if status, _, _ := w.post("/sign-in", formOf(box.next(t, "yard@example.org"))); status != http.StatusConflict {
		t.Errorf("an address that another account has: %d", status)
	}
	// Alerts to the account's own address need no question.
	id := h.Create(t, webtest.FirstToken, webtest.Yard)
	made := h.Must(t, http.StatusCreated, "POST", "/v1/projects/"+id+"/recipients",
		`{"kind":"email","address":"Yard@example.org"}`)
	if got := parse(t, made.Body).Get("state").Text; got != string(notify.Active) {
		t.Errorf("the account's own address is %s", got)
	}
}

// Who may not make an account gets no letter, and the same answer as who has one.
func TestAClosedServiceMailsNoStranger(t *testing.T) {
	h := newService(t)
	key, err := h.Store.CreateMailLink(t.Context(), "", "yard@example.org", time.Now().Add(time.Hour))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := h.Store.UseMailLink(t.Context(), accounts.MailedLink{Key: key, Address: "yard@example.org"},
		time.Now()); err != nil {
		t.Fatal(err)
	}
	for i, who := range []accounts.SignUp{accounts.SignUpClosed, accounts.SignUpInvite} {
		t.Run(string(who), func(t *testing.T) { // one worker at a time: another would take the letters
			_, box, newVisitor := mailSite(t, h, who)
			v := newVisitor()
			_, _, stranger := v.post("/sign-in", url.Values{"mail": {fmt.Sprintf("stranger%d@example.org", i)}})
			_, _, known := v.post("/sign-in", url.Values{"mail": {"yard@example.org"}})
			if stranger != known {
				t.Error("a stranger is answered otherwise")
			}
			box.next(t, "yard@example.org")
			box.mu.Lock()
			defer box.mu.Unlock()
			if len(box.all) != 1 {
				t.Errorf("%d letters", len(box.all))
			}
		})
	}
}

// Asking for links again and again is slowed, for one address and from one.
func TestAskingForLinksIsSlowed(t *testing.T) {
	h := newService(t)
	_, _, newVisitor := mailSite(t, h, accounts.SignUpClosed)
	v, slowed := newVisitor(), 0
	for range 12 {
		if status, _, _ := v.post("/sign-in",
			url.Values{"mail": {"yard@example.org"}}); status == http.StatusTooManyRequests {
			slowed++
		}
	}
	if slowed != 7 {
		t.Errorf("%d of 12 were slowed, want those after the fifth", slowed)
	}
}
