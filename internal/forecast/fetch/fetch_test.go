package fetch_test

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/forecast"
	"dryslot/internal/forecast/fetch"
)

var now = time.Date(2026, 4, 9, 13, 0, 0, 0, time.UTC)

func client(t *testing.T, c fetch.Config) *fetch.Client {
	t.Helper()
	cl, err := fetch.New(c)
	if err != nil {
		t.Fatal(err)
	}
	return cl
}

func get(t *testing.T, c *fetch.Client, h http.HandlerFunc) (fetch.Answer, error) {
	t.Helper()
	srv := httptest.NewServer(h)
	defer srv.Close()
	return c.Get(context.Background(), fetch.Request{Feed: "some feed", URL: srv.URL + "/a?apikey=secret",
		Accept: []string{"application/json"}, Now: now})
}

func answer(header map[string]string, body string) http.HandlerFunc {
	return func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "application/json")
		for k, v := range header {
			w.Header().Set(k, v)
		}
		_, _ = w.Write([]byte(body))
	}
}

// When an answer expires, by the service's clock, whatever the server's shows.
func TestExpires(t *testing.T) {
	const date = "Mon, 20 Jul 2020 11:44:31 GMT"
	for _, c := range []struct {
		header map[string]string
		want   time.Duration
	}{
		{map[string]string{"Date": date, "Expires": "Mon, 20 Jul 2020 12:14:31 GMT"}, 30 * time.Minute},
		{map[string]string{"Date": date, "Expires": "Mon, 20 Jul 2020 11:00:00 GMT"}, 0},
		{map[string]string{"Date": date, "Expires": "Mon, 20 Jul 2099 11:00:00 GMT"}, 24 * time.Hour},
		{map[string]string{"Cache-Control": "public, max-age=600", "Age": "100", "Date": date, "Expires": date},
			500 * time.Second},
		{map[string]string{"Cache-Control": "max-age=100", "Age": "500"}, 0},
		{map[string]string{"Cache-Control": "max-age=100", "Age": "-7"}, 100 * time.Second},
		{map[string]string{"Cache-Control": "max-age=-3"}, -1},
		{map[string]string{"Cache-Control": "no-store"}, -1},
		{map[string]string{"Expires": "0"}, -1},
		{nil, -1},
	} {
		ans, err := get(t, client(t, fetch.Config{}), answer(c.header, "{}"))
		if err != nil {
			t.Fatal(err)
		}
		want := now.Add(c.want)
		if c.want < 0 {
			want = time.Time{}
		}
		if !ans.Expires.Equal(want) {
			t.Errorf("%v expires at %v, want %v", c.header, ans.Expires, want)
		}
	}
}

func TestRedirects(t *testing.T) {
	// Within a host a redirect is followed, but not for ever.
	ans, err := get(t, client(t, fetch.Config{}), func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path == "/a" {
			http.Redirect(w, r, "/b", http.StatusMovedPermanently)
			return
		}
		answer(nil, `{"path":"`+r.URL.Path+`"}`)(w, r)
	})
	if err != nil || string(ans.Body) != `{"path":"/b"}` {
		t.Errorf("redirected: %s, %v", ans.Body, err)
	}
	_, err = get(t, client(t, fetch.Config{}), func(w http.ResponseWriter, r *http.Request) {
		http.Redirect(w, r, "/a", http.StatusFound)
	})
	if !errors.Is(err, fault.Unavailable) || !strings.Contains(err.Error(), "more than 3 times") {
		t.Errorf("redirected in a circle: %v", err)
	}
	// To another host it is not, and no error tells the key.
	_, err = get(t, client(t, fetch.Config{}), func(w http.ResponseWriter, r *http.Request) {
		http.Redirect(w, r, "http://127.0.0.1:1/", http.StatusFound)
	})
	if !errors.Is(err, fault.Unavailable) || !strings.Contains(err.Error(), "another host") ||
		strings.Contains(err.Error(), "secret") {
		t.Errorf("redirected elsewhere: %v", err)
	}
}

