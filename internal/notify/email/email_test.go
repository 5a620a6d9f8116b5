package email

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"net"
	"net/http/httptest"
	"strconv"
	"strings"
	"testing"

	"github.com/emersion/go-smtp"

	"dryslot/internal/fault"
	"dryslot/internal/notify"
	"dryslot/internal/notify/smtptest"
)

var (
	builder = notify.Recipient{ID: "r1", Kind: "email", Address: "builder@example.org"}
	word    = notify.Message{ID: "dryslot_0123", Subject: "Pour Thursday, é três pads",
		Text: "POUR today.\n.\nStart at 07:05, 34 °F.\n"}
)

// keys returns TLS settings of a server on 127.0.0.1 and of a client that
// trusts it.
func keys(t *testing.T) (server, client *tls.Config) {
	s := httptest.NewTLSServer(nil)
	t.Cleanup(s.Close)
	pool := x509.NewCertPool()
	pool.AddCert(s.Certificate())
	return &tls.Config{Certificates: s.TLS.Certificates}, &tls.Config{RootCAs: pool, ServerName: "127.0.0.1"}
}

// at is the server at host:port.
func at(t *testing.T, addr string) Server {
	t.Helper()
	host, port, err := net.SplitHostPort(addr)
	if err != nil {
		t.Fatal(err)
	}
	n, err := strconv.Atoi(port)
	if err != nil {
		t.Fatal(err)
	}
	return Server{Host: host, Port: n}
}

// checked is a server whose certificate is checked by the test's own authority.
func checked(s Server, by *tls.Config) Server {
	s.Config = by
	return s
}

