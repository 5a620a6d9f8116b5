package web

import (
	"context"
	"net/http/httptest"
	"testing"
	"time"

	"github.com/labstack/echo/v4"
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
