package view_test

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"dryslot/internal/web/browsertest"
	"dryslot/internal/web/look"
	"dryslot/internal/web/pages/view"
	"dryslot/internal/web/pages/view/viewtest"
)

// TestPagesInABrowser opens every page in every state, on a phone and on a
// desk, light and dark: axe-core finds nothing (WCAG 2.2 AA, and 7:1
// contrast), nothing sticks out sideways, and everything to press is 48 px.
// With DRYSLOT_PICTURES naming a folder it leaves a picture of each there.
func TestPagesInABrowser(t *testing.T) {
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
		state, name, _ := strings.Cut(strings.TrimPrefix(r.URL.Path, "/"), "/")
		page, ok := pagesOf(t, state)[name]
		if !ok {
			http.NotFound(w, r)
			return
		}
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		if err := pages.Render(w, page); err != nil {
			t.Error(err)
		}
	}))
	defer srv.Close()
	b := browsertest.Start(t)
	for _, width := range []int64{390, 1280} {
		b.Size(t, width, 900)
		for i, state := range viewtest.States() {
			for name := range pagesOf(t, state) {
				if i > 0 && name != "day" && name != "pads" && name != "pad" && !(state == "us" && name == "setup") {
					continue // these do not change with the state
				}
				for _, dark := range []bool{false, true} {
					if dark && (i > 0 || width > 390) {
						continue // the colours are the same everywhere
					}
					b.Dark(t, dark)
					what := fmt.Sprintf("%s-%s-%d", state, name, width)
					if dark {
						what += "-dark"
					}
					b.Open(t, srv.URL+"/"+state+"/"+name)
					for _, v := range b.Axe(t) {
						t.Errorf("%s: %s", what, v)
					}
					fits(t, b, what)
					if name == "day" && width > 390 {
						if n := b.PrintedPages(t); n != 1 {
							t.Errorf("%s: prints on %d sheets of A4", what, n)
						}
					}
					if dir := os.Getenv("DRYSLOT_PICTURES"); dir != "" {
						b.Screenshot(t, filepath.Join(dir, what+".png"))
					}
				}
			}
		}
	}
}

// fits checks that the page is no wider than the window and that what can be
// pressed is at least 48 px high, or stands in a line of words.
func fits(t *testing.T, b *browsertest.Browser, what string) {
	t.Helper()
	over := browsertest.Eval[int](t, b, `Math.ceil(document.documentElement.scrollWidth-window.innerWidth)`)
	small := browsertest.Eval[[]string](t, b, `[...document.querySelectorAll("nav a,button,select,input:not([type=hidden]),summary,ol.days a")]
.filter(e=>e.offsetParent!==null&&e.getBoundingClientRect().height<48).map(e=>e.outerHTML.slice(0,120))`)
	if over > 0 {
		t.Errorf("%s: %d px wider than the window", what, over)
	}
	for _, s := range small {
		t.Errorf("%s: under 48 px: %s", what, s)
	}
}
