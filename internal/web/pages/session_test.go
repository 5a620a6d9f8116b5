package pages

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"dryslot/internal/accounts"
	"dryslot/internal/logs"
	"dryslot/internal/web"
	"dryslot/internal/web/browsertest"
	"dryslot/internal/web/pages/view"
	"dryslot/internal/web/webtest"
)

// newLink makes a link of a token's account.
func newLink(t *testing.T, h *webtest.Service, token string) string {
	t.Helper()
	account, err := h.Store.AccountByToken(t.Context(), token)
	if err != nil {
		t.Fatal(err)
	}
	key, err := h.People.NewLink(t.Context(), account)
	if err != nil {
		t.Fatal(err)
	}
	return key
}

func TestALinkSignsInByAFormOfThisSiteOnce(t *testing.T) {
	h := newService(t)
	h.Create(t, webtest.FirstToken, webtest.Yard)
	v := newSite(t, h)
	key := newLink(t, h, webtest.FirstToken)
	for range 2 { // a program that looks at links uses none up
		if status, at, body := v.get("/sign-in?link=" + key); status != http.StatusOK || at != "/sign-in" ||
			!strings.Contains(body, "signs this browser in") {
			t.Fatalf("the link shows %d at %s", status, at)
		}
	}
	if _, at, _ := v.get("/"); at != "/sign-in" {
		t.Fatalf("opening the link led to %s", at)
	}
	form := url.Values{"link": {key}, "next": {"//elsewhere.example"}}
	for _, from := range [][]string{{"Sec-Fetch-Site", "cross-site"}, {"Origin", "https://elsewhere.example"}} {
		if status, _, _ := v.post("/sign-in", form, from...); status != http.StatusForbidden {
			t.Errorf("from another site (%v): %d", from, status)
		}
	}
	if status, at, _ := v.post("/sign-in", form); status != http.StatusOK || !strings.HasPrefix(at, "/p/") {
		t.Errorf("signed in: %d at %s", status, at)
	}
	other := newSite(t, h)
	if status, _, body := other.post("/sign-in", form); status != http.StatusForbidden ||
		!strings.Contains(body, "was used already") {
		t.Errorf("a second use: %d", status)
	}
	if status, _, body := other.get("/sign-in?link=" + key); status != http.StatusForbidden ||
		!strings.Contains(body, "was used already") {
		t.Errorf("a used link shows %d", status)
	}
}

// A line in the log says who signed in, from where and by what, and gives no key away.
func TestASignInIsLogged(t *testing.T) {
	h := newService(t)
	views, err := view.Parse()
	if err != nil {
		t.Fatal(err)
	}
	var log bytes.Buffer
	handler := web.New(web.Options{Store: h.Store, Clock: h.Projects.Now, PublicURL: "http://dryslot.example",
		Log: logs.New(&log, logs.JSON, slog.LevelInfo)}, Routes(Services{Projects: h.Projects, Alerts: h.Alerts,
		Forecasts: h.Fetching, Accounts: h.People}, h.Rows(), views))
	account, err := h.Store.AccountByToken(t.Context(), webtest.FirstToken)
	if err != nil {
		t.Fatal(err)
	}
	link := newLink(t, h, webtest.FirstToken)
	for by, form := range map[string]url.Values{"token": {"token": {webtest.FirstToken}}, "link": {"link": {link}}} {
		log.Reset()
		r := httptest.NewRequest("POST", "/sign-in", strings.NewReader(form.Encode()))
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		r.RemoteAddr = "192.0.2.4:99"
		answer := httptest.NewRecorder()
		handler.ServeHTTP(answer, r)
		var line struct{ Msg, Time, Request, Address, Account, By string }
		if err := json.Unmarshal(log.Bytes(), &line); err != nil {
			t.Fatalf("%s: %v: %s", by, err, &log)
		}
		if answer.Code != http.StatusSeeOther || line.Msg != "signed in" || line.Time == "" || line.Request == "" ||
			line.Address != "192.0.2.4" || line.Account != account || line.By != by {
			t.Errorf("by %s: %d, logged as %s", by, answer.Code, &log)
		}
		for _, secret := range []string{webtest.FirstToken, link, answer.Result().Cookies()[0].Value} {
			if strings.Contains(log.String(), secret) {
				t.Errorf("by %s: the log holds a key", by)
			}
		}
	}
}

