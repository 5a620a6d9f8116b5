// Package browsertest drives a real Chromium for the tests of the pages.
package browsertest

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
)

// Browser is one running Chromium with one tab.
type Browser struct {
	ctx context.Context
}

// Start starts Chromium, and stops it when the test ends.
func Start(t testing.TB) *Browser {
	t.Helper()
	path := ""
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if p, err := exec.LookPath(name); err == nil {
			path = p
			break
		}
	}
	if path == "" {
		t.Fatal("no Chromium on PATH: `make setup` installs it")
	}
	opts := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path), chromedp.NoSandbox,
		chromedp.DisableGPU, chromedp.Flag("disable-background-networking", true),
		chromedp.Flag("disable-component-update", true), chromedp.Flag("disable-quic", true),
		chromedp.Flag("disable-sync", true), chromedp.WSURLReadTimeout(5*time.Minute))
	alloc, stopAlloc := chromedp.NewExecAllocator(context.Background(), opts...)
	ctx, stop := chromedp.NewContext(alloc)
	// It caps a hang only: a busy machine takes ten times as long as an idle one.
	ctx, cancel := context.WithTimeout(ctx, 30*time.Minute)
	t.Cleanup(func() { cancel(); stop(); stopAlloc() })
	if err := chromedp.Do(ctx); err != nil {
		t.Fatalf("start Chromium: %v", err)
	}
	return &Browser{ctx: ctx}
}

// root is the repository's root.
func root() string {
	_, file, _, _ := runtime.Caller(0)
	return filepath.Join(filepath.Dir(file), "..", "..", "..")
}

// Do runs steps in the tab.
func (b *Browser) Do(t testing.TB, steps ...chromedp.Action[chromedp.Void]) {
	t.Helper()
	if err := chromedp.Do(b.ctx, steps...); err != nil {
		t.Fatalf("browser: %v", err)
	}
}

// Open goes to an address and waits until the page has loaded.
func (b *Browser) Open(t testing.TB, url string) {
	t.Helper()
	b.Do(t, chromedp.Navigate(url))
}

// Eval gives the value of a JavaScript expression in the page.
func Eval[T any](t testing.TB, b *Browser, expression string) T {
	t.Helper()
	v, err := chromedp.Run(b.ctx, chromedp.Evaluate[T](expression, chromedp.EvalAwaitPromise))
	if err != nil {
		t.Fatalf("browser: %v", err)
	}
	return v
}

// Size sets the window to a width and height in CSS pixels.
func (b *Browser) Size(t testing.TB, width, height int64) {
	t.Helper()
	b.Do(t, chromedp.EmulateViewport(width, height))
}

// Touch makes the window a touch screen of a phone's size.
func (b *Browser) Touch(t testing.TB) {
	t.Helper()
	b.Size(t, 390, 844)
	params := emulation.SetTouchEmulationEnabledParams{Enabled: true}
	if _, err := chromedp.Call(b.ctx, emulation.SetTouchEmulationEnabled, params); err != nil {
		t.Fatalf("browser: %v", err)
	}
}

// Tap puts a finger on the middle of what a selector finds, which must be in sight
// once it is scrolled to, with nothing above it.
func (b *Browser) Tap(t testing.TB, selector string) {
	t.Helper()
	at := Eval[[]float64](t, b, fmt.Sprintf(`(e => { if (!e) return [];
e.scrollIntoView({block: "center", behavior: "instant"});
const r = e.getBoundingClientRect(), x = r.x + r.width / 2, y = r.y + r.height / 2;
const on = document.elementFromPoint(x, y);
return on && (e.contains(on) || on.contains(e)) ? [x, y] : [] })(document.querySelector(%q))`, selector))
	if len(at) != 2 {
		t.Fatalf("browser: no finger reaches %s: %s", selector,
			Eval[string](t, b, `document.querySelector("main").innerText.slice(0, 900)`))
	}
	for _, p := range []input.DispatchTouchEventParams{
		{Type: input.DispatchTouchEventTypeTouchStart, TouchPoints: []*input.TouchPoint{{X: at[0], Y: at[1]}}},
		{Type: input.DispatchTouchEventTypeTouchEnd, TouchPoints: []*input.TouchPoint{}}} {
		if _, err := chromedp.Call(b.ctx, input.DispatchTouchEvent, p); err != nil {
			t.Fatalf("browser: %v", err)
		}
	}
}