func channel(t *testing.T, server Server) *Channel {
	t.Helper()
	c, err := New(server, "Dryslot <pads@example.org>")
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func TestAMessageArrivesAsWritten(t *testing.T) {
	s := smtptest.Start(t, smtptest.Options{})
	c := channel(t, at(t, s.Addr))
	for range 2 {
		if err := c.Send(context.Background(), builder, word); err != nil {
			t.Fatal(err)
		}
	}
	got := s.Received()
	if len(got) != 2 {
		t.Fatalf("%d messages arrived", len(got))
	}
	subject, err := smtptest.Decoded(got[0].Header, "Subject")
	if err != nil {
		t.Fatal(err)
	}
	body, err := got[0].Text()
	if err != nil {
		t.Fatal(err)
	}
	if subject != word.Subject || strings.ReplaceAll(body, "\r\n", "\n") != word.Text {
		t.Errorf("arrived as %q, %q", subject, body)
	}
	for _, m := range got {
		if m.MessageID() != "dryslot_0123@example.org" {
			t.Errorf("Message-ID is %q", m.MessageID())
		}
		if len(m.To) != 1 || m.To[0] != builder.Address || m.From != "pads@example.org" ||
			m.Header.Get("Auto-Submitted") != "auto-generated" {
			t.Errorf("envelope %s to %v, header %v", m.From, m.To, m.Header)
		}
	}
}

// A message to a reader has its words twice, for those who show HTML and those
// who don't, and headers by which the reader's program stops the alerts.
func TestWordsAsTextAndAsHTML(t *testing.T) {
	s := smtptest.Start(t, smtptest.Options{})
	c, err := New(at(t, s.Addr), "pads@example.org")
	if err != nil {
		t.Fatal(err)
	}
	m := word
	m.Language, m.Stop = "en", "https://pours.example/r/k3y"
	m.Blocks = []notify.Block{{{Text: "POUR <today> & <script>alert(1)</script>"}, {Text: "Wear gloves.", Item: true}},
		{{Text: "https://pours.example/p/1?a=b&c=d", Link: true}, {Text: "javascript:alert(2)", Link: true}}}
	if err := c.Send(context.Background(), builder, m); err != nil {
		t.Fatal(err)
	}
	got := s.Received()[0]
	parts, err := got.Parts()
	if err != nil {
		t.Fatal(err)
	}
	if len(parts) != 2 || strings.ReplaceAll(parts["text/plain"], "\r\n", "\n") != m.Text {
		t.Errorf("parts %q", parts)
	}
	html := parts["text/html"]
	for _, want := range []string{`lang="en"`, "POUR &lt;today&gt; &amp; &lt;script&gt;",
		`href="https://pours.example/p/1?a=b&amp;c=d"`, "&bull;"} {
		if !strings.Contains(html, want) {
			t.Errorf("the HTML lacks %s:\n%s", want, html)
		}
	}
	if strings.Contains(html, "<script") || strings.Contains(html, `href="javascript`) {
		t.Errorf("what was typed is code in the HTML:\n%s", html)
	}
	if from := got.Header.Get("From"); from != `"dryslot" <pads@example.org>` {
		t.Errorf("From is %s", from)
	}
	if got.Header.Get("List-Unsubscribe") != "<https://pours.example/r/k3y>" ||
		got.Header.Get("List-Unsubscribe-Post") != "List-Unsubscribe=One-Click" {
		t.Errorf("header %v", got.Header)
	}
}

func TestSTARTTLSWhereOffered(t *testing.T) {
	server, client := keys(t)
	s := smtptest.Start(t, smtptest.Options{TLS: server, User: "dry", Password: "s%l:t"})
	to := at(t, s.Addr)
	to.User, to.Password = "dry", "s%l:t"
	c := channel(t, checked(to, client))
	if err := c.Send(context.Background(), builder, word); err != nil {
		t.Fatal(err)
	}
	if got := s.Received(); len(got) != 1 || !got[0].TLS || got[0].User != "dry" {
		t.Errorf("received %+v", got)
	}
}

func TestTLSFromTheFirstByte(t *testing.T) {
	server, client := keys(t)
	s := smtptest.Start(t, smtptest.Options{TLS: server, Implicit: true})
	to := at(t, s.Addr)
	to.TLS = true
	if err := channel(t, checked(to, client)).Send(context.Background(), builder, word); err != nil {
		t.Fatal(err)
	}
	if got := s.Received(); len(got) != 1 || !got[0].TLS {
		t.Errorf("received %+v", got)
	}
}

func TestACertificateThatIsNotTrustedStopsTheMail(t *testing.T) {
	server, _ := keys(t)
	s := smtptest.Start(t, smtptest.Options{TLS: server})
	err := channel(t, at(t, s.Addr)).Send(context.Background(), builder, word)
	if !errors.Is(err, fault.Unavailable) || len(s.Received()) != 0 {
		t.Errorf("error %v, %d messages", err, len(s.Received()))
	}
}

func TestAPasswordNeverGoesInClear(t *testing.T) {
	s := smtptest.Start(t, smtptest.Options{User: "dry", Password: "salt-water"})
	to := at(t, s.Addr)
	to.User, to.Password = "dry", "salt-water"
	err := channel(t, to).Send(context.Background(), builder, word)
	if err == nil || len(s.Received()) != 0 {
		t.Errorf("error %v, %d messages", err, len(s.Received()))
	}
	if err != nil && strings.Contains(err.Error(), "salt-water") {
		t.Errorf("the error shows the password: %v", err)
	}
}

func TestWhatIsFinalAndWhatIsNot(t *testing.T) {
	reply := func(code int) error { return &smtp.SMTPError{Code: code, Message: "no"} }
	s := smtptest.Start(t, smtptest.Options{})
	c := channel(t, at(t, s.Addr))
	send := func(to string) error {
		return c.Send(context.Background(), notify.Recipient{Address: to}, word)
	}
	s.RefuseRecipient(func(to string) error {
		switch {
		case strings.HasPrefix(to, "gone"):
			return reply(550)
		case strings.HasPrefix(to, "later"):
			return reply(450)
		}
		return nil
	})
	answers := map[string]error{"busy@example.org": reply(451), "spam@example.org": reply(554),
		"drop@example.org": smtptest.ErrHangUp}
	s.Answer(func(_ int, r smtptest.Received) error { return answers[r.To[0]] })
	for to, final := range map[string]bool{
		"gone@example.org": true, "not an address": true, "x@y\r\nBcc: z@example.org": true,
		"later@example.org": false, "busy@example.org": false, "spam@example.org": false, "drop@example.org": false,
	} {
		err := send(to)
		if err == nil || errors.Is(err, fault.Invalid) != final {
			t.Errorf("%q: %v; final should be %v", to, err, final)
		}
	}
	if err := send("well@example.org"); err != nil {
		t.Error(err)
	}
}

func TestAServerThatIsNotThere(t *testing.T) {
	// Port 1 is nobody's; one that was free a moment ago may be another's by now.
	if err := channel(t, at(t, "127.0.0.1:1")).Send(context.Background(), builder, word); !errors.Is(err,
		fault.Unavailable) {
		t.Errorf("error %v", err)
	}
}

func TestSettings(t *testing.T) {
	for _, c := range []struct {
		server Server
		from   string
	}{
		{Server{}, "a@example.org"}, {Server{Host: "h", Port: 0}, "a@example.org"},
		{Server{Host: "h", Port: 99999, Password: "pa ss"}, "a@example.org"},
		{Server{Host: "h", Port: 25}, ""}, {Server{Host: "h", Port: 25}, "nobody"},
	} {
		_, err := New(c.server, c.from)
		if !errors.Is(err, fault.Invalid) || strings.Contains(err.Error(), "pa ss") {
			t.Errorf("%+v, %q: %v", c.server, c.from, err)
		}
	}
	if _, err := New(Server{Host: "h", Port: 25}, "a@example.org"); err != nil {
		t.Error(err)
	}
}
