package feedtest

import (
	"bytes"
	"compress/gzip"
	"context"
	"errors"
	"fmt"
	"math/rand"
	"net/http"
	"regexp"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/forecast"
	"dryslot/internal/place"
)

// mainPath returns the path of the document with the hours: the longest body.
func mainPath(routes map[string]Answer) (path string) {
	for p, a := range routes {
		if path == "" || len(a.Body) > len(routes[path].Body) {
			path = p
		}
	}
	return path
}

// A document that breaks off anywhere, or goes on with the words of an error,
// is refused whole.
func testBroken(t *testing.T, s Subject) {
	r := rand.New(rand.NewSource(12))
	routes := s.routes(NewTable(r, start, 12))
	path := mainPath(routes)
	whole := bytes.TrimRight(routes[path].Body, " \n")
	try := func(what string, body []byte) {
		if _, err := s.Decode(body); !errors.Is(err, fault.Invalid) {
			t.Errorf("%s: error is %v, want %v", what, err, fault.Invalid)
		}
	}
	for range 300 {
		n := r.Intn(len(whole))
		try(fmt.Sprintf("cut at byte %d of %d", n, len(whole)), whole[:n])
	}
	for _, more := range []string{"Unexpected error while streaming data: readTimeout", "}", "null", "\x00",
		string(whole)} {
		try("more after the document: "+more[:min(20, len(more))], append(bytes.Clone(whole), more...))
	}
	// The same over HTTP, with the length that the server really sent.
	a := routes[path]
	a.Body = append(bytes.Clone(whole[:len(whole)/2]), "Unexpected error while streaming data: readTimeout"...)
	routes[path] = a
	_, err := s.Open(t, serve(t, routes), enough).Fetch(context.Background(), cell, "", start)
	refused(t, "plain text in a 200", err, fault.Invalid, "byte")
}

func testOtherForms(t *testing.T, s Subject) {
	for _, body := range []string{"", " ", "null", "42", `"text"`, "[]", "{}", "[{}]", `[[]]`, `{"hourly":[]}`,
		`{"hourly":{"time":null}}`,
		`{"properties":null}`, `{"properties":[]}`, `{"properties":{"timeseries":{}}}`,
		`{"properties":{"periods":[null]}}`,
		`{"properties":{"temperature":{"values":[{"validTime":null}]}}}`, strings.Repeat("[", 20000),
		strings.Repeat(`{"a":`, 20000)} {
		if _, err := s.Decode([]byte(body)); !errors.Is(err, fault.Invalid) {
			t.Errorf("%.40q: error is %v, want %v", body, err, fault.Invalid)
		}
	}
}

