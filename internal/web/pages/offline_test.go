package pages

import (
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"regexp"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"dryslot/internal/pour"
	"dryslot/internal/web"
	"dryslot/internal/web/browsertest"
	"dryslot/internal/web/pages/view"
	"dryslot/internal/web/webtest"
)

// line is the network between the phone and the service. While it is cut, the
// page and its worker get no answer; a lost answer is one to a request that
// arrived.
type line struct {
	next http.Handler
	cut  atomic.Bool
	lose atomic.Int32 // answers to entries still to be lost
	sent atomic.Int32 // entries that arrived
}

func (l *line) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	if l.cut.Load() {
		panic(http.ErrAbortHandler)
	}
	entry := r.Method == http.MethodPost && regexp.MustCompile(`/(log|confirm|photos)$`).MatchString(r.URL.Path)
	if entry {
		l.sent.Add(1)
		if l.lose.Add(-1) >= 0 {
			l.next.ServeHTTP(httptest.NewRecorder(), r)
			panic(http.ErrAbortHandler)
		}
	}
	l.next.ServeHTTP(w, r)
}

// row is a job of n pads that wait for none of each other.
func rowOfPads(n int) string {
	var pads []string
	for i := range n {
		pads = append(pads,
			fmt.Sprintf(`{"name":"A%d","length_m":1.2,"width_m":0.9,"thickness_m":0.075,"x_m":%d,"y_m":0}`, i+1, 2*i))
	}
	return `{"name":"Boules court kerb","latitude":52.52,"longitude":13.42,"crew":{"people":2},"pads":[` +
		strings.Join(pads, ",") + `]}`
}

// handset is a browser with the worker of the pages, signed in, on a network that can be cut.
type handset struct {
	browser *browsertest.Browser
	network *line
	base    string
	set     func(time.Time) // the service's clock
}

func onAPhone(t *testing.T, h *webtest.Service, id string) handset {
	t.Helper()
	views, err := view.Parse()
	if err != nil {
		t.Fatal(err)
	}
	var now atomic.Pointer[time.Time]
	x := handset{browser: browsertest.Start(t), set: func(at time.Time) { now.Store(&at) }}
	x.set(h.Now)
	clock := func() time.Time { return *now.Load() }
	h.Projects.Now = clock
	x.network = &line{next: web.New(web.Options{Store: h.Store, Clock: clock, ClockSet: true,
		PublicURL: "http://dryslot.example", Longest: webtest.Patient},
		Routes(Services{Projects: h.Projects, Alerts: h.Alerts, Forecasts: h.Fetching,
			Accounts: h.People}, h.Rows(), views))}
	srv := httptest.NewUnstartedServer(x.network)
	srv.Config.ErrorLog = nil
	srv.Start()
	t.Cleanup(srv.Close)
	b := x.browser
	b.Size(t, 390, 844)
	x.base = strings.Replace(srv.URL, "127.0.0.1", "localhost", 1)
	b.Open(t, x.base+"/p/"+id+"/log")
	b.Do(t, chromedp.SendKeys(chromedp.CSS("#token"), webtest.FirstToken), chromedp.Submit(chromedp.CSS("#token")),
		chromedp.WaitVisible(chromedp.CSS("nav")))
	browsertest.Eval[bool](t, b, `navigator.serviceWorker.ready.then(() => new Promise(done => {
		const wait = () => navigator.serviceWorker.controller ? done(true) : setTimeout(wait, 20); wait() }))`)
	return x
}

// open opens a page, and waits until the page has asked the service for its time:
// an answer that is still on its way would set the clock again later.
func (x handset) open(t *testing.T, page string) {
	t.Helper()
	browsertest.Eval[string](t, x.browser, `sessionStorage.removeItem("ahead") || ""`)
	x.browser.Open(t, page)
	browsertest.Eval[bool](t, x.browser, `new Promise(done => { const wait = () =>
		sessionStorage.getItem("ahead") !== null ? done(true) : setTimeout(wait, 20); wait() })`)
}

