package accounts

import (
	"net/netip"
	"testing"
	"time"
)

// Somebody who guesses waits longer and longer, and never for ever.
func TestThePauseGrowsUpToItsBound(t *testing.T) {
	for n := range freeFailures {
		if Pause(n) != 0 {
			t.Errorf("after %d failures the next try waits %v", n, Pause(n))
		}
	}
	for n := freeFailures; n < 5000; n++ {
		if Pause(n) < Pause(n-1) || Pause(n) < firstPause || Pause(n) > longestPause {
			t.Fatalf("after %d failures %v, after one less %v", n, Pause(n), Pause(n-1))
		}
	}
	if Pause(5000) != longestPause {
		t.Errorf("it ends at %v", Pause(5000))
	}
	tries, waited := 0, time.Duration(0)
	for n := 0; waited < 24*time.Hour; n++ {
		waited += Pause(n)
		tries++
	}
	if tries > 110 {
		t.Errorf("%d guesses a day", tries)
	}
}

func TestOneHomeIsOneAddress(t *testing.T) {
	key := func(s string) string { return addressKey(netip.MustParseAddr(s)) }
	if key("2001:db8:1:2::1") != key("2001:db8:1:2:ffff::9") || key("2001:db8:1:2::1") == key("2001:db8:1:3::1") {
		t.Error("a /64 is not one home")
	}
	if key("192.0.2.1") != key("::ffff:192.0.2.1") || key("192.0.2.1") == key("192.0.2.2") {
		t.Error("an address of IPv4 is not itself")
	}
	_ = addressKey(netip.Addr{}) // an address that is not known counts as one
}

func TestOnlyWhatPrintsIsKeptOfABrowsersName(t *testing.T) {
	for in, want := range map[string]string{"Firefox\x00\n/1": "Firefox/1", "a\xffb": "ab",
		"\u00e9\u00e9\u00e9\u00e9\u00e9\u00e9": "\u00e9\u00e9\u00e9\u00e9\u00e9", "": ""} {
		if got := printable(in, 11); got != want {
			t.Errorf("%q becomes %q, want %q", in, got, want)
		}
	}
}
