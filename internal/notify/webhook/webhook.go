// Package webhook owns the delivery of alerts over HTTP, signed after Standard
// Webhooks. Every try of an alert carries the same webhook-id. Addresses
// inside private networks are refused when dialled, so that a name that
// changes its address after it was checked gains nothing.
//
//	ch := webhook.New(webhook.Options{})
//	err := ch.Send(ctx, recipient, message)
package webhook

import (
	"bytes"
	"context"
	"errors"
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"strconv"
	"syscall"
	"time"

	standardwebhooks "github.com/standard-webhooks/standard-webhooks/libraries/go"

	"dryslot/internal/fault"
	"dryslot/internal/message"
	"dryslot/internal/notify"
)

// Bounds of one try: together under the 20 s that a job may last.
const (
	patience   = 12 * time.Second // for the whole of it
	dialling   = 5 * time.Second
	mostHeader = 64 << 10 // bytes of the answer's header
)

// Options set a channel up. The zero value is what the public service uses.
type Options struct {
	// Private lists networks to which webhooks may go although they are
	// private or loopback.
	Private []netip.Prefix
	// Now is the wall clock that signatures carry; nil: time.Now.
	Now func() time.Time
}

// Channel posts signed messages.
type Channel struct {
	client *http.Client
	now    func() time.Time
}

// New returns a channel.
func New(o Options) *Channel {
	if o.Now == nil {
		o.Now = time.Now
	}
	dialer := &net.Dialer{Timeout: dialling, Control: func(_, address string, _ syscall.RawConn) error {
		return allowed(address, o.Private)
	}}
	return &Channel{now: o.Now, client: &http.Client{
		Timeout: patience,
		Transport: &http.Transport{
			Proxy:                  nil, // a proxy would dial unchecked
			DialContext:            dialer.DialContext,
			TLSHandshakeTimeout:    dialling,
			MaxResponseHeaderBytes: mostHeader,
			DisableKeepAlives:      true, // every try is dialled, and so checked
		},
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}}
}

// Kind names the channel.
func (c *Channel) Kind() string { return "webhook" }

// Send posts one message. What can never be delivered is fault.Invalid: an
// address that is none or is private, a secret that is none, and a receiver
// that answers 410 Gone. Any other answer but 2xx may be tried again;
// redirects are not followed.
func (c *Channel) Send(ctx context.Context, to notify.Recipient, m notify.Message) error {
	to.Kind = notify.Webhook
	if err := to.Check(); err != nil {
		return fault.Of(fault.Invalid, AddressBad).By(err)
	}
	signer, err := standardwebhooks.NewWebhook(to.Secret)
	if err != nil || to.Secret == "" {
		return fault.Of(fault.Invalid, SecretBad).By(err)
	}
	now := c.now()
	signature, err := signer.Sign(m.ID, now, m.Payload)
	if err != nil {
		return fault.Of(fault.Invalid, SecretBad).By(err)
	}
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, to.Address, bytes.NewReader(m.Payload))
	if err != nil {
		return fault.Of(fault.Invalid, AddressBad).By(withoutURL(err))
	}
	req.Header.Set("Content-Type", "application/json")
	req.Header.Set("User-Agent", "dryslot")
	req.Header.Set(standardwebhooks.HeaderWebhookID, m.ID)
	req.Header.Set(standardwebhooks.HeaderWebhookTimestamp, strconv.FormatInt(now.Unix(), 10))
	req.Header.Set(standardwebhooks.HeaderWebhookSignature, signature)

	resp, err := c.client.Do(req)
	var private *privateError
	switch {
	case errors.As(err, &private):
		return fault.Of(fault.Invalid, Private).By(private)
	case err != nil:
		return fault.Of(fault.Unavailable, Silent).By(withoutURL(err))
	}
	status := message.Count("status", resp.StatusCode)
	_ = resp.Body.Close() // the status is the answer; a body is not read at all
	switch {
	case resp.StatusCode >= 200 && resp.StatusCode < 300:
		return nil
	case resp.StatusCode == http.StatusGone:
		return fault.Of(fault.Invalid, Gone)
	case resp.StatusCode >= 300 && resp.StatusCode < 400:
		return fault.Of(fault.Unavailable, Redirected, status)
	}
	return fault.Of(fault.Unavailable, Answered, status)
}

// withoutURL drops the address from an error, which goes to the log: a path or
// query often holds the receiver's own secret.
func withoutURL(err error) error {
	var u *url.Error
	if errors.As(err, &u) {
		return u.Err
	}
	return err
}
