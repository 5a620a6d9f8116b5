package push_test

import (
	"context"
	"crypto/aes"
	"crypto/cipher"
	"crypto/ecdh"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/hkdf"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"encoding/json"
	"errors"
	"io"
	"math/big"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"strconv"
	"strings"
	"testing"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/notify"
	"dryslot/internal/notify/push"
	"dryslot/internal/pour"
)

// browser is one that has subscribed, and the push service that it subscribed
// with: it checks the sender's signature and opens what comes by the RFCs, without
// the library that sends.
type browser struct {
	t      *testing.T
	key    *ecdh.PrivateKey
	auth   []byte
	server *httptest.Server
	status int
	header http.Header
	body   []byte
	public string // the key that it subscribed with
}

func newBrowser(t *testing.T, public string) *browser {
	t.Helper()
	key, err := ecdh.P256().GenerateKey(rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	b := &browser{t: t, key: key, auth: make([]byte, 16), status: http.StatusCreated, public: public}
	if _, err := rand.Read(b.auth); err != nil {
		t.Fatal(err)
	}
	b.server = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		b.header = r.Header.Clone()
		b.body, _ = io.ReadAll(r.Body)
		w.WriteHeader(b.status)
	}))
	t.Cleanup(b.server.Close)
	return b
}

func (b *browser) recipient() notify.Recipient {
	return notify.Recipient{ID: "r", Project: "p", Kind: notify.Push, Address: b.server.URL + "/push/abc",
		Secret: base64.RawURLEncoding.EncodeToString(b.key.PublicKey().Bytes()) + "." +
			base64.RawURLEncoding.EncodeToString(b.auth)}
}

