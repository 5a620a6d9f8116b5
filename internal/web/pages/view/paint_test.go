package view_test

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"slices"
	"testing"

	"dryslot/internal/web/browsertest"
)

// BenchmarkFirstPaint is how long a first visit to today's page on a phone waits until
// something is to be read, against a page of one line that the same process serves.
// Visits to both take turns, so that a busy machine slows down both; what counts is the
// median of the ratios of neighbors.
func BenchmarkFirstPaint(b *testing.B) {
	rounds := 31
	if testing.Short() {
		rounds = 1
	}
	pages := served(b)
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path != "/bare" {
			pages.Config.Handler.ServeHTTP(w, r)
			return
		}
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		_, _ = fmt.Fprint(w, `<!doctype html><html lang="en"><title>Bare</title><p>Pour tomorrow.</p></html>`)
	}))
	defer srv.Close()
	browser := browsertest.Start(b)
	browser.Size(b, 390, 844)
	today, bare := srv.URL+"/placing/live/en", srv.URL+"/bare"
	browser.FirstPaint(b, bare) // the first page also waits for the browser to be ready
	browser.FirstPaint(b, today)
	var ratios, shown, plain []float64
	for range rounds {
		x, y := browser.FirstPaint(b, bare), browser.FirstPaint(b, today)
		plain, shown, ratios = append(plain, x), append(shown, y), append(ratios, y/x)
	}
	median := func(x []float64) float64 {
		slices.Sort(x)
		return x[len(x)/2]
	}
	fmt.Printf("first_paint_bare: %.1f ms\nfirst_paint_today: %.1f ms\nfirst_paint_ratio: %.2f x\n",
		median(plain), median(shown), median(ratios))
}
