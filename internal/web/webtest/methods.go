package webtest

import (
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/labstack/echo/v4"

	"dryslot/internal/web"
)

// Methods checks every route of the parts, as they register them: each method
// that a route lacks is answered 405 with those that it has, OPTIONS tells them
// too, and HEAD goes with GET. It returns how many paths there are.
func Methods(t *testing.T, parts ...web.Routes) int {
	t.Helper()
	have := map[string][]string{}
	parts = append(parts, func(_ *web.Server, e *echo.Echo) {
		for _, r := range e.Routes() {
			have[r.Path] = append(have[r.Path], r.Method)
		}
	})
	h := web.New(web.Options{Clock: time.Now}, parts...)
	for path, methods := range have {
		want := append(slices.Clone(methods), http.MethodOptions)
		if slices.Contains(methods, http.MethodGet) {
			want = append(want, http.MethodHead)
		}
		slices.Sort(want)
		for _, method := range []string{"GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS", "TRACE", "QUERY"} {
			if slices.Contains(want, method) && method != http.MethodOptions {
				continue
			}
			w := httptest.NewRecorder()
			h.ServeHTTP(w, httptest.NewRequest(method, strings.ReplaceAll(path, ":", "a"), nil))
			status := http.StatusMethodNotAllowed
			if method == http.MethodOptions {
				status = http.StatusNoContent
			}
			allow := strings.Split(w.Header().Get("Allow"), ", ")
			slices.Sort(allow)
			if w.Code != status || !slices.Equal(allow, want) {
				t.Errorf("%s %s: %d with Allow %q, want %d with %q", method, path, w.Code, allow, status, want)
			}
		}
	}
	return len(have)
}
