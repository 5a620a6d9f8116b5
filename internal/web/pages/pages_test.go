package pages

import (
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"dryslot/internal/web"

	"github.com/chromedp/chromedp"

	"dryslot/internal/web/browsertest"
	"dryslot/internal/web/pages/view"
	"dryslot/internal/web/webtest"
)

// visitor is a browser without eyes: it keeps cookies and follows redirects.
type visitor struct {
	t    *testing.T
	base string
	http *http.Client
}

// newSite serves a service's API and pages.
func newSite(t *testing.T, h *webtest.Service) *visitor {
	t.Helper()
	return newSiteAt(t, h, "http://dryslot.example")
}

func newSiteAt(t *testing.T, h *webtest.Service, publicURL string) *visitor {
	t.Helper()
	srv := httptest.NewServer(siteHandler(t, h, publicURL))
	t.Cleanup(srv.Close)
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	return &visitor{t, srv.URL, &http.Client{Jar: jar}}
}

// siteHandler answers the pages at an address.
func siteHandler(t *testing.T, h *webtest.Service, publicURL string) http.Handler {
	t.Helper()
	views, err := view.Parse()
	if err != nil {
		t.Fatal(err)
	}
	return web.New(web.Options{Store: h.Store, Clock: h.Projects.Now, ClockSet: true,
		PublicURL: publicURL, Longest: webtest.Patient}, Routes(Services{Projects: h.Projects, Alerts: h.Alerts,
		Forecasts: h.Fetching, Accounts: h.People, Places: gazetteer(t), PushKey: "BKx5"}, h.Rows(), views))
}

func (v *visitor) do(req *http.Request) (status int, at, body string) {
	v.t.Helper()
	resp, err := v.http.Do(req)
	if err != nil {
		v.t.Fatal(err)
	}
	defer resp.Body.Close()
	var b strings.Builder
	if _, err := io.Copy(&b, resp.Body); err != nil {
		v.t.Fatal(err)
	}
	return resp.StatusCode, resp.Request.URL.Path, b.String()
}

func (v *visitor) get(path string) (status int, at, body string) {
	v.t.Helper()
	req, err := http.NewRequest("GET", v.base+path, nil)
	if err != nil {
		v.t.Fatal(err)
	}
	return v.do(req)
}

func (v *visitor) post(path string, form url.Values, headers ...string) (status int, at, body string) {
	v.t.Helper()
	req, err := http.NewRequest("POST", v.base+path, strings.NewReader(form.Encode()))
	if err != nil {
		v.t.Fatal(err)
	}
	req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	for i := 0; i+1 < len(headers); i += 2 {
		req.Header.Set(headers[i], headers[i+1])
	}
	return v.do(req)
}

// signIn signs in by a token.
func (v *visitor) signIn(token string) {
	v.t.Helper()
	if status, at, body := v.post("/sign-in", url.Values{"token": {token}}); status != http.StatusOK ||
		at == "/sign-in" {
		v.t.Fatalf("signing in: %d at %s\n%.600s", status, at, body)
	}
}

func TestPagesAskForASignIn(t *testing.T) {
	v := newSite(t, newService(t))
	if _, at, _ := v.get("/"); at != "/sign-in" {
		t.Errorf("a stranger lands on %s", at)
	}
	if status, _, body := v.post("/sign-in",
		url.Values{"token": {"no such token, 32 characters or more"}}); status != http.StatusForbidden ||
		!strings.Contains(body, "not the token of an account") {
		t.Errorf("a wrong token: %d", status)
	}
	v.get("/sign-in?token=" + url.QueryEscape(webtest.FirstToken)) // a token is taken from no address
	if _, at, _ := v.get("/"); at != "/sign-in" {
		t.Errorf("after an address with a token: %s", at)
	}
	v.signIn(webtest.FirstToken)
	if _, at, body := v.get("/"); at != "/" || !strings.Contains(body, "No project yet") {
		t.Errorf("signed in, at %s", at)
	}
	if status, _, _ := v.post("/sign-out", nil, "Sec-Fetch-Site", "cross-site"); status != http.StatusForbidden {
		t.Errorf("a form from another site: %d", status)
	}
	v.post("/sign-out", nil)
	if _, at, _ := v.get("/"); at != "/sign-in" {
		t.Errorf("after signing out: %s", at)
	}
}