func expand(t *testing.T, secret, salt []byte, info string, n int) []byte {
	t.Helper()
	out, err := hkdf.Key(sha256.New, secret, salt, info, n)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// open decrypts what came, by RFC 8188 and RFC 8291.
func (b *browser) open() push.Notice {
	b.t.Helper()
	if got := b.header.Get("Content-Encoding"); got != "aes128gcm" {
		b.t.Fatalf("encoded as %q", got)
	}
	salt, size, length := b.body[:16], binary.BigEndian.Uint32(b.body[16:20]), int(b.body[20])
	senders, sealed := b.body[21:21+length], b.body[21+length:]
	if uint32(len(sealed)) > size {
		b.t.Fatalf("%d bytes in a record of %d", len(sealed), size)
	}
	sender, err := ecdh.P256().NewPublicKey(senders)
	if err != nil {
		b.t.Fatal(err)
	}
	shared, err := b.key.ECDH(sender)
	if err != nil {
		b.t.Fatal(err)
	}
	material := expand(b.t, shared, b.auth, "WebPush: info\x00"+string(b.key.PublicKey().Bytes())+string(senders), 32)
	block, err := aes.NewCipher(expand(b.t, material, salt, "Content-Encoding: aes128gcm\x00", 16))
	if err != nil {
		b.t.Fatal(err)
	}
	gcm, err := cipher.NewGCM(block)
	if err != nil {
		b.t.Fatal(err)
	}
	plain, err := gcm.Open(nil, expand(b.t, material, salt, "Content-Encoding: nonce\x00", 12), sealed, nil)
	if err != nil {
		b.t.Fatal(err)
	}
	text := strings.TrimRight(string(plain), "\x00")
	if !strings.HasSuffix(text, "\x02") {
		b.t.Fatal("no delimiter of a last record")
	}
	var n push.Notice
	if err := json.Unmarshal([]byte(strings.TrimSuffix(text, "\x02")), &n); err != nil {
		b.t.Fatal(err)
	}
	return n
}

// signed checks the sender's token by RFC 8292.
func (b *browser) signed() {
	b.t.Helper()
	var token, key string
	for _, part := range strings.Split(strings.TrimPrefix(b.header.Get("Authorization"), "vapid "), ",") {
		name, value, _ := strings.Cut(strings.TrimSpace(part), "=")
		switch name {
		case "t":
			token = value
		case "k":
			key = value
		}
	}
	if key != b.public {
		b.t.Fatalf("signed with %q, subscribed with %q", key, b.public)
	}
	parts := strings.Split(token, ".")
	raw, err := base64.RawURLEncoding.DecodeString(key)
	if err != nil || len(parts) != 3 {
		b.t.Fatal(token, err)
	}
	public, err := ecdsa.ParseUncompressedPublicKey(elliptic.P256(), raw)
	if err != nil {
		b.t.Fatal(err)
	}
	sum := sha256.Sum256([]byte(parts[0] + "." + parts[1]))
	sig, err := base64.RawURLEncoding.DecodeString(parts[2])
	if err != nil || len(sig) != 64 || !ecdsa.Verify(public, sum[:],
		new(big.Int).SetBytes(sig[:32]), new(big.Int).SetBytes(sig[32:])) {
		b.t.Fatal("the signature is wrong")
	}
	var claims struct {
		Aud, Sub string
		Exp      int64
	}
	body, err := base64.RawURLEncoding.DecodeString(parts[1])
	if err != nil {
		b.t.Fatal(err)
	}
	if err := json.Unmarshal(body, &claims); err != nil {
		b.t.Fatal(err)
	}
	if claims.Aud != b.server.URL || claims.Sub == "" || time.Until(time.Unix(claims.Exp, 0)) > 24*time.Hour {
		b.t.Errorf("claims %+v for %s", claims, b.server.URL)
	}
}

var loopback = []netip.Prefix{netip.MustParsePrefix("127.0.0.0/8"), netip.MustParsePrefix("::1/128")}

func channel(t *testing.T, private []netip.Prefix) *push.Channel {
	t.Helper()
	key, err := push.NewKey()
	if err != nil {
		t.Fatal(err)
	}
	c, err := push.New(push.Options{Key: key, Subject: "https://dryslot.example", Private: private})
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func TestAPushIsReadByTheBrowserThatAskedForIt(t *testing.T) {
	c := channel(t, loopback)
	b := newBrowser(t, c.PublicKey())
	now := time.Date(2026, 11, 28, 10, 0, 0, 0, time.UTC)
	m := notify.Message{ID: notify.MessageID("p/rain/2026-11-28/r/1"), Subject: "Cover H1, H2 now (Garden path)",
		Text: "Cover H1, H2 now.\n\nGarden path\nhttps://x\n",
		Link: "https://dryslot.example/p/p", Urgent: true, At: now, UsedBy: now.Add(2 * time.Hour),
		Actions: []notify.DayAction{{Title: "Covered", Kind: pour.EntryCovered, Pads: []string{"H1", "H2"},
			Cover: "plastic"}, {Title: "It rains", Kind: pour.EntryRainBegan}}}
	if err := c.Send(context.Background(), b.recipient(), m); err != nil {
		t.Fatal(err)
	}
	b.signed()
	n := b.open()
	if n.Title != m.Subject || n.Body != "Cover H1, H2 now." || n.ID != m.ID || n.URL != m.Link || !n.Urgent ||
		n.Project != "p" || n.Until == nil ||
		len(n.Actions) != 2 || n.Actions[0].Kind != pour.EntryCovered || len(n.Actions[0].Pads) != 2 ||
		n.Actions[1].Pads == nil {
		t.Errorf("%+v", n)
	}
	if ttl, _ := strconv.Atoi(b.header.Get("TTL")); ttl != 7200 || b.header.Get("Urgency") != "high" ||
		len(b.header.Get("Topic")) != 32 {
		t.Errorf("TTL %s, urgency %s, topic %s", b.header.Get("TTL"), b.header.Get("Urgency"), b.header.Get("Topic"))
	}
	first := b.header.Get("Topic")
	m.Urgent, m.UsedBy, m.Text = false, time.Time{}, strings.Repeat("Größe ", 3000)
	if err := c.Send(context.Background(), b.recipient(), m); err != nil {
		t.Fatal(err)
	}
	if n = b.open(); len(n.Body) > 1300 || b.header.Get("Urgency") != "normal" || b.header.Get("Topic") != first {
		t.Errorf("%d bytes of text, urgency %s", len(n.Body), b.header.Get("Urgency"))
	}
}

func TestWhatAPushServiceAnswers(t *testing.T) {
	c := channel(t, loopback)
	b := newBrowser(t, c.PublicKey())
	for status, want := range map[int]struct {
		kind fault.Kind
		over bool
	}{404: {fault.Invalid, true}, 410: {fault.Invalid, true}, 413: {fault.Invalid, false}, 429: {fault.Unavailable,
		false},
		500: {fault.Unavailable, false}, 302: {fault.Unavailable, false}} {
		b.status = status
		err := c.Send(context.Background(), b.recipient(), notify.Message{ID: "dryslot_x", Subject: "x", Text: "x"})
		if fault.KindOf(err) != want.kind || errors.Is(err, notify.ErrOver) != want.over {
			t.Errorf("%d: %v", status, err)
		}
	}
	b.server.Close()
	if err := c.Send(context.Background(), b.recipient(),
		notify.Message{ID: "dryslot_x"}); fault.KindOf(err) != fault.Unavailable {
		t.Errorf("no answer: %v", err)
	}
}

func TestPushesGoToPublicAddressesOnly(t *testing.T) {
	c := channel(t, nil)
	b := newBrowser(t, c.PublicKey())
	if err := c.Send(context.Background(), b.recipient(),
		notify.Message{ID: "dryslot_x"}); fault.KindOf(err) != fault.Invalid || b.body != nil {
		t.Errorf("sent to loopback: %v", err)
	}
}

func TestKeysThatAreNone(t *testing.T) {
	for _, key := range []string{"", "x", base64.RawURLEncoding.EncodeToString(make([]byte, 32)),
		base64.RawURLEncoding.EncodeToString(make([]byte, 31))} {
		if _, err := push.New(push.Options{Key: key}); fault.KindOf(err) != fault.Invalid {
			t.Errorf("%q: %v", key, err)
		}
	}
	c := channel(t, loopback)
	b := newBrowser(t, c.PublicKey())
	r := b.recipient()
	for _, secret := range []string{"", "x", "x.y", strings.Repeat("A", 87) + ".AAAA"} {
		r.Secret = secret
		if err := c.Send(context.Background(), r, notify.Message{ID: "dryslot_x"}); fault.KindOf(err) != fault.Invalid {
			t.Errorf("%q: %v", secret, err)
		}
	}
}
