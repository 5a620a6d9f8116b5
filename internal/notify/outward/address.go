package outward

import (
	"net/netip"
	"net/url"
	"strings"

	"dryslot/internal/fault"
	"dryslot/internal/message"
)

// PublicWanted is the rule that an address breaks where no request can go.
const PublicWanted message.Code = "public_address_wanted"

// inner are the names under which no public host is found: of this machine
// (RFC 6761), of the local network (RFC 6762, RFC 8375, and internal, which
// ICANN set apart for private use in 2024), of other networks (RFC 7686, RFC
// 9476), and those that are never given out (RFC 6761).
var inner = [...]string{"localhost", "local", "home.arpa", "internal", "onion", "alt", "invalid", "test", "example"}

// Check returns the rule that an address breaks which can never be reached,
// whatever a name server says; nil: it may be. Where private networks are listed
// their names may be too.
func Check(address string, private []netip.Prefix) *fault.Rule {
	u, err := url.Parse(address)
	if err != nil {
		return nil // it breaks another rule, which is reported
	}
	host := strings.ToLower(strings.TrimSuffix(u.Hostname(), "."))
	if ip, err := netip.ParseAddr(host); err == nil {
		if allowed(netip.AddrPortFrom(ip, 0).String(), private) == nil {
			return nil
		}
		return publicWanted()
	}
	last := host[strings.LastIndexByte(host, '.')+1:]
	if strings.Trim(last, "0123456789") == "" || strings.HasPrefix(last, "0x") {
		return publicWanted() // an IPv4 address in another form (WHATWG URL, 3.5): it would be no public name
	}
	if len(private) > 0 {
		return nil
	}
	if last == host { // one label: a host of the local network
		return publicWanted()
	}
	for _, name := range inner {
		if host == name || strings.HasSuffix(host, "."+name) {
			return publicWanted()
		}
	}
	return nil
}

func publicWanted() *fault.Rule {
	r := fault.RuleOf(PublicWanted)
	return &r
}