// The language is the one that the browser asks for, else the project's.
func TestAPageIsInTheLanguageOfItsReader(t *testing.T) {
	h := newService(t)
	body := strings.Replace(webtest.Yard, `"name"`, `"language":"es-419","name"`, 1)
	id := h.Create(t, webtest.FirstToken, body)
	v := newSite(t, h)
	v.signIn(webtest.FirstToken)
	in := func(accept string) string {
		req, err := http.NewRequest("GET", v.base+"/p/"+id+"/pads", nil)
		if err != nil {
			t.Fatal(err)
		}
		req.Header.Set("Accept-Language", accept)
		_, _, page := v.do(req)
		return page
	}
	for accept, want := range map[string][2]string{
		"":               {`lang="es-419"`, "Faltan por colar las tres losas."},
		"fr":             {`lang="es-419"`, "Faltan por colar las tres losas."},
		"en-US,en;q=0.8": {`lang="en-US"`, "All three pads still to pour."},
		"es-US":          {`lang="es-US"`, "Faltan por colar las tres losas."},
	} {
		page := in(accept)
		for _, w := range want {
			if !strings.Contains(page, w) {
				t.Errorf("%q: lacks %q: %.300s", accept, w, page[strings.Index(page, "<h1>"):])
			}
		}
	}
	if _, _, page := v.get("/p/none"); !strings.Contains(page, "There is no such page.") {
		t.Errorf("an error: %.200s", page)
	}
}

func TestPagesOfAProject(t *testing.T) {
	h := newService(t)
	id := h.Create(t, webtest.FirstToken, webtest.Yard)
	v := newSite(t, h)
	v.signIn(webtest.FirstToken)
	if status, at, body := v.get("/"); status != 200 || at != "/p/"+id || !strings.Contains(body, "No forecast yet") {
		t.Errorf("before the first forecast: %d at %s", status, at)
	}
	h.Refresh(t, id)
	for path, want := range map[string]string{
		"":                "Monday 28 July",
		"/day/2025-07-28": "Monday 28 July",
		"/pads":           "All three pads still to pour.",
		"/pad/A2":         "Only after A1 stripped.",
		"/log":            "What happened?",
		"/carry":          "bags still to place",
		"/sources":        "burns skin",
		"/proved":         "Too early to say how good the forecasts are here: no hour counted yet.",
	} {
		status, _, body := v.get("/p/" + id + path)
		if status != 200 || !strings.Contains(body, want) {
			t.Errorf("%s: %d, lacks %q", path, status, want)
		}
		if !strings.Contains(body, "Open-Meteo") || !strings.Contains(body, "clock of this service is set") {
			t.Errorf("%s: lacks the attribution or the word on the clock", path)
		}
	}
	for _, path := range []string{"/p/" + id + "/day/2031-01-01", "/p/" + id + "/day/tomorrow%00", "/p/" + id +
		"/pad/none", "/p/0b9f6d9e-0000-4c4c-8888-3a5a5a5a5a5a", "/p/x"} {
		if status, _, body := v.get(path); status != http.StatusNotFound || !strings.Contains(body, "<h1>") {
			t.Errorf("%s: %d", path, status)
		}
	}
	stranger := newSite(t, h)
	stranger.signIn(webtest.SecondToken)
	if status, _, _ := stranger.get("/p/" + id); status != http.StatusNotFound {
		t.Errorf("another account's project: %d", status)
	}
}

func TestLoggingByForm(t *testing.T) {
	h := newService(t)
	id := h.Create(t, webtest.FirstToken, webtest.Yard)
	h.Refresh(t, id)
	v := newSite(t, h)
	v.signIn(webtest.FirstToken)
	form := url.Values{"pad": {"A1"}, "at": {"2025-07-27T07:40"}, "kind": {"placed"}, "bags": {"4.5"},
		"water": {"a bucket"}}
	status, _, body := v.post("/p/"+id+"/log", form)
	if status != http.StatusUnprocessableEntity || !strings.Contains(body, "a bucket") ||
		!strings.Contains(body, "must be a number") || !strings.Contains(body, `value="4.5"`) {
		t.Errorf("a wrong number: %d", status)
	}
	form.Set("water", "13,5")
	status, at, body := v.post("/p/"+id+"/log", form)
	if status != 200 || at != "/p/"+id+"/log" || !strings.Contains(body, "A1 placed, 4.5 bags, 13.5\u00a0L of water.") {
		t.Errorf("placed: %d at %s: %.1500s", status, at, body)
	}
	form = url.Values{"pad": {"A1"}, "at": {"2025-07-27T08:40"}, "kind": {"rained_on"}, "rain": {"6"},
		"minutes": {"40"}, "covered": {"no"}}
	if status, _, body = v.post("/p/"+id+"/log", form); status != 200 || !strings.Contains(body, "lost") {
		t.Errorf("rained on: %d", status)
	}
	form.Set("at", "2025-07-28T08:40")
	if status, _, body = v.post("/p/"+id+"/log", form); status != http.StatusUnprocessableEntity ||
		!strings.Contains(body, "future") {
		t.Errorf("in the future: %d", status)
	}
	if status, _, body = v.get("/p/" + id + "/pad/A1"); status != 200 ||
		!strings.Contains(body, "is lost: break it out. It is planned again for Tue 29 Jul.") {
		t.Errorf("the lost pad's page: %d: %s", status, body[strings.Index(body, "<h1>"):])
	}
}