// A stranger's link must not quietly take a browser over to the stranger's account.
func TestALinkToAnotherAccountSaysSo(t *testing.T) {
	h := newService(t)
	v := newSite(t, h)
	v.signIn(webtest.FirstToken)
	const warns = "is signed in to another account now"
	if _, _, body := v.get("/sign-in?link=" + newLink(t, h, webtest.SecondToken)); !strings.Contains(body, warns) {
		t.Error("another account's link shows no warning")
	}
	if _, _, body := v.get("/sign-in?link=" + newLink(t, h, webtest.FirstToken)); strings.Contains(body, warns) {
		t.Error("the account's own link warns")
	}
}

func TestUnderHTTPSTheCookieBelongsToThisHostAlone(t *testing.T) {
	h := newService(t)
	for base, want := range map[string]struct{ cookie, hsts string }{
		"https://pours.example":  {"__Host-dryslot_session=", "max-age=31536000"},
		"http://127.0.0.1:18080": {"dryslot_session=", ""},
	} {
		v := newSiteAt(t, h, base)
		v.http.CheckRedirect = func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }
		resp, err := v.http.PostForm(v.base+"/sign-in", url.Values{"token": {webtest.FirstToken}})
		if err != nil {
			t.Fatal(err)
		}
		resp.Body.Close()
		cookie := resp.Header.Get("Set-Cookie")
		if !strings.HasPrefix(cookie, want.cookie) || !strings.Contains(cookie, "HttpOnly") || !strings.Contains(cookie,
			"SameSite=Lax") || !strings.Contains(cookie, "Path=/") || strings.Contains(cookie, "Domain") ||
			strings.Contains(cookie, "Secure") != (want.hsts != "") {
			t.Errorf("%s: %s", base, cookie)
		}
		if got := resp.Header.Get("Strict-Transport-Security"); got != want.hsts {
			t.Errorf("%s: Strict-Transport-Security %q", base, got)
		}
	}
}

func TestFailedSignInsAreSlowed(t *testing.T) {
	h := newService(t)
	v := newSite(t, h)
	wrong := url.Values{"token": {"no such token, 32 characters or more"}}
	for i := range 20 {
		status, _, body := v.post("/sign-in", wrong)
		switch {
		case status == http.StatusTooManyRequests && i >= 5 && strings.Contains(body, "too often"):
			if status, _, _ := v.post("/sign-in",
				url.Values{"token": {webtest.FirstToken}}); status != http.StatusTooManyRequests {
				t.Errorf("whoever guesses right meanwhile gets %d", status)
			}
			resp, err := http.PostForm(v.base+"/sign-in", wrong)
			if err != nil {
				t.Fatal(err)
			}
			resp.Body.Close()
			if after := resp.Header.Get("Retry-After"); after == "" || after == "0" {
				t.Errorf("Retry-After: %q", after)
			}
			return
		case status != http.StatusForbidden || i >= 5:
			// The pause is of 10 s at first: a slow machine may let a sixth through.
			if i < 5 || status != http.StatusForbidden {
				t.Fatalf("try %d: %d", i+1, status)
			}
		}
	}
	t.Error("twenty wrong tokens one after another are all answered at once")
}

func TestTheAccountPage(t *testing.T) {
	h := newService(t)
	v := newSite(t, h)
	v.signIn(webtest.FirstToken)
	other := newSite(t, h)
	other.base = v.base
	other.signIn(webtest.FirstToken)
	status, _, body := v.get("/account")
	ids := regexp.MustCompile(`name="session" value="([0-9a-f]{16})"`).FindAllStringSubmatch(body, -1)
	if status != http.StatusOK || len(ids) != 2 {
		t.Fatalf("%d, %d sessions", status, len(ids))
	}
	// The newest comes first.
	if status, at, _ := v.post("/account", url.Values{"do": {"end-session"},
		"session": {ids[0][1]}}); status != http.StatusOK || at != "/account" {
		t.Errorf("ending a session: %d at %s", status, at)
	}
	if _, at, _ := other.get("/"); at != "/sign-in" {
		t.Errorf("the other browser is still signed in, at %s", at)
	}
	if status, _, body := v.post("/account", url.Values{"do": {"new-token"},
		"name": {strings.Repeat("x", accounts.LongestName+1)}}); status != http.StatusUnprocessableEntity ||
		!strings.Contains(body, "60") {
		t.Errorf("too long a name: %d", status)
	}
	_, _, body = v.post("/account", url.Values{"do": {"new-token"}, "name": {"Yard <screen>"}})
	made := regexp.MustCompile(`<code>(\S{40,})</code>`).FindStringSubmatch(body)
	if made == nil || !strings.Contains(body, "Yard &lt;screen&gt;, made on") {
		t.Fatalf("no token in\n%s", body)
	}
	h.Token = made[1]
	h.Must(t, http.StatusOK, "GET", "/v1/projects", "")
	_, _, body = v.get("/account")
	if strings.Contains(body, made[1]) {
		t.Error("the token is shown again")
	}
	row := regexp.MustCompile(`(?s)Yard.*?name="token" value="([0-9a-f]{16})"`).FindStringSubmatch(body)
	if row == nil {
		t.Fatalf("the token is not listed:\n%s", body)
	}
	stranger := newSite(t, h)
	stranger.signIn(webtest.SecondToken)
	stranger.post("/account", url.Values{"do": {"revoke-token"}, "token": {row[1]}})
	h.Must(t, http.StatusOK, "GET", "/v1/projects", "")
	v.post("/account", url.Values{"do": {"revoke-token"}, "token": {row[1]}})
	h.Must(t, http.StatusUnauthorized, "GET", "/v1/projects", "")
}