// Media is what a reader's device asks of pages; the zero value is what is usual.
type Media struct {
	Dark  bool // dark colors
	Still bool // nothing moves
}

// Prefer sets what the device asks of pages from now on, all of it at once: Chromium
// forgets every feature that one call leaves out.
func (b *Browser) Prefer(t testing.TB, m Media) {
	t.Helper()
	scheme, motion := "light", "no-preference"
	if m.Dark {
		scheme = "dark"
	}
	if m.Still {
		motion = "reduce"
	}
	params := emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{
		{Name: "prefers-color-scheme", Value: scheme}, {Name: "prefers-reduced-motion", Value: motion}}}
	if _, err := chromedp.Call(b.ctx, emulation.SetEmulatedMedia, params); err != nil {
		t.Fatalf("browser: %v", err)
	}
}

// FirstPaint opens an address as on a first visit, with nothing kept from before, and
// returns the milliseconds from the request until the first content was painted (Paint
// Timing, first-contentful-paint).
func (b *Browser) FirstPaint(t testing.TB, url string) float64 {
	t.Helper()
	params := network.SetCacheDisabledParams{CacheDisabled: true}
	if _, err := chromedp.Call(b.ctx, network.SetCacheDisabled, params); err != nil {
		t.Fatalf("browser: %v", err)
	}
	b.Open(t, url)
	return Eval[float64](t, b, `new Promise(done => new PerformanceObserver((list, self) => {
		const paint = list.getEntriesByName("first-contentful-paint")[0];
		if (paint) { self.disconnect(); done(paint.startTime) }
	}).observe({type: "paint", buffered: true}))`)
}

// Violation is one rule of axe-core that a page breaks.
type Violation struct {
	ID    string
	Help  string
	Nodes []string
}

// Axe runs axe-core on the page that is open, for WCAG 2.2 A and AA, best practice,
// and the 7:1 contrast of AAA. What has that has the 4.5:1 of AA too, which would
// take as long again.
func (b *Browser) Axe(t testing.TB) []Violation {
	t.Helper()
	const run = `axe.run({resultTypes:["violations"],runOnly:{type:"tag",values:[
		"wcag2a","wcag2aa","wcag21a","wcag21aa","wcag22aa","best-practice"]},
rules:{"color-contrast":{enabled:false},"color-contrast-enhanced":{enabled:true},"target-size":{enabled:true}}})
.then(r=>r.violations.map(v=>({ID:v.id,Help:v.help,Nodes:v.nodes.slice(0,4).map(n=>n.html.slice(0,200))})))`
	axe, err := os.ReadFile(filepath.Join(root(), "testdata", "axe", "node_modules", "axe-core", "axe.min.js"))
	if err != nil {
		t.Fatalf("axe-core: %v; `make setup` installs it", err)
	}
	Eval[int](t, b, string(axe)+";0")
	return Eval[[]Violation](t, b, run)
}

// Paper is the width and height of a sheet, in inches.
type Paper struct{ Width, Height float64 }

// A4 is the sheet of most of the world.
func A4() Paper { return Paper{8.27, 11.69} }

// Letter is the sheet of North America.
func Letter() Paper { return Paper{8.5, 11} }

// PrintedPages gives how many sheets the page prints on.
func (b *Browser) PrintedPages(t testing.TB, on Paper) int {
	t.Helper()
	tagged := false // the marks of a tagged file would be counted too
	out, err := chromedp.Call(b.ctx, page.PrintToPDF,
		page.PrintToPDFParams{PaperWidth: on.Width, PaperHeight: on.Height, GenerateTaggedPDF: &tagged})
	if err != nil {
		t.Fatalf("browser: %v", err)
	}
	return len(regexp.MustCompile(`/Type\s*/Page\b`).FindAll(out.Data, -1))
}

// Screenshot writes a picture of the whole page as PNG.
func (b *Browser) Screenshot(t testing.TB, file string) {
	t.Helper()
	png, err := chromedp.Run(b.ctx, chromedp.FullScreenshot(100))
	if err != nil {
		t.Fatalf("browser: %v", err)
	}
	if err := os.MkdirAll(filepath.Dir(file), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(file, png, 0o644); err != nil {
		t.Fatal(err)
	}
}

// String is a violation in one line.
func (v Violation) String() string {
	return fmt.Sprintf("%s (%s): %s", v.ID, v.Help, strings.Join(v.Nodes, " | "))
}