func TestNotModified(t *testing.T) {
	c := client(t, fetch.Config{})
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Cache-Control", "max-age=60")
		if r.Header.Get("If-Modified-Since") != "then" {
			t.Errorf("If-Modified-Since is %q, want then", r.Header.Get("If-Modified-Since"))
		}
		w.WriteHeader(http.StatusNotModified)
	}))
	defer srv.Close()
	ans, err := c.Get(context.Background(), fetch.Request{Feed: "x", URL: srv.URL, Accept: []string{"application/json"},
		IfModifiedSince: "then", Now: now})
	if !errors.Is(err, forecast.ErrNotModified) || !ans.Expires.Equal(now.Add(time.Minute)) {
		t.Errorf("error %v, expires %v", err, ans.Expires)
	}
}

// The body may be as large as allowed, and not a byte larger.
func TestTheLimitItself(t *testing.T) {
	for size, ok := range map[int]bool{99: true, 100: true, 101: false} {
		_, err := get(t, client(t, fetch.Config{MaxBody: 100}), answer(nil, strings.Repeat(" ", size)))
		if ok != (err == nil) {
			t.Errorf("%d bytes of 100 allowed: %v", size, err)
		}
	}
}

// Requests wait for their turn, and give up with their caller.
func TestTurns(t *testing.T) {
	c := client(t, fetch.Config{AtOnce: 1})
	entered, leave := make(chan struct{}), make(chan struct{})
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		close(entered)
		<-leave
		answer(nil, "{}")(w, r)
	}))
	defer srv.Close()
	done := make(chan error)
	go func() {
		_, err := c.Get(context.Background(), fetch.Request{Feed: "x", URL: srv.URL,
			Accept: []string{"application/json"}, Now: now})
		done <- err
	}()
	<-entered
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	_, err := c.Get(ctx, fetch.Request{Feed: "x", URL: srv.URL, Now: now})
	if !errors.Is(err, fault.Unavailable) || !errors.Is(err, context.Canceled) || !strings.Contains(err.Error(),
		"turn") {
		t.Errorf("given up while waiting: %v", err)
	}
	close(leave)
	if err := <-done; err != nil {
		t.Error(err)
	}
}

// A provider's words are kept short and on one line.
func TestReasons(t *testing.T) {
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		w.WriteHeader(http.StatusTooManyRequests)
	}))
	defer srv.Close()
	_, err := client(t, fetch.Config{}).Get(context.Background(), fetch.Request{Feed: "x", URL: srv.URL, Now: now,
		Reason: func(int, []byte, time.Time) (string, time.Duration) {
			return "slow\n\tdown \xff" + strings.Repeat("a", 10000), time.Hour
		}})
	var f *fault.Error
	if !errors.As(err, &f) || f.RetryAfter != time.Hour || len(err.Error()) > 400 || strings.ContainsAny(err.Error(),
		"\n\t") || !strings.Contains(err.Error(), "slow down ?") {
		t.Errorf("error is %v", err)
	}
}

func TestContacts(t *testing.T) {
	for _, bad := range []string{"a\r\nX-Evil: 1", "ärger@example.org", "(x", "x)", "\x7f"} {
		if _, err := fetch.New(fetch.Config{Contact: bad}); !errors.Is(err, fault.Invalid) {
			t.Errorf("contact %q: %v", bad, err)
		}
	}
	for _, good := range []string{"", "ops@example.org", "https://example.org/contact"} {
		if _, err := fetch.New(fetch.Config{Contact: good}); err != nil {
			t.Errorf("contact %q: %v", good, err)
		}
	}
}

func TestCoordinates(t *testing.T) {
	for deg, want := range map[float64]string{47.25: "47.25", -122.44999999: "-122.45", 0: "0", -0.00001: "0",
		12.34567: "12.3457", 180: "180", 1e-300: "0"} {
		if got := fetch.Coordinate(deg); got != want {
			t.Errorf("%v is asked for as %s, want %s", deg, got, want)
		}
	}
}

