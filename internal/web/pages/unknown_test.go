package pages

import (
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"dryslot/internal/web"
	"dryslot/internal/web/api"
	"dryslot/internal/web/pages/view"
	"dryslot/internal/web/webtest"
)

func TestEveryPageTellsItsMethods(t *testing.T) {
	views, err := view.Parse()
	if err != nil {
		t.Fatal(err)
	}
	if n := webtest.Methods(t, Routes(Services{}, nil, views)); n < 15 {
		t.Errorf("only %d paths", n)
	}
}

// A person at an unknown address gets a page, a program a problem.
func TestUnknownAddresses(t *testing.T) {
	views, err := view.Parse()
	if err != nil {
		t.Fatal(err)
	}
	h := web.New(web.Options{Clock: time.Now}, api.Routes(api.Services{}, nil), Routes(Services{}, nil, views))
	for _, c := range []struct {
		method, path string
		status       int
		kind         string
	}{
		{"GET", "/nowhere", http.StatusNotFound, "text/html; charset=UTF-8"},
		{"GET", "/p/x/nowhere", http.StatusNotFound, "text/html; charset=UTF-8"},
		{"PUT", "/sign-in", http.StatusMethodNotAllowed, "text/html; charset=UTF-8"},
		{"GET", "/v1/nowhere", http.StatusNotFound, "application/problem+json"},
		{"GET", "/v2/projects", http.StatusNotFound, "application/problem+json"},
		{"PUT", "/v1/projects", http.StatusMethodNotAllowed, "application/problem+json"},
		{"POST", "/openapi.json", http.StatusMethodNotAllowed, "application/problem+json"},
		{"POST", "/readyz", http.StatusMethodNotAllowed, "application/problem+json"},
	} {
		w := httptest.NewRecorder()
		h.ServeHTTP(w, httptest.NewRequest(c.method, c.path, nil))
		if w.Code != c.status || w.Header().Get("Content-Type") != c.kind {
			t.Errorf("%s %s: %d %s", c.method, c.path, w.Code, w.Header().Get("Content-Type"))
		}
		if page := strings.Contains(w.Body.String(), "<html"); page != strings.HasPrefix(c.kind, "text/html") {
			t.Errorf("%s %s: %.200s", c.method, c.path, w.Body)
		}
		if page := strings.HasPrefix(c.kind, "text/html"); page && w.Header().Get("Content-Security-Policy") == "" {
			t.Errorf("%s %s: no content policy", c.method, c.path)
		}
	}
}

// Where the weather is invented, who works on the pages can look at every state of
// them; elsewhere there is no such address.
func TestEveryStateCanBeLookedAt(t *testing.T) {
	views, err := view.Parse()
	if err != nil {
		t.Fatal(err)
	}
	for _, sample := range []bool{true, false} {
		h := web.New(web.Options{Clock: time.Now, Sample: sample}, Routes(Services{}, nil, views))
		for path, want := range map[string]int{"/states": 200, "/states/cover/live": 200, "/states/hold/day": 200,
			"/states/none/day": 404} {
			if !sample {
				want = http.StatusNotFound
			}
			w := httptest.NewRecorder()
			h.ServeHTTP(w, httptest.NewRequest("GET", path, nil))
			if w.Code != want {
				t.Errorf("%s, sample %v: %d", path, sample, w.Code)
			}
		}
	}
}
