// Package push owns the delivery of alerts to browsers that asked for them: web
// push (RFC 8030), encrypted for the browser (RFC 8291) and signed with the
// service's own key (VAPID, RFC 8292). Repeats of an alert replace the one before
// on the phone. Addresses inside private networks are refused.
//
//	ch, err := push.New(push.Options{Key: key, Subject: "https://dryslot.example"})
//	err = ch.Send(ctx, recipient, message)
package push

import (
	"context"
	"crypto/ecdh"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"net/http"
	"net/netip"
	"strings"
	"time"
	"unicode/utf8"

	webpush "github.com/SherClockHolmes/webpush-go"

	"dryslot/internal/fault"
	"dryslot/internal/message"
	"dryslot/internal/notify"
	"dryslot/internal/notify/outward"
	"dryslot/internal/pour"
)

// Codes of why a message was not delivered.
const (
	SubscriptionBad  message.Code = "push_subscription_bad"  // keys that are none
	SubscriptionOver message.Code = "push_subscription_over" // the browser has withdrawn it
	Private          message.Code = "push_private"
	Silent           message.Code = "push_silent"
	Answered         message.Code = "push_answered" // status
	TooLong          message.Code = "push_too_long"
)

// Options set a channel up.
type Options struct {
	Key     string         // the service's private key, as NewKey makes it
	Subject string         // how push services reach the operator: an https address or mailto:
	Private []netip.Prefix // networks to which pushes may go although they are private or loopback
}

// Channel sends pushes.
type Channel struct {
	client  *http.Client
	inner   []netip.Prefix // private networks that pushes may go to
	private string
	public  string
	subject string
}

// NewKey makes a private key of the service, to be kept: subscriptions are bound
// to it.
func NewKey() (string, error) {
	private, _, err := webpush.GenerateVAPIDKeys()
	if err != nil {
		return "", fmt.Errorf("push: make a key: %w", err)
	}
	return private, nil
}

// New returns a channel. A key that is none is fault.Invalid.
func New(o Options) (*Channel, error) {
	raw, err := base64.RawURLEncoding.DecodeString(strings.TrimRight(o.Key, "="))
	var key *ecdh.PrivateKey
	if err == nil {
		key, err = ecdh.P256().NewPrivateKey(raw)
	}
	if err != nil {
		return nil, fault.Wrap(fault.Invalid,
			"the key of web push must be 32 bytes in base64url, a private key of P-256", err)
	}
	return &Channel{client: outward.Client(o.Private), inner: o.Private, private: o.Key,
		subject: strings.TrimPrefix(o.Subject, "mailto:"),
		public:  base64.RawURLEncoding.EncodeToString(key.PublicKey().Bytes())}, nil
}

// Kind names the channel.
func (c *Channel) Kind() string { return notify.Push }

// CheckAddress returns the rule that an address breaks to which nothing can ever
// be delivered; nil: it breaks none.
func (c *Channel) CheckAddress(address string) *fault.Rule { return outward.Check(address, c.inner) }

// PublicKey is what a browser subscribes with.
func (c *Channel) PublicKey() string { return c.public }

// Notice is what a push carries, as JSON: what a browser shows, and the entries
// of the log that its two buttons make.
type Notice struct {
	ID      string         `json:"id"` // the same for repeats: the tag of the notification
	Title   string         `json:"title"`
	Body    string         `json:"body"`
	URL     string         `json:"url"`
	Urgent  bool           `json:"urgent"`
	Until   *time.Time     `json:"until"` // of no use from then on; null: not known
	Project string         `json:"project_id"`
	Actions []NoticeAction `json:"actions"` // two at most
}

// NoticeAction is one button: the entry that it logs, whose at is when it is tapped.
type NoticeAction struct {
	Title string         `json:"title"`
	Kind  pour.EntryKind `json:"kind"`
	Pads  []string       `json:"pads"`
	Cover string         `json:"cover,omitempty"`
}

// How long a push service keeps a message for a phone that is off, where the
// alert does not say (judgement), and how much of the text is shown.
const (
	keeps    = 4 * time.Hour
	keepMost = 24 * time.Hour
	mostBody = 1200 // bytes; a push holds under 4 KB
)

// Send sends one message. What can never be delivered is fault.Invalid; a
// subscription that the browser has withdrawn, for which push services answer 404
// or 410, is notify.ErrOver too. Any other answer but 2xx may be tried again.
func (c *Channel) Send(ctx context.Context, to notify.Recipient, m notify.Message) error {
	p256dh, auth, ok := strings.Cut(to.Secret, ".")
	if err := to.Check(); err != nil || !ok {
		return fault.Of(fault.Invalid, SubscriptionBad).By(err)
	}
	body, err := json.Marshal(notice(to, m))
	if err != nil {
		return fmt.Errorf("push: %w", err)
	}
	ttl := keeps
	if !m.UsedBy.IsZero() {
		ttl = max(time.Minute, min(keepMost, m.UsedBy.Sub(m.At)))
	}
	urgency := webpush.UrgencyNormal
	if m.Urgent {
		urgency = webpush.UrgencyHigh
	}
	topic := strings.TrimPrefix(m.ID, "dryslot_") // 32 characters, the most that a topic may have
	resp, err := webpush.SendNotificationWithContext(ctx, body,
		&webpush.Subscription{Endpoint: to.Address, Keys: webpush.Keys{P256dh: p256dh, Auth: auth}},
		&webpush.Options{HTTPClient: c.client, Subscriber: c.subject, Topic: topic, TTL: int(ttl / time.Second),
			Urgency: urgency, VAPIDPublicKey: c.public, VAPIDPrivateKey: c.private})
	if private := outward.Refused(err); private != nil {
		return fault.Of(fault.Invalid, Private).By(private)
	}
	if err != nil {
		return fault.Of(fault.Unavailable, Silent).By(outward.WithoutURL(err))
	}
	_ = resp.Body.Close() // the status is the answer
	switch status := message.Count("status", resp.StatusCode); {
	case resp.StatusCode >= 200 && resp.StatusCode < 300:
		return nil
	case resp.StatusCode == http.StatusNotFound, resp.StatusCode == http.StatusGone:
		return fault.Of(fault.Invalid, SubscriptionOver).By(notify.ErrOver)
	case resp.StatusCode == http.StatusRequestEntityTooLarge:
		return fault.Of(fault.Invalid, TooLong)
	default:
		return fault.Of(fault.Unavailable, Answered, status)
	}
}

// notice is the part of a message that a push carries: the first part of its text,
// which says what to do.
func notice(to notify.Recipient, m notify.Message) Notice {
	n := Notice{ID: m.ID, Title: m.Subject, URL: m.Link, Urgent: m.Urgent, Project: to.Project,
		Actions: []NoticeAction{}}
	first, _, _ := strings.Cut(m.Text, "\n\n")
	n.Body = strings.Join(strings.Fields(first), " ")
	if len(n.Body) > mostBody {
		cut := mostBody
		for !utf8.RuneStart(n.Body[cut]) {
			cut--
		}
		n.Body = n.Body[:cut] + "..."
	}
	if !m.UsedBy.IsZero() {
		n.Until = &m.UsedBy
	}
	for _, a := range m.Actions {
		pads := a.Pads
		if pads == nil {
			pads = []string{}
		}
		n.Actions = append(n.Actions, NoticeAction{a.Title, a.Kind, pads, a.Cover})
	}
	return n
}
