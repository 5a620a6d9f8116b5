package feedtest

import (
	"net/http"
	"net/http/httptest"
	"strconv"
	"strings"
	"testing"
)

// Answer is what the loopback server gives at a path.
type Answer struct {
	Status int
	Header map[string]string
	Body   []byte
}

// serve answers at each path, whatever the query, and elsewhere with a 404 in
// HTML.
func serve(t testing.TB, routes map[string]Answer) (base string) {
	return listen(t, func(w http.ResponseWriter, r *http.Request) { at(routes, r.URL.Path).write(w) })
}

// at returns the answer at a path. A route that ends in a slash is that of all
// paths below it.
func at(routes map[string]Answer, path string) Answer {
	if a, ok := routes[path]; ok {
		return a
	}
	for below, a := range routes {
		if strings.HasSuffix(below, "/") && strings.HasPrefix(path, below) {
			return a
		}
	}
	return Answer{Status: 404, Header: map[string]string{"Content-Type": "text/html"},
		Body: []byte("<html><body>Not found</body></html>")}
}

// serveAll gives one answer at every path.
func serveAll(t testing.TB, a Answer) string {
	return listen(t, func(w http.ResponseWriter, _ *http.Request) { a.write(w) })
}

func listen(t testing.TB, h http.HandlerFunc) string {
	srv := httptest.NewServer(h)
	t.Cleanup(srv.Close)
	return srv.URL
}

func (a Answer) write(w http.ResponseWriter) {
	for k, v := range a.Header {
		w.Header().Set(k, v)
	}
	if a.Status != http.StatusNotModified {
		w.Header().Set("Content-Length", strconv.Itoa(len(a.Body)))
	}
	w.WriteHeader(a.Status)
	if a.Status != http.StatusNotModified {
		_, _ = w.Write(a.Body) // a client that went away is the test's own doing
	}
}

func contains(s, part string) bool {
	return strings.Contains(strings.ToLower(s), strings.ToLower(part))
}
