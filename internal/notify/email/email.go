// Package email owns the delivery of alerts by SMTP, as text and HTML in one
// message. STARTTLS is used where the server offers it, and a password never goes
// over an open line. Every try of an alert carries the same Message-ID.
//
//	ch, err := email.New(email.Server{Host: "mail.example", Port: 587}, "pads@example.org")
//	err = ch.Send(ctx, recipient, message)
package email

import (
	"context"
	"crypto/tls"
	_ "embed" // of the form of a message
	"errors"
	"fmt"
	"html/template"
	"net"
	netmail "net/mail"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/wneessen/go-mail"

	"dryslot/internal/fault"
	"dryslot/internal/notify"
)

//go:embed message.html
var formText string

// form lays a message out for readers that show more than plain text.
var form = template.Must(template.New("message").Parse(formText))

// patience bounds the whole of one exchange, from dialling to the last answer:
// under the 20 s that a job may last, with time left to record what came of it.
const patience = 12 * time.Second

// Channel sends mail through one server.
type Channel struct {
	host  string
	from  *netmail.Address
	first bool        // TLS from the first byte on
	tls   *tls.Config // for that, and for STARTTLS
	opts  []mail.Option
	dial  mail.DialContextFunc
}

// Server is where mail is handed in.
type Server struct {
	Host     string
	Port     int
	TLS      bool   // from the first byte on; else STARTTLS where it is offered
	User     string // empty: no sign-in
	Password string
	Config   *tls.Config // what certificates are checked by; nil: those that the system knows
}

// senderName is who a message comes from where the sender's address has no name.
const senderName = "dryslot"

// New returns a channel to a server. From is the sender's address, with a name
// or without. Errors are fault.Invalid and never show the password.
func New(s Server, from string) (*Channel, error) {
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
	if sender.Name == "" {
		sender.Name = senderName
	}
	ch := &Channel{host: s.Host, from: sender, first: s.TLS, dial: new(net.Dialer).DialContext,
		tls: &tls.Config{ServerName: s.Host, MinVersion: tls.VersionTLS12}}
	if s.Config != nil {
		ch.tls = s.Config
	}
	ch.opts = []mail.Option{mail.WithPort(s.Port), mail.WithTimeout(patience),
		mail.WithTLSPolicy(mail.TLSOpportunistic), mail.WithTLSConfig(ch.tls), mail.WithoutNoop(), mail.WithoutRset()}
	if s.TLS {
		ch.opts = append(ch.opts, mail.WithSSL()) // dialled here: no STARTTLS within
	}
	if s.User != "" {
		ch.opts = append(ch.opts, signIn(s.TLS), mail.WithUsername(s.User), mail.WithPassword(s.Password))
	}
	return ch, nil
}

// signIn chooses among what the server offers. By itself the library takes a
// line that it did not dial for an open one, and offers no password there.
func signIn(encrypted bool) mail.Option {
	if !encrypted {
		return mail.WithSMTPAuth(mail.SMTPAuthAutoDiscover)
	}
	return mail.WithOpportunisticSMTPAuth(mail.SMTPAuthSCRAMSHA256PLUS, mail.SMTPAuthSCRAMSHA256,
		mail.SMTPAuthSCRAMSHA1PLUS, mail.SMTPAuthSCRAMSHA1, mail.SMTPAuthNTLM, mail.SMTPAuthCramMD5, mail.SMTPAuthPlain,
		mail.SMTPAuthLogin)
}

// Kind names the channel.
func (c *Channel) Kind() string { return "email" }

// Send hands one message to the server. A recipient that the server refuses
// for good, and an address that is none, are fault.Invalid: final. Any other
// error may be tried again. The whole exchange ends with ctx, and in 12 s.
func (c *Channel) Send(ctx context.Context, to notify.Recipient, m notify.Message) error {
	msg, err := c.write(to, m)
	if err != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	l := line{ctx: ctx, channel: c}
	defer l.close()
	client, err := mail.NewClient(c.host, append(slices.Clip(c.opts), mail.WithDialContextFunc(l.open))...)
	if err != nil {
		return fmt.Errorf("email: set up: %w", err)
	}
	said := Unreached
	if err = client.DialWithContext(ctx); err == nil {
		said = NotTaken
		err = client.Send(msg)
		// The server has taken the message or not: what follows can't change it.
		_ = client.Close()
	}
	switch {
	case err == nil || msg.IsDelivered():
		return nil
	case refused(err):
		return fault.Of(fault.Invalid, Refused).By(err)
	case ctx.Err() != nil: // the line was cut: what it says of itself explains nothing
		return fault.Of(fault.Unavailable, said).By(ctx.Err())
	}
	return fault.Of(fault.Unavailable, said).By(err)
}

// write makes a message as it is handed in.
func (c *Channel) write(to notify.Recipient, m notify.Message) (*mail.Msg, error) {
	msg := mail.NewMsg()
	msg.FromMailAddress(c.from)
	if err := msg.To(to.Address); err != nil {
		return nil, fault.Of(fault.Invalid, AddressBad).By(err)
	}
	_, domain, _ := strings.Cut(c.from.Address, "@")
	msg.SetMessageIDWithValue(m.ID + "@" + domain)
	msg.SetDate()
	msg.Subject(m.Subject)
	// An answering machine must not answer a machine (RFC 3834).
	msg.SetGenHeader("Auto-Submitted", "auto-generated")
	if m.Stop != "" {
		// A mail reader shows a button that stops the alerts by one request (RFC 8058).
		msg.SetGenHeader(mail.HeaderListUnsubscribe, "<"+m.Stop+">")
		msg.SetGenHeader(mail.HeaderListUnsubscribePost, "List-Unsubscribe=One-Click")
	}
	msg.SetBodyString(mail.TypeTextPlain, m.Text)
	if len(m.Blocks) > 0 {
		if err := msg.AddAlternativeHTMLTemplate(form, m); err != nil {
			return nil, fmt.Errorf("email: lay a message out: %w", err)
		}
	}
	return msg, nil
}

// refused reports whether the server will never take mail for this recipient:
// a reply of 5yz to the recipient itself (RFC 5321, section 4.2.1). Refusals
// of the sender or the content are the operator's to mend, and are tried again.
func refused(err error) bool {
	var e *mail.SendError
	return errors.As(err, &e) && e.Reason == mail.ErrSMTPRcptTo && e.ErrorCode() >= 500
}