func TestSettingUpByForm(t *testing.T) {
	h := newService(t)
	v := newSite(t, h)
	v.signIn(webtest.FirstToken)
	form := url.Values{}
	for name, value := range map[string]string{"units": "us", "name": "Kennel floor", "place": "52,52; 13,42",
		"letter0": "A", "across0": "3", "rows0": "2", "length0": "4", "width0": "3", "thick0": "3", "gap0": "0",
		"order0": "alternate", "set0": "Boards", "count0": "2", "for0": "A", "bag": "80",
		"rate": "seven", "email": "yard@example.org"} {
		form.Set(name, value)
	}
	status, _, body := v.post("/new", form)
	if status != http.StatusUnprocessableEntity || !strings.Contains(body, "seven") ||
		!strings.Contains(body, "must be a number") || !strings.Contains(body, "Kennel floor") {
		t.Errorf("a wrong rate: %d", status)
	}
	form.Set("rate", "7")
	status, at, body := v.post("/new", form)
	id, ok := strings.CutPrefix(at, "/p/")
	if status != http.StatusOK || !ok {
		t.Fatalf("set up: %d at %s: %.900s", status, at, body)
	}
	got := parse(t, h.Must(t, 200, "GET", "/v1/projects/"+id, "").Body)
	pad := got.Get("pads").Array[1]
	if pad.Get("name").Text != "A2" || len(pad.Get("after").Array) != 3 || pad.Get("thickness_m").Text != "0.0762" {
		t.Errorf("the second pad: %+v", pad)
	}
	if _, _, body := v.get("/p/" + id + "/alerts"); !strings.Contains(body, "<h2>yard@example.org</h2>") ||
		!strings.Contains(body, "gets none yet") {
		t.Errorf("the mail address is not a recipient: %s", body)
	}
	if status, _, body := v.post("/p/"+id+"/alerts", url.Values{"do": {"add"}, "address": {"not an address"},
		"alerts": {"plan"}}); status != http.StatusUnprocessableEntity ||
		!strings.Contains(body, "must be a mail address") {
		t.Errorf("a wrong address: %d", status)
	}
}

// TestABuilderWithAPhone does with a real browser what a builder does: signs
// in, reads tomorrow, looks at the pads, and logs a pad with two taps. With
// DRYSLOT_PICTURES naming a folder it leaves pictures there.
func TestABuilderWithAPhone(t *testing.T) {
	h := newService(t)
	id := h.Create(t, webtest.FirstToken, webtest.Yard)
	h.Refresh(t, id)
	v := newSite(t, h)
	b := browsertest.Start(t)
	look := func(name string) {
		for _, x := range b.Axe(t) {
			t.Errorf("%s: %s", name, x)
		}
		if dir := os.Getenv("DRYSLOT_PICTURES"); dir != "" {
			b.Screenshot(t, filepath.Join(dir, name+".png"))
		}
	}
	heading := func() string { return browsertest.Eval[string](t, b, `document.querySelector("h1").textContent`) }
	b.Size(t, 390, 844)
	b.Open(t, v.base+"/")
	b.Do(t, chromedp.SendKeys(chromedp.CSS("#token"), webtest.FirstToken), chromedp.Submit(chromedp.CSS("#token")),
		chromedp.WaitVisible(chromedp.CSS("nav")))
	when := browsertest.Eval[string](t, b, `document.querySelector(".when").textContent`)
	if got := strings.ReplaceAll(when, "\u00a0", " "); !strings.Contains(got, "omorrow, Monday, July 28") {
		t.Errorf("first page: %q", got)
	}
	look("builder-next-390")
	b.Open(t, v.base+"/p/"+id+"/pads")
	look("builder-pads-390")
	b.Do(t, chromedp.Click(chromedp.CSS(`.plan.narrow label`)),
		chromedp.Click(chromedp.CSS(`.sheets button[value="placed"]`)),
		chromedp.WaitVisible(chromedp.CSS(`.undo button`)))
	if got := browsertest.Eval[string](t, b, `document.querySelector(".undo").textContent`); !strings.HasPrefix(got,
		"A1 placed") {
		t.Errorf("after two taps: %q", got)
	}
	b.Do(t, chromedp.Click(chromedp.CSS(`.undo button`)),
		chromedp.WaitVisible(chromedp.CSS(`.undo input[name="pads"] + button`)))
	if got := heading(); !strings.Contains(got, "three") {
		t.Errorf("after an undo: %q", got)
	}
	look("builder-logged-390")
	b.Size(t, 1280, 900)
	b.Open(t, v.base+"/p/"+id)
	look("builder-next-1280")
	b.Open(t, v.base+"/p/"+id+"/pads")
	look("builder-pads-1280")
	if third := browsertest.Eval[int](t, b,
		`performance.getEntriesByType("resource").filter(e=>!e.name.startsWith(location.origin)).length`); third != 0 {
		t.Errorf("%d requests to others", third)
	}
}
