package web

import (
	"context"
	"net/http"
	"net/http/httptest"
	"testing"
	"time"

	"github.com/labstack/echo/v4"
)

// Refusals wait, other answers do not, and no more than so many wait at a time. Who
// has gone is waited for no longer. What must not wait would wait for an hour.
func TestOnlyRefusalsAreHeldBackAndOnlySoMany(t *testing.T) {
	t.Parallel()
	ask := func(ctx context.Context, s *Server, e *echo.Echo, status int) {
		s.holdBack(e.NewContext(httptest.NewRequestWithContext(ctx, http.MethodGet, "/", nil),
			httptest.NewRecorder()), status)
	}
	const pause = 5 * time.Millisecond
	s, e := newServer(Options{RefusalPause: pause})
	for _, status := range []int{http.StatusUnauthorized, http.StatusTooManyRequests} {
		begun := time.Now()
		if ask(t.Context(), s, e, status); time.Since(begun) < pause {
			t.Errorf("%d is answered after %v", status, time.Since(begun))
		}
	}
	s, e = newServer(Options{RefusalPause: time.Hour})
	for _, status := range []int{http.StatusOK, http.StatusNotFound, http.StatusForbidden,
		http.StatusServiceUnavailable} {
		ask(t.Context(), s, e, status)
	}
	gone, leave := context.WithCancel(t.Context())
	leave()
	ask(gone, s, e, http.StatusUnauthorized)
	if len(s.held) != 0 {
		t.Fatalf("%d places are not given back", len(s.held))
	}
	for range mostHeld {
		s.held <- struct{}{}
	}
	ask(t.Context(), s, e, http.StatusUnauthorized)
}