func TestOnlyOurOwnProxiesAreBelieved(t *testing.T) {
	for _, c := range []struct{ from, forwarded, want string }{
		{"203.0.113.9:1", "198.51.100.1", "203.0.113.9"},
		{"10.0.0.2:1", "198.51.100.1", "198.51.100.1"},
		{"10.0.0.2:1", "1.1.1.1, 198.51.100.1, 10.0.0.3", "198.51.100.1"},
		{"10.0.0.2:1", "", "10.0.0.2"},
		{"10.0.0.2:1", "nonsense", "10.0.0.2"},
		{"[::ffff:10.0.0.2]:1", "2001:db8::1", "2001:db8::1"},
	} {
		s := &web.Server{Options: web.Options{Proxies: []netip.Prefix{netip.MustParsePrefix("10.0.0.0/8")}}}
		r := httptest.NewRequestWithContext(context.Background(), http.MethodGet, "/", nil)
		r.RemoteAddr = c.from
		if c.forwarded != "" {
			r.Header.Set("X-Forwarded-For", c.forwarded)
		}
		if got := s.ClientAddress(r); got.String() != c.want {
			t.Errorf("from %s for %q: %s, want %s", c.from, c.forwarded, got, c.want)
		}
	}
}

func TestSigningInInABrowser(t *testing.T) {
	h := newService(t)
	v := newSite(t, h)
	b := browsertest.Start(t)
	look := func(name string) {
		for _, x := range b.Axe(t) {
			t.Errorf("%s: %s", name, x)
		}
	}
	b.Size(t, 390, 844)
	b.Open(t, v.base+"/sign-in?link="+newLink(t, h, webtest.FirstToken))
	look("link")
	b.Do(t, chromedp.Submit(chromedp.CSS(`input[name="link"]`)),
		chromedp.WaitVisible(chromedp.CSS(`a[href="/account"]`)))
	b.Open(t, v.base+"/account")
	if words := browsertest.Eval[string](t, b,
		`document.querySelector("[id^=b-]").textContent`); !strings.HasPrefix(words, "Chrome, Linux") {
		t.Errorf("the browser is called %q", words)
	}
	shown := browsertest.Eval[int](t, b, `document.querySelectorAll("[id^=t-]").length`)
	b.Do(t, chromedp.SendKeys(chromedp.CSS("#name"), "Site office"),
		chromedp.Click(chromedp.CSS(`button[value="new-token"]`)),
		chromedp.WaitVisible(chromedp.CSS(fmt.Sprintf(`ol > li:nth-child(%d) > [id^=t-]`, shown+1))))
	look("account")
	// A page of another site that posts a link of its own account.
	evil := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/html")
		_, _ = w.Write([]byte(`<form method="post" action="` + v.base + `/sign-in"><input name="link" value="` +
			newLink(t, h, webtest.SecondToken) + `"></form>`))
	}))
	defer evil.Close()
	b.Open(t, strings.Replace(evil.URL, "127.0.0.1", "localhost", 1))
	b.Do(t, chromedp.Submit(chromedp.CSS("input")), chromedp.WaitVisible(chromedp.CSS("h1")))
	if words := browsertest.Eval[string](t, b, `document.querySelector("main").textContent`); !strings.Contains(words,
		"another site") {
		t.Errorf("another site's form led to %q", words)
	}
	b.Open(t, v.base+"/account")
	account, err := h.Store.AccountByToken(t.Context(), webtest.FirstToken)
	if err != nil {
		t.Fatal(err)
	}
	if list, err := h.People.Sessions(t.Context(), account); err != nil || len(list) != 1 {
		t.Errorf("%d sessions, %v", len(list), err)
	}
}
