package web

import (
	"fmt"
	"math"
	"net/netip"
	"sync"
	"time"

	"github.com/labstack/echo/v4"

	"dryslot/internal/fault"
	"dryslot/internal/message"
)

// rateWindow is the time that a number of requests is allowed in.
const rateWindow = time.Minute

// addressShare is how many times as many requests one address may make as one
// account: a site has several people behind one address (judgement).
const addressShare = 4

// mostRates bounds the keys that are remembered at a time: some ten megabytes.
// Those that have all their requests left again are forgotten, which loses
// nothing.
const mostRates = 100_000

// rates counts requests by key, by the generic cell rate algorithm (ITU-T I.371):
// for each key it holds only when all its requests will be left again.
type rates struct {
	mu   sync.Mutex
	full map[string]time.Time
}

// rate is how a key stands after a request.
type rate struct {
	left  int           // requests that it may make at once
	reset time.Duration // until all are left again
	wait  time.Duration // until it may make this one; 0: it may now
}

// take counts one request of a key that may make most in a window.
func (r *rates) take(key string, most int, now time.Time) rate {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.full == nil {
		r.full = map[string]time.Time{}
	}
	each := rateWindow / time.Duration(most)
	full, known := r.full[key]
	if full.Before(now) {
		full = now
	}
	next := full.Add(each)
	if over := next.Sub(now) - rateWindow; over > 0 {
		return rate{reset: full.Sub(now), wait: over}
	}
	if !known && len(r.full) >= mostRates && !r.forget(now) {
		return rate{left: most - 1, reset: each} // so many ask at a time that this one is not counted
	}
	r.full[key] = next
	return rate{left: int((rateWindow - next.Sub(now)) / each), reset: next.Sub(now)}
}

// forget makes room, and reports whether there is any.
func (r *rates) forget(now time.Time) bool {
	for k, at := range r.full {
		if !at.After(now) {
			delete(r.full, k)
		}
	}
	return len(r.full) < mostRates
}

// LimitAccount counts a request of an account, and says in the answer how many
// are left (RateLimit fields for HTTP, draft-ietf-httpapi-ratelimit-headers). One
// too many is fault.TooMany with the time to wait.
func (s *Server) LimitAccount(c echo.Context, account string) error {
	if s.RequestsAMinute <= 0 {
		return nil
	}
	return s.limit(c, "account", account, s.RequestsAMinute)
}

func (s *Server) limit(c echo.Context, policy, key string, most int) error {
	r := s.rates.take(policy+" "+key, most, s.Wall())
	h := c.Response().Header()
	h.Set("RateLimit-Policy", fmt.Sprintf("%q;q=%d;w=%.0f", policy, most, rateWindow.Seconds()))
	h.Set("RateLimit", fmt.Sprintf("%q;r=%d;t=%.0f", policy, r.left, math.Ceil(r.reset.Seconds())))
	if r.wait == 0 {
		return nil
	}
	return &fault.Error{Kind: fault.TooMany, Message: message.New(TooManyRequests), RetryAfter: r.wait}
}

// limitAddress refuses an address that asks far more often than people do,
// before anything is looked up for it. Probes are not counted.
func (s *Server) limitAddress(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		at := s.ClientAddress(c.Request())
		if s.RequestsAMinute <= 0 || isProbe(c.Request().URL.Path) || !at.IsValid() {
			return next(c)
		}
		if err := s.limit(c, "address", network(at), s.RequestsAMinute*addressShare); err != nil {
			return err
		}
		return next(c)
	}
}

func isProbe(path string) bool { return path == "/healthz" || path == "/readyz" || path == "/metrics" }

// network is what an address is counted under: a whole /64 of IPv6, of which
// one household has one or more (RFC 6177), is one.
func network(a netip.Addr) string {
	if p, err := a.Prefix(64); a.Is6() && err == nil {
		return p.String()
	}
	return a.String()
}
