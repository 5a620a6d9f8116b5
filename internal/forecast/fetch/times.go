package fetch

import (
	"net/http"
	"strconv"
	"strings"
	"time"
)

// longestWait bounds what a provider may ask for: a day covers every limit
// that one states, and a wrong header must not silence a cell for good.
const longestWait = 24 * time.Hour

// serverClock returns the instant that the answer was made at by the server's
// own clock, so that its other times can be read as distances from it: the
// service's clock may be set to another day.
func serverClock(h http.Header, now time.Time) time.Time {
	if t, err := http.ParseTime(h.Get("Date")); err == nil {
		return t
	}
	return now
}

// expires returns until when the answer holds, by the service's clock. A
// max-age goes before Expires (RFC 9111, section 5.3).
func expires(h http.Header, now time.Time) time.Time {
	for _, part := range strings.Split(h.Get("Cache-Control"), ",") {
		name, value, _ := strings.Cut(strings.TrimSpace(part), "=")
		if !strings.EqualFold(name, "max-age") {
			continue
		}
		if s, err := strconv.ParseInt(strings.Trim(value, `"`), 10, 32); err == nil && s >= 0 {
			age, err := strconv.ParseInt(h.Get("Age"), 10, 32)
			if err != nil || age < 0 {
				age = 0
			}
			return now.Add(min(time.Duration(max(s-age, 0))*time.Second, longestWait))
		}
	}
	t, err := http.ParseTime(h.Get("Expires"))
	if err != nil {
		return time.Time{}
	}
	return now.Add(min(max(t.Sub(serverClock(h, now)), 0), longestWait))
}

// retryAfter reads Retry-After, in seconds or as a date (RFC 9110, section 10.2.3); 0: not said.
func retryAfter(h http.Header, now time.Time) time.Duration {
	v := h.Get("Retry-After")
	if s, err := strconv.ParseInt(v, 10, 32); err == nil {
		return min(max(time.Duration(s)*time.Second, 0), longestWait)
	}
	if t, err := http.ParseTime(v); err == nil {
		return min(max(t.Sub(serverClock(h, now)), 0), longestWait)
	}
	return 0
}
