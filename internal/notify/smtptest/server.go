// Package smtptest is a recording SMTP server for tests: it keeps every
// message that it takes, and misbehaves on request.
package smtptest

import (
	"crypto/tls"
	"encoding/base64"
	"errors"
	"io"
	"log"
	"mime"
	"mime/multipart"
	"mime/quotedprintable"
	"net"
	"net/mail"
	"net/textproto"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/emersion/go-sasl"
	"github.com/emersion/go-smtp"
)

// Received is one message as it came.
type Received struct {
	From    string
	To      []string
	Header  mail.Header
	Body    string
	TLS     bool
	User    string // who signed in; empty: nobody
	At      time.Time
	Ordinal int // from 0
}

// MessageID returns the id without its brackets.
func (r Received) MessageID() string { return strings.Trim(r.Header.Get("Message-ID"), "<>") }

// Server records what it takes.
type Server struct {
	Addr string // host:port

	mu       sync.Mutex
	received []Received
	answer   func(n int, r Received) error
	rcpt     func(to string) error
	srv      *smtp.Server
}

// Options change what a server offers.
type Options struct {
	TLS      *tls.Config // offered as STARTTLS; nil: not offered
	Implicit bool        // TLS from the first byte
	User     string      // sign-in is offered to this user
	Password string
}

// ErrHangUp as an answer breaks the connection instead of answering.
var ErrHangUp = errors.New("smtptest: hang up")

// Start starts a server on a free loopback port, stopped when the test ends.
func Start(t testing.TB, o Options) *Server {
	t.Helper()
	s := &Server{}
	s.srv = smtp.NewServer(smtp.BackendFunc(func(c *smtp.Conn) (smtp.Session, error) {
		return &session{server: s, conn: c, options: o}, nil
	}))
	s.srv.Domain = "localhost"
	s.srv.TLSConfig = o.TLS
	s.srv.AllowInsecureAuth = o.User != ""
	s.srv.ErrorLog = log.New(io.Discard, "", 0)
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	s.Addr = l.Addr().String()
	if o.Implicit {
		l = tls.NewListener(l, o.TLS)
	}
	done := make(chan struct{})
	go func() {
		defer close(done)
		_ = s.srv.Serve(l)
	}()
	t.Cleanup(func() {
		_ = s.srv.Close()
		<-done
	})
	return s
}

// Answer sets what each message is answered with, counted from 0; nil takes
// it. A message that is answered with an error is recorded all the same when
// the error is ErrHangUp: the sender can't know.
func (s *Server) Answer(f func(n int, r Received) error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.answer = f
}

// RefuseRecipient sets what each recipient is answered with.
func (s *Server) RefuseRecipient(f func(to string) error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.rcpt = f
}

// Received returns the messages taken so far.
func (s *Server) Received() []Received {
	s.mu.Lock()
	defer s.mu.Unlock()
	return append([]Received(nil), s.received...)
}

type session struct {
	server  *Server
	conn    *smtp.Conn
	options Options
	user    string
	now     Received
}

func (c *session) AuthMechanisms() []string {
	if c.options.User == "" {
		return nil
	}
	return []string{sasl.Plain}
}

func (c *session) Auth(string) (sasl.Server, error) {
	return sasl.NewPlainServer(func(_, user, password string) error {
		if user != c.options.User || password != c.options.Password {
			return smtp.ErrAuthFailed
		}
		c.user = user
		return nil
	}), nil
}

func (c *session) Reset()        { c.now = Received{} }
func (c *session) Logout() error { return nil }

func (c *session) Mail(from string, _ *smtp.MailOptions) error {
	c.now.From = from
	return nil
}

func (c *session) Rcpt(to string, _ *smtp.RcptOptions) error {
	c.server.mu.Lock()
	refuse := c.server.rcpt
	c.server.mu.Unlock()
	if refuse != nil {
		if err := refuse(to); err != nil {
			return err
		}
	}
	c.now.To = append(c.now.To, to)
	return nil
}

func (c *session) Data(r io.Reader) error {
	m, err := mail.ReadMessage(r)
	if err != nil {
		return err
	}
	body, err := io.ReadAll(m.Body)
	if err != nil {
		return err
	}
	got := c.now
	got.Header, got.Body, got.At, got.User = m.Header, string(body), time.Now(), c.user
	_, got.TLS = c.conn.TLSConnectionState()
	c.server.mu.Lock()
	defer c.server.mu.Unlock()
	got.Ordinal = len(c.server.received)
	if c.server.answer != nil {
		err = c.server.answer(got.Ordinal, got)
	}
	if err != nil && !errors.Is(err, ErrHangUp) {
		return err
	}
	c.server.received = append(c.server.received, got)
	if err != nil {
		_ = c.conn.Conn().Close()
	}
	return err
}

// Decoded returns a header field with its encoded words decoded.
func Decoded(h mail.Header, field string) (string, error) {
	return new(mime.WordDecoder).DecodeHeader(textproto.MIMEHeader(h).Get(field))
}

// Text returns the words as plain text, with their transfer encoding undone.
func (r Received) Text() (string, error) {
	parts, err := r.Parts()
	return parts["text/plain"], err
}

// Parts returns the words in each of their forms, by media type, with their
// transfer encodings undone.
func (r Received) Parts() (map[string]string, error) {
	kind, params, err := mime.ParseMediaType(r.Header.Get("Content-Type"))
	if err != nil {
		return nil, err
	}
	if kind != "multipart/alternative" {
		text, err := undone(strings.NewReader(r.Body), r.Header.Get("Content-Transfer-Encoding"))
		return map[string]string{kind: text}, err
	}
	out := map[string]string{}
	for parts := multipart.NewReader(strings.NewReader(r.Body), params["boundary"]); ; {
		part, err := parts.NextRawPart()
		if errors.Is(err, io.EOF) {
			return out, nil
		}
		if err != nil {
			return nil, err
		}
		kind, _, err := mime.ParseMediaType(part.Header.Get("Content-Type"))
		if err != nil {
			return nil, err
		}
		if out[kind], err = undone(part, part.Header.Get("Content-Transfer-Encoding")); err != nil {
			return nil, err
		}
	}
}

// undone reads a body with its transfer encoding undone.
func undone(body io.Reader, encoding string) (string, error) {
	switch strings.ToLower(encoding) {
	case "quoted-printable":
		body = quotedprintable.NewReader(body)
	case "base64":
		body = base64.NewDecoder(base64.StdEncoding, body)
	}
	b, err := io.ReadAll(body)
	return string(b), err
}
