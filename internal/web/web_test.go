package web

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"strings"
	"testing"
	"time"

	"github.com/labstack/echo/v4"

	"dryslot/internal/fault"
	"dryslot/internal/logs"
	"dryslot/internal/message"
)

func TestEveryRequestHasAnEnd(t *testing.T) {
	s := &Server{}
	e := echo.New()
	c := e.NewContext(httptest.NewRequest("GET", "/", nil).WithContext(context.Background()), httptest.NewRecorder())
	err := s.within(func(c echo.Context) error {
		end, ok := c.Request().Context().Deadline()
		if !ok || time.Until(end) > longest {
			t.Errorf("it may last until %v", end)
		}
		return nil
	})(c)
	if err != nil {
		t.Fatal(err)
	}
}

// Whatever can't be done now says when to try again.
func TestUnavailableSaysWhenToTryAgain(t *testing.T) {
	for _, err := range []error{fault.New(fault.Unavailable, "away"), context.DeadlineExceeded,
		&fault.Error{Kind: fault.Unavailable, RetryAfter: time.Minute}, NewProblem(http.StatusTooManyRequests,
			message.New(KindTooMany))} {
		if got := ProblemOf(err).GetHeaders().Get("Retry-After"); got == "" || got == "0" {
			t.Errorf("%v: Retry-After %q", err, got)
		}
	}
}

// The line of a request in the log carries the id that its answer does. An id
// is taken from a proxy of ours and from nobody else.
func TestALineInTheLogNamesItsRequest(t *testing.T) {
	for name, c := range map[string]struct {
		given, from string
		kept        bool
	}{
		"none given":    {"", "10.0.0.1:99", false},
		"by a proxy":    {"proxy-7", "10.0.0.1:99", true},
		"by a stranger": {"proxy-7", "192.0.2.4:99", false},
		"too long":      {strings.Repeat("x", longestID+1), "10.0.0.1:99", false},
	} {
		var b bytes.Buffer
		h := New(Options{Clock: time.Now, Proxies: []netip.Prefix{netip.MustParsePrefix("10.0.0.0/8")},
			Log: logs.New(&b, logs.JSON, slog.LevelInfo)}, func(_ *Server, e *echo.Echo) {
			e.GET("/v1/broken/:key", func(echo.Context) error { return errors.New("no") })
		})
		r := httptest.NewRequest("GET", "/v1/broken/s3cret", nil)
		r.RemoteAddr = c.from
		if c.given != "" {
			r.Header.Set("X-Request-Id", c.given)
		}
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		var line struct{ Level, Request, Route string }
		if err := json.Unmarshal(b.Bytes(), &line); err != nil {
			t.Fatalf("%s: %v: %s", name, err, &b)
		}
		id := w.Header().Get("X-Request-Id")
		if w.Code != 500 || line.Level != "ERROR" || line.Route != "/v1/broken/:key" || id == "" ||
			line.Request != id || (id == c.given) != c.kept {
			t.Errorf("%s: %d with id %q, line %+v", name, w.Code, id, line)
		}
		if strings.Contains(b.String(), "s3cret") {
			t.Errorf("%s: a key from an address is in the log: %s", name, &b)
		}
	}
}

// Who is refused stands in the log, with the address and without what was tried.
func TestRefusalsAreLogged(t *testing.T) {
	for _, status := range []int{http.StatusUnauthorized, http.StatusForbidden, http.StatusTooManyRequests,
		http.StatusNotFound} {
		var b bytes.Buffer
		h := New(Options{Clock: time.Now, Log: logs.New(&b, logs.JSON, slog.LevelInfo)}, func(_ *Server, e *echo.Echo) {
			e.GET("/v1/x/:key", func(echo.Context) error { return NewProblem(status, message.New(KindForbidden)) })
		})
		r := httptest.NewRequest("GET", "/v1/x/s3cret", nil)
		r.RemoteAddr = "192.0.2.4:99"
		r.Header.Set("Authorization", "Bearer s3cret")
		h.ServeHTTP(httptest.NewRecorder(), r)
		if status == http.StatusNotFound {
			if b.Len() > 0 {
				t.Errorf("%d is logged: %s", status, &b)
			}
			continue
		}
		var line struct {
			Status                        int
			Time, Request, Route, Address string
		}
		if err := json.Unmarshal(b.Bytes(), &line); err != nil {
			t.Fatalf("%d: %v: %s", status, err, &b)
		}
		if line.Status != status || line.Time == "" || line.Request == "" || line.Route != "/v1/x/:key" ||
			line.Address != "192.0.2.4" || strings.Contains(b.String(), "s3cret") {
			t.Errorf("%d is logged as %s", status, &b)
		}
	}
}