// What a provider refuses with, also in HTML, is told apart by what to do:
// ask later, or never again like this.
func testRefusals(t *testing.T, s Subject) {
	html := []byte("<!DOCTYPE html><html><head><title>Error</title></head><body><h1>Sorry</h1></body></html>")
	for _, c := range []struct {
		status int
		header map[string]string
		kind   fault.Kind
		wait   time.Duration
	}{
		{400, nil, fault.Invalid, 0},
		{401, nil, fault.Invalid, 0},
		{403, nil, fault.Invalid, 0},
		{404, nil, fault.NotFound, 0},
		{422, nil, fault.Invalid, 0},
		{429, map[string]string{"Retry-After": "120"}, fault.Unavailable, 2 * time.Minute},
		{429, map[string]string{"Retry-After": "Thu, 09 Apr 2026 13:05:00 GMT",
			"Date": "Thu, 09 Apr 2026 13:00:00 GMT"}, fault.Unavailable, 5 * time.Minute},
		{429, map[string]string{"Retry-After": "99999999999999"}, fault.Unavailable, -1},
		{429, map[string]string{"Retry-After": "soon"}, fault.Unavailable, -1},
		{500, nil, fault.Unavailable, 0},
		{502, nil, fault.Unavailable, 0},
		{503, map[string]string{"Retry-After": "30"}, fault.Unavailable, 30 * time.Second},
		{504, nil, fault.Unavailable, 0},
	} {
		a := Answer{Status: c.status, Header: map[string]string{"Content-Type": "text/html; charset=utf-8"}, Body: html}
		for k, v := range c.header {
			a.Header[k] = v
		}
		_, err := s.Open(t, serveAll(t, a), enough).Fetch(context.Background(), cell, "", start)
		refused(t, fmt.Sprint(c.status), err, c.kind, fmt.Sprint(c.status), s.Name)
		if all := c.status == 401 || c.status == 403; errors.Is(err, forecast.ErrRefusesAll) != all {
			t.Errorf("%d: whether all places are refused is taken wrong: %v", c.status, err)
		}
		var f *fault.Error
		if errors.As(err, &f) && c.wait >= 0 && f.RetryAfter != c.wait {
			t.Errorf("%d: to be retried after %v, want %v", c.status, f.RetryAfter, c.wait)
		} else if c.wait < 0 && (f.RetryAfter < 0 || f.RetryAfter > 24*time.Hour) {
			t.Errorf("%d: to be retried after %v, want at most a day", c.status, f.RetryAfter)
		}
		if strings.Contains(fmt.Sprint(err), "<") {
			t.Errorf("%d: the error repeats the page: %v", c.status, err)
		}
	}
}

func testContentTypes(t *testing.T, s Subject) {
	for _, kind := range []string{"text/html", "text/plain", "application/xml", "application/octet-stream", "",
		"nonsense;;"} {
		routes := s.routes(NewTable(rand.New(rand.NewSource(1)), start, 12))
		for p, a := range routes {
			a.Header = map[string]string{"Content-Type": kind}
			routes[p] = a
		}
		_, err := s.Open(t, serve(t, routes), enough).Fetch(context.Background(), cell, "", start)
		refused(t, "content type "+kind, err, fault.Invalid, "Content-Type")
		if !errors.Is(err, forecast.ErrRefusesAll) {
			t.Errorf("content type %s counts as of one place", kind)
		}
	}
}

// A body without end, packed or not, fills no memory.
func testEndless(t *testing.T, s Subject) {
	const most = 64 << 20
	var packed bytes.Buffer
	z := gzip.NewWriter(&packed)
	chunk := bytes.Repeat([]byte(" "), 1<<16)
	for range 160 { // 10 MB
		if _, err := z.Write(chunk); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	var sent atomic.Int64
	for name, h := range map[string]http.HandlerFunc{
		"plain": func(w http.ResponseWriter, r *http.Request) {
			w.Header().Set("Content-Type", s.ContentType)
			for r.Context().Err() == nil && sent.Load() < 2*most {
				n, err := w.Write(chunk)
				if err != nil {
					return
				}
				sent.Add(int64(n))
			}
		},
		"packed": func(w http.ResponseWriter, _ *http.Request) {
			w.Header().Set("Content-Type", s.ContentType)
			w.Header().Set("Content-Encoding", "gzip")
			_, _ = w.Write(packed.Bytes()) // it hangs up early
		},
	} {
		feed := s.Open(t, listen(t, h), enough)
		before := allocated()
		_, err := feed.Fetch(context.Background(), cell, "", start)
		refused(t, name, err, fault.Invalid, "larger than")
		if used := allocated() - before; used > most {
			t.Errorf("%s: %d MB were allocated", name, used>>20)
		}
	}
	if sent.Load() > most {
		t.Errorf("%d MB were taken", sent.Load()>>20)
	}
}

func testConnections(t *testing.T, s Subject) {
	silent := func(_ http.ResponseWriter, r *http.Request) { <-r.Context().Done() }
	drip := func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Type", s.ContentType)
		_, _ = w.Write([]byte(`{"a": `))
		w.(http.Flusher).Flush()
		<-r.Context().Done()
	}
	cut := func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", s.ContentType)
		w.Header().Set("Content-Length", "100000")
		_, _ = w.Write([]byte(`{"latitude": 1`))
	}
	reset := func(w http.ResponseWriter, _ *http.Request) {
		c, _, err := w.(http.Hijacker).Hijack()
		if err == nil {
			_ = c.Close()
		}
	}
	for name, h := range map[string]http.HandlerFunc{"silent": silent, "dripping": drip, "cut": cut, "reset": reset} {
		timeout := enough
		if name == "silent" || name == "dripping" {
			timeout = 50 * time.Millisecond
		}
		_, err := s.Open(t, listen(t, h), timeout).Fetch(context.Background(), cell, "", start)
		refused(t, name, err, fault.Unavailable, s.Name)
	}
	// A caller that gives up is let go at once.
	ctx, cancel := context.WithCancel(context.Background())
	base := listen(t, func(_ http.ResponseWriter, r *http.Request) {
		cancel()
		<-r.Context().Done()
	})
	_, err := s.Open(t, base, enough).Fetch(ctx, cell, "", start)
	refused(t, "given up", err, fault.Unavailable)
	if !errors.Is(err, context.Canceled) {
		t.Errorf("given up: error is %v, want the cause %v", err, context.Canceled)
	}
	// Nobody there.
	_, err = s.Open(t, "http://127.0.0.1:1", enough).Fetch(context.Background(), cell, "", start)
	refused(t, "nobody there", err, fault.Unavailable)
}

