package pages

import (
	"fmt"
	"net/url"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"dryslot/internal/web/browsertest"
	"dryslot/internal/web/webtest"
)

// mostActions is how many taps and fields typed a job of twenty pads may take.
const mostActions = 60

// A person with a phone sets up twenty pads of two sizes, with thick edges, in
// forms that are used again, from nothing. The takeoff follows while they type,
// and the place is found by its name.
func TestTwentyPadsAreSetUpOnAPhone(t *testing.T) {
	h := newService(t)
	v := newSite(t, h)
	b := browsertest.Start(t)
	b.Size(t, 390, 844)
	b.Open(t, v.base+"/new?units=us")
	b.Do(t, chromedp.SendKeys(chromedp.CSS("#token"), webtest.FirstToken), chromedp.Submit(chromedp.CSS("#token")),
		chromedp.WaitVisible(chromedp.CSS(".job-form")))
	b.Open(t, v.base+"/new?units=us")
	actions := 0
	until := func(condition string) {
		t.Helper()
		if !browsertest.Eval[bool](t, b, `new Promise(done => { const end = Date.now() + 60000, wait = () => (`+
			condition+`) ? done(true) : Date.now() > end ? done(false) : setTimeout(wait, 30); wait() })`) {
			t.Fatalf("never: %s", condition)
		}
	}
	typed := func(name, value string) {
		actions++
		browsertest.Eval[string](t, b,
			fmt.Sprintf(`(() => { const x = document.querySelector("[name=%s]"); x.focus(); x.value = %q;
			x.dispatchEvent(new Event("input", {bubbles: true})); return "" })()`, name, value))
	}
	tap := func(selector string) {
		actions++
		b.Do(t, chromedp.Click(chromedp.CSS(selector)))
	}
	bags := `document.querySelector(".take .sum b")?.textContent`
	before := browsertest.Eval[string](t, b, bags)
	if before == "" || before == "0" {
		t.Fatalf("the example takes %q bags", before)
	}
	for _, f := range [][2]string{{"place", "Tacoma, WA"}, {"name", "Goat shed apron"}, {"across0", "6"},
		{"rows0", "2"}, {"length0", `3'10"`}, {"width0", "40 in"}, {"edge0", "6 in"}} {
		typed(f[0], f[1])
	}
	until(bags + ` !== "` + before + `"`)
	until(`/Washington/.test(document.querySelector("#h-place").textContent)`)
	until(`/1.17/.test(document.querySelector("#h-length0").textContent)`)
	tap(`button[value="add row"]`)
	until(`document.querySelector("[name=letter1]")`)
	for _, f := range [][2]string{{"across1", "8"}, {"rows1", "1"}, {"length1", "46 in"}, {"for0", "A, B"},
		{"count0", "4"}, {"price", "5.98"}, {"plastic", "4"}} {
		typed(f[0], f[1])
	}
	until(`!document.querySelector(".take[aria-busy]")`) // the bill is read back: its lines move the button
	for _, x := range b.Axe(t) {
		t.Errorf("axe: %s", x)
	}
	if over := browsertest.Eval[int](t, b, `Math.ceil(document.documentElement.scrollWidth-innerWidth)`); over > 0 {
		t.Errorf("%d px wider than the window", over)
	}
	if shown := browsertest.Eval[string](t, b,
		`getComputedStyle(document.querySelector("#waits")).display`); shown != "none" {
		t.Error("the notice of what waits shows although nothing does")
	}
	tap(`.take .slab`)
	b.Do(t, chromedp.WaitVisible(chromedp.CSS("nav"))) // of a project's page
	at, err := url.Parse(browsertest.Eval[string](t, b, `location.href`))
	if err != nil {
		t.Fatal(err)
	}
	got := parse(t, h.Must(t, 200, "GET", "/v1/projects/"+strings.TrimPrefix(at.Path, "/p/"), "").Body)
	pads := got.Get("pads").Array
	if len(pads) != 20 || pads[19].Get("name").Text != "B8" || pads[0].Get("edge_thickness_m").Text != "0.1524" ||
		got.Get("latitude").Text != "47.25288" {
		t.Errorf("%d pads: %.600s", len(pads), text(got))
	}
	t.Logf("twenty pads in %d actions", actions)
	if actions > mostActions {
		t.Errorf("%d actions", actions)
	}
}
