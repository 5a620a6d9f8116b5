package webhook

import (
	"context"
	"errors"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"strings"
	"sync/atomic"
	"testing"

	standardwebhooks "github.com/standard-webhooks/standard-webhooks/libraries/go"

	"dryslot/internal/fault"
	"dryslot/internal/notify"
)

const secret = "whsec_c2l4dGVlbiBieXRlcyBvciBtb3JlLCBzYWx0ZWQ="

var (
	word     = notify.Message{ID: "dryslot_0123", Payload: []byte(`{"type":"alert.morning","data":{"verdict":"pour"}}`)}
	loopback = []netip.Prefix{netip.MustParsePrefix("127.0.0.0/8")}
)

func to(address string) notify.Recipient {
	return notify.Recipient{Kind: "webhook", Address: address, Secret: secret}
}

func TestEveryTryIsSignedAndCarriesTheSameID(t *testing.T) {
	verifier, err := standardwebhooks.NewWebhook(secret)
	if err != nil {
		t.Fatal(err)
	}
	var good atomic.Int32
	s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		body, err := io.ReadAll(r.Body)
		if err != nil {
			t.Error(err)
		}
		if err := verifier.Verify(body, r.Header); err != nil {
			t.Error(err)
		}
		if err := verifier.Verify(append(body, ' '), r.Header); err == nil {
			t.Error("the signature does not cover the body")
		}
		if r.Header.Get("webhook-id") != word.ID || string(body) != string(word.Payload) ||
			r.Header.Get("Content-Type") != "application/json" || r.Method != http.MethodPost {
			t.Errorf("%s %v %s", r.Method, r.Header, body)
		}
		good.Add(1)
		w.WriteHeader(http.StatusNoContent)
	}))
	defer s.Close()
	c := New(Options{Private: loopback})
	for range 2 {
		if err := c.Send(context.Background(), to(s.URL), word); err != nil {
			t.Fatal(err)
		}
	}
	if good.Load() != 2 {
		t.Errorf("%d posts arrived", good.Load())
	}
}

func TestAnswers(t *testing.T) {
	var elsewhere atomic.Int32
	mux := http.NewServeMux()
	for path, status := range map[string]int{"/ok": 202, "/gone": 410, "/missing": 404, "/broken": 500, "/busy": 429} {
		mux.HandleFunc(path, func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(status) })
	}
	mux.HandleFunc("/moved", func(w http.ResponseWriter, r *http.Request) {
		http.Redirect(w, r, "/elsewhere", http.StatusTemporaryRedirect)
	})
	mux.HandleFunc("/elsewhere", func(http.ResponseWriter, *http.Request) { elsewhere.Add(1) })
	mux.HandleFunc("/hangup", func(http.ResponseWriter, *http.Request) { panic(http.ErrAbortHandler) })
	mux.HandleFunc("/endless", func(w http.ResponseWriter, r *http.Request) {
		w.WriteHeader(http.StatusOK)
		for chunk := make([]byte, 1<<20); r.Context().Err() == nil; {
			if _, err := w.Write(chunk); err != nil {
				return
			}
		}
	})
	mux.HandleFunc("/hugeheader", func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("X-Filler", strings.Repeat("x", 128<<10))
	})
	s := httptest.NewServer(mux)
	defer s.Close()
	c := New(Options{Private: loopback})
	for path, want := range map[string]fault.Kind{
		"/ok": "", "/endless": "", "/gone": fault.Invalid, "/missing": fault.Unavailable, "/broken": fault.Unavailable,
		"/busy": fault.Unavailable, "/moved": fault.Unavailable, "/hangup": fault.Unavailable,
		"/hugeheader": fault.Unavailable,
	} {
		if err := c.Send(context.Background(), to(s.URL+path), word); fault.KindOf(err) != want {
			t.Errorf("%s: %v, want %q", path, err, want)
		}
	}
	if elsewhere.Load() != 0 {
		t.Error("a redirect was followed")
	}
}

func TestWhatCanNeverBeSentIsFinal(t *testing.T) {
	c := New(Options{Private: loopback})
	for name, r := range map[string]notify.Recipient{
		"no address":     to(""),
		"another scheme": to("ftp://example.org/"),
		"a file":         to("file:///etc/passwd"),
		"no host":        to("http:///x"),
		"garbage":        to("http://exa mple\x00/"),
		"no secret":      {Address: "http://127.0.0.1:1/"},
		"a bad secret":   {Address: "http://127.0.0.1:1/", Secret: "whsec_%%%"},
	} {
		if err := c.Send(context.Background(), r, word); !errors.Is(err, fault.Invalid) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestPrivateAddressesAreRefusedWhenDialled(t *testing.T) {
	var reached atomic.Int32
	s := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { reached.Add(1) }))
	defer s.Close()
	_, port, err := net.SplitHostPort(s.Listener.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	// A name is resolved only when it is dialled: what it stood for when it
	// was checked, or one look-up earlier, does not matter.
	for _, host := range []string{"127.0.0.1", "localhost", "[::ffff:127.0.0.1]", "0.0.0.0"} {
		err := New(Options{}).Send(context.Background(), to("http://"+host+":"+port), word)
		if err == nil {
			t.Errorf("%s was reached", host)
		}
	}
	if err := New(Options{}).Send(context.Background(), to("http://localhost:"+port), word); !errors.Is(err,
		fault.Invalid) {
		t.Errorf("a private address is not final: %v", err)
	}
	if reached.Load() != 0 {
		t.Errorf("%d requests reached a private server", reached.Load())
	}
	if err := New(Options{Private: loopback}).Send(context.Background(), to(s.URL), word); err != nil ||
		reached.Load() != 1 {
		t.Errorf("an allowed network was refused: %v", err)
	}
}

func TestNoErrorShowsTheAddress(t *testing.T) {
	s := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { panic(http.ErrAbortHandler) }))
	defer s.Close()
	for _, base := range []string{s.URL, "http://127.0.0.1:1", "http://10.0.0.1", "http://no-such-host.invalid"} {
		err := New(Options{Private: loopback}).Send(context.Background(), to(base+"/s3cret-path?key=s3cret-key"), word)
		if err == nil || strings.Contains(err.Error(), "s3cret") {
			t.Errorf("%s: %v", base, err)
		}
	}
}

func TestASlowReceiverIsLeft(t *testing.T) {
	left := make(chan struct{})
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	s := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		_, _ = io.ReadAll(r.Body) // a server notices that its client has gone once the body is read
		cancel()                  // the sender's time is up
		<-r.Context().Done()
		close(left)
	}))
	defer s.Close()
	if err := New(Options{Private: loopback}).Send(ctx, to(s.URL), word); !errors.Is(err, fault.Unavailable) {
		t.Errorf("error %v", err)
	}
	<-left
}