// With the network cut from 9:00 to 13:00, fourteen entries wait in the phone with
// the times of their taps. When it is back each arrives once, in order, even where
// an answer was lost on the way; one that can't be true is told, with the reason.
func TestEntriesWaitForSignalAndArriveOnce(t *testing.T) {
	h := newService(t)
	h.Now = h.Now.Add(13 * time.Hour) // 9:00 on the morning after
	id := h.Create(t, webtest.FirstToken, rowOfPads(7))
	h.Refresh(t, id)
	x := onAPhone(t, h, id)
	b, network, set := x.browser, x.network, x.set
	page := x.base + "/p/" + id + "/log"
	b.Open(t, page) // now the worker keeps it
	x.open(t, page)

	nine := h.Now
	network.cut.Store(true)
	var want []string
	// tap moves the clock of the phone, opens the page, which is the kept one, and
	// presses a button.
	tap := func(after time.Duration, kind, pad string, waits int) {
		t.Helper()
		at := nine.Add(after)
		ahead := time.Until(at).Milliseconds()
		browsertest.Eval[string](t, b, fmt.Sprintf(`sessionStorage.setItem("ahead", %d) || ""`, ahead))
		b.Open(t, page)
		browsertest.Eval[string](t, b, fmt.Sprintf(`(document.querySelector("#f-pad").value = %q) || ""`, pad))
		if kind == "note" {
			browsertest.Eval[string](t, b, `(document.querySelector("#f-text").value = "boards oiled")`)
		}
		browsertest.Eval[string](t, b, fmt.Sprintf(`document.querySelector('button[value=%s]').click() || ""`, kind))
		browsertest.Eval[bool](t, b,
			fmt.Sprintf(
				`new Promise(done => { const wait = () => document.querySelectorAll("#waits li").length === %d ?
					done(true) : setTimeout(wait, 20); wait() })`, waits))
		want = append(want, strings.TrimSuffix(kind, "_all")+" "+pad)
	}
	for i := range 7 {
		tap(time.Duration(5+30*i)*time.Minute, "placed", fmt.Sprintf("A%d", i+1), len(want)+1)
	}
	for i := range 5 {
		tap(time.Duration(190+5*i)*time.Minute, "finished", fmt.Sprintf("A%d", i+1), len(want)+1)
	}
	tap(220*time.Minute, "rained_on_all", "", len(want)+1)
	tap(225*time.Minute, "note", "", len(want)+1)
	tap(230*time.Minute, "placed", "A1", len(want)+1) // it was placed already
	said := browsertest.Eval[string](t, b, `document.querySelector("#waits p").textContent`)
	if !strings.Contains(said, "15 entries wait") || !strings.Contains(said, "No news since") {
		t.Errorf("the page says %q", said)
	}
	if n := network.sent.Load(); n != 0 {
		t.Fatalf("%d entries arrived while the network was cut", n)
	}

	set(nine.Add(4 * time.Hour))
	network.lose.Store(2) // the first two answers are lost
	network.cut.Store(false)
	for range 3 { // an answer that is lost stops the sending until the next occasion
		browsertest.Eval[bool](t, b,
			`new Promise(done => { dispatchEvent(new Event("online")); setTimeout(done, 50, true) })`)
		browsertest.Eval[bool](t, b, `navigator.locks.request("dryslot-log", () => true)`)
	}
	refused := browsertest.Eval[string](t, b,
		`new Promise(done => { const wait = () => { const w = document.querySelectorAll("#waits li.wrong");
		w.length === 1 && document.querySelectorAll("#waits li").length === 1 ?
		done(w[0].textContent) : setTimeout(wait, 20) }; wait() })`)
	if !strings.Contains(refused, "Not taken: ") || !strings.Contains(refused, "A1") {
		t.Errorf("the page says of the refused one: %q", refused)
	}
	a := h.Must(t, http.StatusOK, "GET", "/v1/projects/"+id+"/log?limit=100", "")
	var log struct {
		Items []struct {
			Kind, Pad string
			At        time.Time
		}
	}
	if err := json.Unmarshal([]byte(a.Body), &log); err != nil {
		t.Fatal(err)
	}
	if len(log.Items) != 14 {
		t.Fatalf("%d entries arrived, want 14: %s", len(log.Items), a.Body)
	}
	arrived := map[string]time.Time{}
	for _, e := range log.Items {
		arrived[e.Kind+" "+e.Pad] = e.At
	}
	for i, key := range want[:14] {
		at, ok := arrived[key]
		tapped := []time.Duration{5, 35, 65, 95, 125, 155, 185, 190, 195, 200, 205, 210, 220, 225}[i] * time.Minute
		off := at.Sub(nine.Add(tapped))
		if !ok || off < -time.Second || off > time.Minute {
			t.Errorf("%s: %v from its tap", key, off)
		}
	}
	t.Logf("14 entries in %d requests, each once", network.sent.Load())

	// Signing out takes everything along.
	browsertest.Eval[string](t, b, `document.querySelector("#waits li button").click() || ""`)
	b.Do(t, chromedp.Click(chromedp.CSS(`form[action="/sign-out"] button`)),
		chromedp.WaitVisible(chromedp.CSS("#token")))
	if left := browsertest.Eval[int](t, b,
		`caches.keys().then(async names => { let n = 0;
		for (const x of names) n += (await (await caches.open(x)).keys()).filter(
		r => /\/p\//.test(r.url)).length; return n })`); left != 0 {
		t.Errorf("%d pages of the job are left on the phone", left)
	}
}

