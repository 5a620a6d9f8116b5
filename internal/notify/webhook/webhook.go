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
	"net/http"
	"net/netip"
	"strconv"
	"time"

	standardwebhooks "github.com/standard-webhooks/standard-webhooks/libraries/go"

	"dryslot/internal/fault"
	"dryslot/internal/message"
	"dryslot/internal/notify"
	"dryslot/internal/notify/outward"
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
	client  *http.Client
	private []netip.Prefix
	now     func() time.Time
}

// New returns a channel.
func New(o Options) *Channel {
	if o.Now == nil {
		o.Now = time.Now
	}
	return &Channel{now: o.Now, client: outward.Client(o.Private), private: o.Private}
}

// Kind names the channel.
func (c *Channel) Kind() string { return "webhook" }

// CheckAddress returns the rule that an address breaks to which nothing can ever
// be delivered; nil: it breaks none.
func (c *Channel) CheckAddress(address string) *fault.Rule { return outward.Check(address, c.private) }

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
		return fault.Of(fault.Invalid, AddressBad).By(outward.WithoutURL(err))
	}
	req.Header.Set("Content-Type", "application/json")
	req.Header.Set("User-Agent", "dryslot")
	req.Header.Set(standardwebhooks.HeaderWebhookID, m.ID)
	req.Header.Set(standardwebhooks.HeaderWebhookTimestamp, strconv.FormatInt(now.Unix(), 10))
	req.Header.Set(standardwebhooks.HeaderWebhookSignature, signature)

	resp, err := c.client.Do(req)
	switch private := outward.Refused(err); {
	case private != nil:
		return fault.Of(fault.Invalid, Private).By(private)
	case err != nil:
		return fault.Of(fault.Unavailable, Silent).By(outward.WithoutURL(err))
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
