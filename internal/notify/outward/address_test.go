package outward

import (
	"net/netip"
	"testing"
)

// An address is refused when it is entered if and only if no request could go
// there: names by the registry of special-use domain names (RFC 6761).
func TestAddressesThatCanNeverBeReached(t *testing.T) {
	private := []netip.Prefix{netip.MustParsePrefix("10.0.0.0/8")}
	for address, want := range map[string][2]bool{ // without and with a private network
		"https://hooks.example.org/x":  {true, true},
		"https://hooks.example.org./x": {true, true},
		"https://93.184.216.34/":       {true, true},
		"https://[2606:2800:220:1::1]": {true, true},
		"http://xn--bcher-kva.ch/":     {true, true},
		"http://10.1.2.3:8080/x":       {false, true},
		"http://[::ffff:10.1.2.3]/":    {false, true},
		"http://192.168.1.1/":          {false, false},
		"http://127.0.0.1:9/":          {false, false},
		"http://[::1]/":                {false, false},
		"http://169.254.169.254/":      {false, false},
		"http://[fe80::1%25eth0]/":     {false, false},
		"http://2130706433/":           {false, false}, // 127.0.0.1
		"http://127.1/":                {false, false},
		"http://0x7f.0.0.0x1/":         {false, false},
		"http://localhost:8080/":       {false, true},
		"http://a.LOCALHOST/":          {false, true},
		"http://printer.local/":        {false, true},
		"http://queue.internal./":      {false, true},
		"http://router.home.arpa/":     {false, true},
		"http://receiver:8080/hook":    {false, true},
		"http://nowhere.invalid/":      {false, true},
		"https://notlocal.org/":        {true, true},
		"https://local.example.org/":   {true, true},
	} {
		for i, networks := range [][]netip.Prefix{nil, private} {
			if got := Check(address, networks) == nil; got != want[i] {
				t.Errorf("%s with %v: taken %v, want %v", address, networks, got, want[i])
			}
		}
	}
}
