package web

import (
	"net/http"
	"time"

	"github.com/labstack/echo/v4"
)

// mostHeld bounds the refusals that wait at a time: each holds a connection and
// some ten kilobytes. Those beyond are answered at once.
const mostHeld = 1000

// holdBack lets whoever is refused for a wrong token or for too many requests wait
// for RefusalPause. A client that goes on as soon as it has its answer, as most
// that guess or are broken do, then can't keep this process and the database busy.
// It holds no connection to the database meanwhile.
func (s *Server) holdBack(c echo.Context, status int) {
	if s.RefusalPause <= 0 || status != http.StatusUnauthorized && status != http.StatusTooManyRequests {
		return
	}
	select {
	case s.held <- struct{}{}:
	default:
		return
	}
	defer func() { <-s.held }()
	over := time.NewTimer(s.RefusalPause)
	defer over.Stop()
	select {
	case <-over.C:
	case <-c.Request().Context().Done():
	}
}
