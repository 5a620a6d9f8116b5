package view_test

import (
	"flag"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"dryslot/internal/today"
	"dryslot/internal/web/browsertest"
	"dryslot/internal/web/look"
	"dryslot/internal/web/pages/states"
	"dryslot/internal/web/pages/view"
	"dryslot/internal/web/phone"
)

var axeAll = flag.Bool("axe.all", false, "open every page in every state, width, mode and language")

// shown is one page as it is opened in the browser.
type shown struct {
	state, name, lang string
	width             int64
	dark              bool
}

func (s shown) String() string {
	return fmt.Sprintf("%s-%s-%s-%d%s", s.state, s.name, s.lang, s.width, map[bool]string{true: "-dark"}[s.dark])
}

// shownIn are the pages to open: all of them, or of each state and page a few.
func shownIn(t *testing.T, all bool) (out []shown) {
	t.Helper()
	changing := []string{"day", "live", "pads", "pad", "confirm"} // the others are the same in each state
	for i, state := range states.Names() {
		for name := range pagesOf(t, state) {
			if i > 0 && !slices.Contains(changing, name) {
				continue
			}
			x := shown{state, name, "en", 390, false}
			if !all {
				switch {
				case i == 0:
					out = append(out, x, shown{state, name, "es-419", 320, true})
				case name == "day":
					out = append(out, shown{state, name, "es-US", 390, false}) // its clocks are the longest
					out = append(out, shown{state, name, "en", 1280, false})
				case name == "live":
					out = append(out, x, shown{state, name, "en", 1280, false})
				}
				continue
			}
			for _, lang := range []string{"en-US", "es-419"} {
				for _, width := range []int64{320, 390, 640, 1280} { // 640: a desk at 200 %
					for _, dark := range []bool{false, true} {
						out = append(out, shown{state, name, lang, width, dark})
					}
				}
			}
		}
	}
	return out
}

// served serves each page of each state in each language, as /state/page/language.
func served(t testing.TB) *httptest.Server {
	t.Helper()
	pages, err := view.Parse()
	if err != nil {
		t.Fatal(err)
	}
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if sheet := look.Read(); r.URL.Path == sheet.Address {
			w.Header().Set("Content-Type", "text/css; charset=utf-8")
			_, _ = w.Write(sheet.CSS)
			return
		}
		if script := phone.Read(); r.URL.Path == script.Address {
			w.Header().Set("Content-Type", "text/javascript; charset=utf-8")
			_, _ = w.Write(script.JS)
			return
		}
		part := strings.Split(strings.TrimPrefix(r.URL.Path, "/"), "/")
		if len(part) != 3 {
			http.NotFound(w, r)
			return
		}
		page, ok := pagesFor(t, states.In(states.Setting(part[0]), part[2]), part[0])[part[1]]
		if !ok {
			http.NotFound(w, r)
			return
		}
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		if err := pages.Render(w, page); err != nil {
			t.Error(err)
		}
	}))
	t.Cleanup(srv.Close)
	return srv
}

// Whoever asks their device for less motion gets pages on which nothing moves.
func TestNothingMovesForWhoAsksForStillPages(t *testing.T) {
	srv := served(t)
	b := browsertest.Start(t)
	b.Size(t, 390, 844)
	moving := `[...document.querySelectorAll("*")].flatMap(e => ["", "::before", "::after"].map(p =>
		getComputedStyle(e, p))).filter(s => s.animationName !== "none" || s.transitionDuration !== "0s").length`
	for _, name := range []string{"live", "day", "pads", "log"} {
		b.Prefer(t, browsertest.Media{})
		b.Open(t, srv.URL+"/placing/"+name+"/en")
		usual := browsertest.Eval[int](t, b, moving)
		b.Prefer(t, browsertest.Media{Still: true})
		b.Open(t, srv.URL+"/placing/"+name+"/en")
		if n := browsertest.Eval[int](t, b, moving); n > 0 {
			t.Errorf("%s: %d parts move, %d as usual", name, n, usual)
		}
		if name == "live" && usual == 0 {
			t.Error("nothing moves on any page: this test tests nothing")
		}
	}
}

// TestPagesInABrowser opens pages in their states, widths, modes and languages:
// axe-core finds nothing (WCAG 2.2 AA, best practice, and 7:1 contrast), nothing
// sticks out sideways, everything to press is 48 px, and what is pinned to a fence
// prints on one sheet. With DRYSLOT_PICTURES naming a folder it leaves a picture of
// each there.
func TestPagesInABrowser(t *testing.T) {
	srv := served(t)
	b := browsertest.Start(t)
	found := 0
	open := shownIn(t, *axeAll)
	for _, x := range open {
		b.Size(t, x.width, 900)
		b.Prefer(t, browsertest.Media{Dark: x.dark})
		b.Open(t, srv.URL+"/"+x.state+"/"+x.name+"/"+x.lang)
		for _, v := range b.Axe(t) {
			found++
			t.Errorf("%s: %s", x, v)
		}
		fits(t, b, x.String())
		if printed(x) {
			for name, paper := range map[string]browsertest.Paper{
				"A4": browsertest.A4(), "letter": browsertest.Letter()} {
				if n := b.PrintedPages(t, paper); n != 1 {
					t.Errorf("%s: prints on %d sheets of %s", x, n, name)
				}
			}
		}
		if dir := os.Getenv("DRYSLOT_PICTURES"); dir != "" {
			b.Screenshot(t, filepath.Join(dir, x.String()+".png"))
		}
	}
	t.Logf("axe_pages: %d pages", len(open))
	t.Logf("axe_findings: %d findings", found)
}

// printed reports whether a page is one that is pinned to a fence: of today, the one
// that a state leads to.
func printed(x shown) bool {
	if x.dark || x.width != 1280 || x.state == "many" {
		return false
	}
	live := states.Setting(x.state).Live.Day
	switch x.name {
	case "day":
		return live == today.Off || live == today.Planned
	case "live":
		return live == today.UnderWay || live == today.Done
	}
	return x.name == "pads" || x.name == "carry"
}

// fits checks that the page is no wider than the window and that what can be
// pressed is at least 48 px high, or stands in a line of words.
func fits(t *testing.T, b *browsertest.Browser, what string) {
	t.Helper()
	over := browsertest.Eval[int](t, b, `Math.ceil(document.documentElement.scrollWidth-window.innerWidth)`)
	small := browsertest.Eval[[]string](t, b,
		`[...document.querySelectorAll("nav a,button,select,input:not([type=hidden]),summary,ol.days a")]
.map(e=>e.type==="checkbox"||e.type==="radio"?e.closest("label"):e)
.filter(e=>e.offsetParent!==null&&
e.getBoundingClientRect().height<(e.closest(".plan")?44:48)).map(e=>e.outerHTML.slice(0,120))`)
	if over > 0 {
		t.Errorf("%s: %d px wider than the window", what, over)
	}
	for _, s := range small {
		t.Errorf("%s: under 48 px: %s", what, s)
	}
}
