package outward

import (
	"net/netip"
	"testing"
)

// The networks are those of the IANA special-purpose address registries (RFC 6890).
func TestAllowed(t *testing.T) {
	for _, c := range []struct {
		addr string
		ok   bool
	}{
		{"93.184.216.34:443", true}, {"[2606:2800:220:1::1]:443", true},
		{"10.1.2.3:80", false}, {"172.16.0.1:80", false}, {"172.31.255.255:80", false}, {"192.168.1.1:80", false},
		{"127.0.0.1:80", false}, {"127.255.255.254:80", false}, {"169.254.169.254:80", false}, {"100.64.0.1:80", false},
		{"0.0.0.0:80", false}, {"0.1.2.3:80", false}, {"255.255.255.255:80", false}, {"224.0.0.1:80", false},
		{"198.18.0.1:80", false}, {"192.0.0.1:80", false},
		{"[::1]:80", false}, {"[::]:80", false}, {"[fe80::1%eth0]:80", false}, {"[fc00::1]:80", false},
		{"[ff02::1]:80", false},
		{"[::ffff:10.0.0.1]:80", false}, {"[::ffff:127.0.0.1]:80", false}, {"[64:ff9b::a00:1]:80", false},
		{"[2002:a00:1::]:80", false}, {"[2001::1]:80", false},
		{"192.0.2.1:80", false}, {"198.51.100.9:80", false}, {"203.0.113.7:80", false}, {"[::10.0.0.1]:80", false},
		{"[::7f00:1]:80", false},
		{"[100:0:0:1::1]:80", false}, {"[2001:db8::1]:80", false}, {"[3fff::1]:80", false}, {"[5f00::1]:80", false},
		{"nonsense", false},
	} {
		if err := allowed(c.addr, nil); (err == nil) != c.ok {
			t.Errorf("%s: %v", c.addr, err)
		}
	}
	if err := allowed("[::ffff:10.0.0.1]:80", []netip.Prefix{netip.MustParsePrefix("10.0.0.0/8")}); err != nil {
		t.Errorf("an allowed network was refused in its mapped form: %v", err)
	}
}