// After a tap without signal the page of today goes on to the next step by the
// list that it holds: its sentence, its countdown and its button.
func TestTodayGoesOnWithoutSignal(t *testing.T) {
	h := newService(t)
	h.Now = h.Now.Add(13 * time.Hour)
	id := h.Create(t, webtest.FirstToken, rowOfPads(3))
	h.Refresh(t, id)
	x := onAPhone(t, h, id)
	b, page := x.browser, x.base+"/p/"+id
	at := h.Now
	for _, pad := range []string{"A1", "A2"} {
		h.Must(t, http.StatusCreated, "POST", "/v1/projects/"+id+"/log",
			fmt.Sprintf(`{"kind":"placed","pad":%q,"at":%q}`, pad, at.Add(-10*time.Minute).Format(time.RFC3339)))
	}
	ahead := fmt.Sprintf(`sessionStorage.setItem("ahead", %d) || ""`, time.Until(at).Milliseconds())
	browsertest.Eval[string](t, b, ahead)
	b.Open(t, page)
	b.Open(t, page)
	x.network.cut.Store(true)
	head := func() string {
		return browsertest.Eval[string](t, b, `document.querySelector("h1").textContent.trim()`)
	}
	slab := func() string {
		return browsertest.Eval[string](t, b,
			`(s => s ? s.value + " " + [...s.form.querySelectorAll("[name=pads]")].map(x => x.value) : "")(
			document.querySelector(".slab"))`)
	}
	placing, err := time.Parse(time.RFC3339, browsertest.Eval[string](t, b,
		`document.querySelector("[data-kind=placed]").dataset.from`))
	if err != nil {
		t.Fatal(err)
	}
	var heads, taps []string
	for n := range 3 {
		heads, taps = append(heads, head()), append(taps, slab())
		browsertest.Eval[string](t, b, `document.querySelector(".slab").click() || ""`)
		browsertest.Eval[bool](t, b,
			fmt.Sprintf(
				`new Promise(done => { const wait = () => document.querySelectorAll("#waits li").length === %d ?
					done(true) : setTimeout(wait, 20); wait() })`, n+1))
	}
	for i := range 3 {
		kind, pad, _ := strings.Cut(taps[i], " ")
		if kind == "" || !strings.Contains(heads[i], strings.Split(pad, ",")[0]) {
			t.Errorf("step %d: %q with the button %q", i, heads[i], taps[i])
		}
		for j := range i {
			if taps[i] == taps[j] {
				t.Errorf("the step %q comes again", taps[i])
			}
		}
	}
	if now := slab(); now == taps[2] {
		t.Errorf("after the last tap the button is %q still", now)
	}
	// Clocks are the project's, ahead of UTC, wherever the phone is.
	zone, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	if want := strings.ToLower(placing.In(zone).Format("3:04 PM")); !strings.HasSuffix(heads[2], want) {
		t.Errorf("the head says %q, want %s", heads[2], want)
	}
	t.Logf("%q, %q", heads, taps)
}