var tooFine = regexp.MustCompile(`\d\.\d{5,}`)

// Who asks says who it is, and asks for no more of a place than is needed.
func testManners(t *testing.T, s Subject) {
	routes := s.routes(NewTable(rand.New(rand.NewSource(1)), start, 12))
	var mu sync.Mutex
	var asked []*http.Request
	base := listen(t, func(w http.ResponseWriter, r *http.Request) {
		mu.Lock()
		asked = append(asked, r)
		mu.Unlock()
		at(routes, r.URL.Path).write(w)
	})
	feed := s.Open(t, base, enough)
	if feed.Name() != s.Name {
		t.Errorf("the feed calls itself %q, want %q", feed.Name(), s.Name)
	}
	if l := feed.Limits(); l.Weight < 1 || l.AtOnce < 1 {
		t.Errorf("limits are %+v, want a weight and requests at once of 1 or more", l)
	}
	fine := place.Cell{Latitude: -12.3456789, Longitude: 123.4567891}
	if _, err := feed.Fetch(context.Background(), fine, "", start); err != nil {
		t.Fatal(err)
	}
	if len(asked) == 0 {
		t.Fatal("nothing was asked")
	}
	for _, r := range asked {
		if ua := r.UserAgent(); !strings.HasPrefix(ua, "dryslot/") || !strings.Contains(ua, Contact) {
			t.Errorf("the User-Agent is %q, want the service and %s", ua, Contact)
		}
		if m := tooFine.FindString(r.URL.String()); m != "" {
			t.Errorf("%s asks with more than four decimals", r.URL)
		}
		if r.Method != http.MethodGet {
			t.Errorf("%s is asked with %s", r.URL, r.Method)
		}
	}
	// Never more requests at a time than the provider allows.
	var now, peak atomic.Int64
	base = listen(t, func(w http.ResponseWriter, r *http.Request) {
		if n := now.Add(1); n > peak.Load() {
			peak.Store(n)
		}
		at(routes, r.URL.Path).write(w)
		now.Add(-1)
	})
	feed = s.Open(t, base, enough)
	var all sync.WaitGroup
	for range 16 {
		all.Go(func() {
			if _, err := feed.Fetch(context.Background(), cell, "", start); err != nil {
				t.Error(err)
			}
		})
	}
	all.Wait()
	if most := int64(feed.Limits().AtOnce); peak.Load() > most {
		t.Errorf("%d requests at a time, want at most %d", peak.Load(), most)
	}
}
