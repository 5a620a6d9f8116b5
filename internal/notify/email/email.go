// Package email owns the delivery of alerts by SMTP. STARTTLS is used where
// the server offers it, and a password never goes over an open line. Every try
// of an alert carries the same Message-ID.
//
//	ch, err := email.New(email.Server{Host: "mail.example", Port: 587}, "pads@example.org")
//	err = ch.Send(ctx, recipient, message)
package email

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	netmail "net/mail"
	"strconv"
	"strings"
	"time"

	"github.com/wneessen/go-mail"

	"dryslot/internal/fault"
	"dryslot/internal/notify"
)

// patience bounds connecting, and then the conversation: both together stay
// under the 20 s that a job may last.
const patience = 8 * time.Second

// Channel sends mail through one server.
type Channel struct {
	host string
	from *netmail.Address
	opts []mail.Option
}

// Option changes how a Channel talks to its server.
type Option func(*Channel)

// WithTLS replaces the TLS settings, for a server whose certificate the
// system does not know.
func WithTLS(c *tls.Config) Option {
	return func(ch *Channel) { ch.opts = append(ch.opts, mail.WithTLSConfig(c)) }
}

// Server is where mail is handed in.
type Server struct {
	Host     string
	Port     int
	TLS      bool   // from the first byte on; else STARTTLS where it is offered
	User     string // empty: no sign-in
	Password string
}

// New returns a channel to a server. From is the sender's address. Errors are
// fault.Invalid and never show the password.
func New(s Server, from string, options ...Option) (*Channel, error) {
	var bad fault.List
	sender, err := netmail.ParseAddress(from)
	if err != nil {
		bad.Add("from", from, "must be a mail address, such as pads@example.org")
	}
	if s.Host == "" {
		bad.Add("host", "", "must be given")
	}
	if s.Port < 1 || s.Port > 65535 {
		bad.Add("port", strconv.Itoa(s.Port), "must be between 1 and 65535")
	}
	if err := bad.Err("mail can't be set up"); err != nil {
		return nil, err
	}
	ch := &Channel{host: s.Host, from: sender}
	ch.opts = []mail.Option{mail.WithPort(s.Port), mail.WithTimeout(patience), mail.WithTLSPolicy(mail.TLSOpportunistic),
		mail.WithoutNoop(), mail.WithoutRset()}
	if s.TLS {
		ch.opts = append(ch.opts, mail.WithSSL())
	}
	if s.User != "" {
		ch.opts = append(ch.opts, mail.WithSMTPAuth(mail.SMTPAuthAutoDiscover), mail.WithUsername(s.User), mail.WithPassword(s.Password))
	}
	for _, o := range options {
		o(ch)
	}
	return ch, nil
}

// Kind names the channel.
func (c *Channel) Kind() string { return "email" }

// Send hands one message to the server. A recipient that the server refuses
// for good, and an address that is none, are fault.Invalid: final. Any other
// error may be tried again.
func (c *Channel) Send(ctx context.Context, to notify.Recipient, m notify.Message) error {
	msg := mail.NewMsg()
	msg.FromMailAddress(c.from)
	if err := msg.To(to.Address); err != nil {
		return fault.Wrap(fault.Invalid, "the address can't receive mail", err)
	}
	_, domain, _ := strings.Cut(c.from.Address, "@")
	msg.SetMessageIDWithValue(m.ID + "@" + domain)
	msg.SetDate()
	msg.Subject(m.Subject)
	// An answering machine must not answer a machine (RFC 3834).
	msg.SetGenHeader("Auto-Submitted", "auto-generated")
	msg.SetBodyString(mail.TypeTextPlain, m.Text)

	client, err := mail.NewClient(c.host, c.opts...)
	if err != nil {
		return fmt.Errorf("email: set up: %w", err)
	}
	if err := client.DialWithContext(ctx); err != nil {
		return fault.Wrap(fault.Unavailable, "the mail server can't be reached", err)
	}
	err = client.Send(msg)
	// The server has taken the message or not: what follows can't change it.
	_ = client.Close()
	switch {
	case err == nil || msg.IsDelivered():
		return nil
	case refused(err):
		return fault.Wrap(fault.Invalid, "the mail server refuses the recipient", err)
	}
	return fault.Wrap(fault.Unavailable, "the mail server did not take the message", err)
}

// refused reports whether the server will never take mail for this recipient:
// a reply of 5yz to the recipient itself (RFC 5321, section 4.2.1). Refusals
// of the sender or the content are the operator's to mend, and are tried again.
func refused(err error) bool {
	var e *mail.SendError
	return errors.As(err, &e) && e.Reason == mail.ErrSMTPRcptTo && e.ErrorCode() >= 500
}