// Photos taken without signal wait in the phone, smaller than they were taken, behind
// the entries. When the network is back the entry that shows them arrives once, at the
// time of its tap, even where an answer was lost on the way.
func TestPhotosWaitForSignal(t *testing.T) {
	h := newService(t)
	h.Now = h.Now.Add(13 * time.Hour)
	id := h.Create(t, webtest.FirstToken, rowOfPads(2))
	h.Refresh(t, id)
	x := onAPhone(t, h, id)
	b, page := x.browser, x.base+"/p/"+id+"/log"
	b.Open(t, page) // now the worker keeps it
	x.open(t, page)
	x.network.cut.Store(true)
	at := h.Now.Add(time.Hour)
	ahead := time.Until(at).Milliseconds()
	browsertest.Eval[string](t, b, fmt.Sprintf(`sessionStorage.setItem("ahead", %d) || ""`, ahead))
	b.Open(t, page)
	browsertest.Eval[bool](t, b, `new Promise(done => {
		const c = document.createElement("canvas");
		c.width = 2400; c.height = 1200;
		c.getContext("2d").fillRect(0, 0, 900, 900);
		c.toBlob(blob => {
			const files = new DataTransfer();
			files.items.add(new File([blob], "IMG_1.png", {type: "image/png"}));
			const f = document.querySelector("#ph-file").form;
			f.elements.photos.files = files.files;
			f.elements.pad.value = "A2";
			f.elements.text.value = "corner of the form";
			f.requestSubmit(f.querySelector("button"));
			done(true);
		}, "image/png");
	})`)
	waits := func(n int) {
		t.Helper()
		browsertest.Eval[bool](t, b, fmt.Sprintf(`new Promise(done => { const wait = () =>
			document.querySelectorAll("#waits li").length === %d ? done(true) : setTimeout(wait, 20); wait() })`, n))
	}
	waits(1)
	browsertest.Eval[string](t, b, `document.querySelector("button[value=rained_on_all]").click() || ""`)
	waits(2)
	x.set(at.Add(2 * time.Hour))
	x.network.lose.Store(2) // the answers to the rain, and to the photo
	x.network.cut.Store(false)
	for range 3 {
		browsertest.Eval[bool](t, b,
			`new Promise(done => { dispatchEvent(new Event("online")); setTimeout(done, 50, true) })`)
		browsertest.Eval[bool](t, b, `navigator.locks.request("dryslot-log", () => true)`)
	}
	waits(0)
	a := h.Must(t, http.StatusOK, "GET", "/v1/projects/"+id+"/log?limit=100", "")
	var log struct {
		Items []pour.LogEntry
	}
	if err := json.Unmarshal([]byte(a.Body), &log); err != nil {
		t.Fatal(err)
	}
	if len(log.Items) != 2 {
		t.Fatalf("%d entries arrived: %s", len(log.Items), a.Body)
	}
	for _, e := range log.Items {
		if off := e.At.Sub(at); off < -time.Second || off > time.Minute {
			t.Errorf("%s: %v from its tap", e.Kind, off)
		}
		if e.Kind == pour.EntryNote && (e.Pad != "A2" || e.Text != "corner of the form" || len(e.Photos) != 1) {
			t.Errorf("the entry is %+v", e)
		}
	}
	a = h.Must(t, http.StatusOK, "GET", "/v1/projects/"+id+"/photos", "")
	if !strings.Contains(a.Body, `"width":1600,"height":800`) || strings.Count(a.Body, `"id"`) != 1 {
		t.Errorf("the photos are %s", a.Body)
	}
}

// The script is refused nothing by the content policy, and the manifest, the
// icons and the worker are there.
func TestWhatMakesThePagesAnAppIsServed(t *testing.T) {
	v := newSite(t, newService(t))
	for path, kind := range map[string]string{"/worker.js": "text/javascript",
		"/manifest.webmanifest": "application/manifest+json", "/icon-192.png": "image/png",
		"/icon-512.png": "image/png", "/icon-180.png": "image/png", "/offline": "text/html"} {
		resp, err := v.http.Get(v.base + path)
		if err != nil {
			t.Fatal(err)
		}
		b, err := io.ReadAll(resp.Body)
		resp.Body.Close()
		if err != nil || resp.StatusCode != http.StatusOK ||
			!strings.HasPrefix(resp.Header.Get("Content-Type"), kind) || len(b) < 100 {
			t.Errorf("%s: %d, %s, %d bytes, %v", path, resp.StatusCode, resp.Header.Get("Content-Type"), len(b), err)
		}
	}
}
