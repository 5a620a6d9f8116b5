// Package outward owns requests to addresses that users name: its client refuses
// addresses inside private networks when they are dialled, so that a name that
// changes its address after it was checked gains nothing.
package outward

import (
	"errors"
	"fmt"
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"syscall"
	"time"
)

// Bounds of one request: together under the 20 s that a job may last.
const (
	patience   = 12 * time.Second // for the whole of it
	dialling   = 5 * time.Second
	mostHeader = 64 << 10 // bytes of the answer's header
)

// Client returns a client that goes to public addresses, and to private or
// loopback networks that are listed. It follows no redirects.
func Client(private []netip.Prefix) *http.Client {
	dialer := &net.Dialer{Timeout: dialling, Control: func(_, address string, _ syscall.RawConn) error {
		return allowed(address, private)
	}}
	return &http.Client{
		Timeout: patience,
		Transport: &http.Transport{
			Proxy:                  nil, // a proxy would dial unchecked
			DialContext:            dialer.DialContext,
			TLSHandshakeTimeout:    dialling,
			MaxResponseHeaderBytes: mostHeader,
			DisableKeepAlives:      true, // every try is dialled, and so checked
		},
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}
}

// Refused returns why an address was refused; nil: err has another cause.
func Refused(err error) error {
	var private *privateError
	if errors.As(err, &private) {
		return private
	}
	return nil
}

// WithoutURL drops the address from an error, which goes to the log: a path or
// query often holds the receiver's own secret.
func WithoutURL(err error) error {
	var u *url.Error
	if errors.As(err, &u) {
		return u.Err
	}
	return err
}

// privateError says that an address lies where webhooks may not go.
type privateError struct{ addr netip.Addr }

func (e *privateError) Error() string {
	return fmt.Sprintf("%s is private or loopback; the operator may allow its network", e.addr)
}

// special are networks that lead back inside, besides those that netip knows
// (loopback, RFC 1918, RFC 4193, link-local, multicast, unspecified). Source:
// IANA special-purpose address registries (RFC 6890 and its updates).
var special = [...]netip.Prefix{
	netip.MustParsePrefix("0.0.0.0/8"),       // this network, RFC 791
	netip.MustParsePrefix("100.64.0.0/10"),   // shared by carriers, RFC 6598
	netip.MustParsePrefix("192.0.0.0/24"),    // protocol assignments, RFC 6890
	netip.MustParsePrefix("192.0.2.0/24"),    // documentation, RFC 5737
	netip.MustParsePrefix("198.51.100.0/24"), // documentation, RFC 5737
	netip.MustParsePrefix("203.0.113.0/24"),  // documentation, RFC 5737
	netip.MustParsePrefix("192.88.99.0/24"),  // 6to4 relays, RFC 7526
	netip.MustParsePrefix("198.18.0.0/15"),   // benchmarks, RFC 2544
	netip.MustParsePrefix("240.0.0.0/4"),     // reserved, RFC 1112; broadcast
	netip.MustParsePrefix("::/96"),           // IPv4 inside (IPv4-compatible), RFC 4291
	netip.MustParsePrefix("64:ff9b::/96"),    // IPv4 inside, RFC 6052
	netip.MustParsePrefix("64:ff9b:1::/48"),  // the same, RFC 8215
	netip.MustParsePrefix("100::/64"),        // discard, RFC 6666
	netip.MustParsePrefix("100:0:0:1::/64"),  // dummy prefix, RFC 9780
	netip.MustParsePrefix("2001:db8::/32"),   // documentation, RFC 3849
	netip.MustParsePrefix("3fff::/20"),       // documentation, RFC 9637
	netip.MustParsePrefix("5f00::/16"),       // segment routing, RFC 9602
	netip.MustParsePrefix("2001::/23"),       // protocol assignments, Teredo among them, RFC 2928
	netip.MustParsePrefix("2002::/16"),       // 6to4: IPv4 inside, RFC 3056
	netip.MustParsePrefix("fec0::/10"),       // site-local, RFC 3879
}

// allowed decides on a resolved address of the form ip:port. It runs after
// the name was looked up and before anything is sent.
func allowed(address string, private []netip.Prefix) error {
	ap, err := netip.ParseAddrPort(address)
	if err != nil {
		return fmt.Errorf("outward: address %q: %w", address, err)
	}
	a := ap.Addr().Unmap().WithZone("")
	for _, p := range private {
		if p.Contains(a) {
			return nil
		}
	}
	if !a.IsGlobalUnicast() || a.IsPrivate() {
		return &privateError{a}
	}
	for _, p := range special {
		if p.Contains(a) {
			return &privateError{a}
		}
	}
	return nil
}
