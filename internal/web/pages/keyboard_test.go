package pages

import (
	"fmt"
	"net/http"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"dryslot/internal/web/browsertest"
	"dryslot/internal/web/webtest"
)

// mostTabs is how many stops a page may have before what is looked for.
const mostTabs = 120

// Who has a keyboard alone gets in, reaches everything that can be pressed on each
// page of a job, sees where they are, logs a pad as placed and undoes it.
func TestAKeyboardAloneDoesEverything(t *testing.T) {
	h := newService(t)
	id := h.Create(t, webtest.FirstToken, rowOfPads(2))
	v := newSite(t, h)
	b := browsertest.Start(t)
	b.Size(t, 1280, 900)
	// to presses Tab until the focus is on what a selector finds.
	to := func(selector string) {
		t.Helper()
		for range mostTabs {
			b.Do(t, chromedp.KeyEvent("\t"))
			if browsertest.Eval[bool](t, b, fmt.Sprintf(`document.activeElement.matches(%q)`, selector)) {
				return
			}
		}
		t.Fatalf("Tab never comes to %s", selector)
	}
	enter := func() {
		t.Helper()
		browsertest.Eval[string](t, b, `window.before = "yes"`)
		b.Do(t, chromedp.KeyEvent("\r"))
		for end := time.Now().Add(time.Minute); browsertest.Eval[bool](t, b,
			`!!window.before || document.readyState !== "complete"`); {
			if time.Now().After(end) {
				t.Fatal("no page follows Enter")
			}
		}
	}
	b.Open(t, v.base+"/p/"+id+"/log")
	to("#token")
	b.Do(t, chromedp.KeyEvent(webtest.FirstToken))
	enter()
	for _, page := range []string{"", "/pads", "/carry", "/log", "/alerts", "/change", "/crew", "/try", "/sources",
		"/confirm"} {
		b.Open(t, v.base+"/p/"+id+page)
		// Of radio buttons one is a stop, and arrows choose; a closed fold hides what it holds.
		want := browsertest.Eval[int](t, b,
			`(() => { window.left = new Set([...document.querySelectorAll(
				"a[href],button,summary,input:not([type=hidden],[type=radio]),select,textarea")]
			.filter(e => !e.disabled &&
			e.checkVisibility({visibilityProperty: true}) && e.tabIndex >= 0)); return left.size })()`)
		for range want + 40 {
			b.Do(t, chromedp.KeyEvent("\t"))
			if unseen := browsertest.Eval[string](t, b,
				`(e => { left.delete(e); const s = getComputedStyle(e), l = getComputedStyle(e.closest("label") || e);
				return e === document.body || [s, l].some(x =>
				x.outlineStyle !== "none" && parseFloat(x.outlineWidth) >= 2) ?
				"" : e.outerHTML.slice(0, 160) })(document.activeElement)`); unseen != "" {
				t.Errorf("%s: the focus is not seen on %s", page, unseen)
			}
			if browsertest.Eval[bool](t, b, `left.size === 0`) {
				break
			}
		}
		if missed := browsertest.Eval[[]string](t, b, `[...left].map(e => e.outerHTML.slice(0, 160))`); want < 5 ||
			len(missed) > 0 {
			t.Errorf("%s: Tab never comes to %d of %d: %v", page, len(missed), want, missed)
		}
	}
	b.Open(t, v.base+"/p/"+id+"/log")
	to("#f-pad")
	b.Do(t, chromedp.KeyEvent("A2")) // as one types to choose
	to("button[value=placed]")
	enter()
	entries := func() int {
		return len(parse(t, h.Must(t, http.StatusOK, "GET", "/v1/projects/"+id+"/log", "").Body).Get("items").Array)
	}
	if n := entries(); n != 1 {
		t.Fatalf("%d entries after Enter on placed", n)
	}
	b.Open(t, v.base+"/p/"+id+"/log")
	to("button[value=undone]")
	enter()
	if n := entries(); n != 2 {
		t.Errorf("%d entries after Enter on undo", n)
	}
}
