package web

import (
	"net/http"
	"net/netip"
	"strings"
)

// Secure reports whether browsers reach the service by https.
func (s *Server) Secure() bool { return strings.HasPrefix(s.PublicURL, "https://") }

// ClientAddress is the address that a request comes from: that of the
// connection, or, where a proxy of ours is at its other end, the last address
// in X-Forwarded-For that is no proxy of ours. What clients write in front of
// that is not believed. Zero: the address is not known.
func (s *Server) ClientAddress(r *http.Request) netip.Addr {
	at := peer(r)
	hops := strings.Split(strings.Join(r.Header.Values("X-Forwarded-For"), ","), ",")
	for i := len(hops) - 1; i >= 0 && s.isProxy(at); i-- {
		before, err := netip.ParseAddr(strings.TrimSpace(hops[i]))
		if err != nil {
			break
		}
		at = before.Unmap().WithZone("")
	}
	return at
}

// peer is the address at the other end of a request's connection; zero: it is
// not known.
func peer(r *http.Request) netip.Addr {
	ap, err := netip.ParseAddrPort(r.RemoteAddr)
	if err != nil {
		return netip.Addr{}
	}
	return ap.Addr().Unmap().WithZone("")
}

// fromProxy reports whether a proxy of ours sent a request on.
func (s *Server) fromProxy(r *http.Request) bool { return s.isProxy(peer(r)) }

func (s *Server) isProxy(a netip.Addr) bool {
	for _, p := range s.Proxies {
		if p.Contains(a) {
			return true
		}
	}
	return false
}