// Parse says where a document breaks, and reads nothing half.
func TestParse(t *testing.T) {
	var v struct {
		N     fetch.Numbers       `json:"n"`
		One   fetch.Number        `json:"one"`
		Words fetch.Words         `json:"words"`
		List  fetch.List[float64] `json:"list"`
	}
	if err := fetch.Parse("x", []byte(`{"n":[1,null,-2e3],"one":null,"words":{"a":"b","c":1,"d":null},"list":null,
		"other":[{}]}`), &v); err != nil {
		t.Fatal(err)
	}
	if len(v.N) != 3 || v.N[1] == v.N[1] || v.N[2] != -2000 || v.One.Known || len(v.Words) != 1 ||
		v.Words["a"] != "b" || v.List != nil {
		t.Errorf("read %+v", v)
	}
	many := func(part string, n int) string { return strings.TrimSuffix(strings.Repeat(part+",", n), ",") }
	names := make([]string, 1001)
	for i := range names {
		names[i] = fmt.Sprintf(`"w%d":"u"`, i)
	}
	for doc, says := range map[string]string{
		`{"n":[1,`:               "breaks off at byte",
		`{"n":[1,2]} Unexpected`: "not JSON at byte 12",
		`{"n":{}}`:               "/n = {: must be an array of numbers",
		`{"n":["1"]}`:            "/n/0",
		`{"one":true}`:           "/one",
		`{"list":[true]}`:        "/list/0",
		`{"list":{}}`:            "must be an array",
		`{"words":[]}`:           "must be an object",
		`{"n":[` + many("1", forecast.MaxHours+1) + `]}`:    "at most 1080 values",
		`{"list":[` + many("1", forecast.MaxHours+1) + `]}`: "at most 1080 values",
		`{"words":{` + strings.Join(names, ",") + `}}`:      "at most 1000 names",
		"{\"n\":[1],\"\xff\":1}":                            "byte",
	} {
		if err := fetch.Parse("x", []byte(doc), &v); !errors.Is(err, fault.Invalid) || !strings.Contains(err.Error(),
			says) {
			t.Errorf("%.60q: error is %v, which does not say %q", doc, err, says)
		}
	}
}

// wire answers requests without a network.
type wire func(*http.Request) *http.Response

func (w wire) RoundTrip(r *http.Request) (*http.Response, error) { return w(r), nil }

// A redirect never leaves https, at the first step or a later one; from http
// to https it is followed.
func TestRedirectsKeepHTTPS(t *testing.T) {
	for _, c := range []struct {
		steps []string
		want  bool
	}{
		{[]string{"https://feed.example/a", "https://feed.example/b"}, true},
		{[]string{"http://feed.example/a", "https://feed.example/b"}, true},
		{[]string{"https://feed.example/a", "http://feed.example/b"}, false},
		{[]string{"http://feed.example/a", "https://feed.example/b", "http://feed.example/c"}, false},
	} {
		asked := 0
		cl := client(t, fetch.Config{Transport: wire(func(r *http.Request) *http.Response {
			asked++
			rec := httptest.NewRecorder()
			if asked < len(c.steps) {
				http.Redirect(rec, r, c.steps[asked], http.StatusFound)
			} else {
				answer(nil, "{}")(rec, r)
			}
			return rec.Result()
		})})
		_, err := cl.Get(context.Background(), fetch.Request{Feed: "some feed", URL: c.steps[0],
			Accept: []string{"application/json"}, Now: now})
		switch {
		case c.want && (err != nil || asked != len(c.steps)):
			t.Errorf("%v: asked %d times, %v", c.steps, asked, err)
		case !c.want && (!errors.Is(err, fault.Unavailable) || !strings.Contains(err.Error(), "from https to http") ||
			asked != len(c.steps)-1):
			t.Errorf("%v: asked %d times, %v", c.steps, asked, err)
		}
	}
}
