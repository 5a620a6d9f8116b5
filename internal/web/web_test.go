package web

import (
	"context"
	"net/http"
	"net/http/httptest"
	"testing"
	"time"

	"github.com/labstack/echo/v4"

	"dryslot/internal/fault"
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
		&fault.Error{Kind: fault.Unavailable, RetryAfter: time.Minute}, NewProblem(http.StatusTooManyRequests, message.New(KindTooMany))} {
		if got := ProblemOf(err).GetHeaders().Get("Retry-After"); got == "" || got == "0" {
			t.Errorf("%v: Retry-After %q", err, got)
		}
	}
}
