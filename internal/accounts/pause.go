package accounts

import (
	"net/netip"
	"time"
)

// How tries are slowed that fail again and again (judgement): people mistype a
// few times; whoever guesses gets at most some hundred tries a day from an
// address.
const (
	freeFailures   = 5
	firstPause     = 10 * time.Second
	longestPause   = 15 * time.Minute
	forgetFailures = 24 * time.Hour // since the last one
)

// Pause is how long the next try has to wait after a number of failures: not at
// all after up to five, then 10 s, doubled with each failure, up to 15 minutes.
func Pause(failures int) time.Duration {
	if failures < freeFailures {
		return 0
	}
	return min(longestPause, firstPause<<min(failures-freeFailures, 16))
}

// addressKey is what failures from an address are counted under. One home has
// a whole /64 of IPv6 (RFC 6177), which counts as one.
func addressKey(a netip.Addr) string {
	a = a.Unmap().WithZone("")
	if a.Is6() {
		if p, err := a.Prefix(64); err == nil {
			return "address " + p.String()
		}
	}
	return "address " + a.String()
}
