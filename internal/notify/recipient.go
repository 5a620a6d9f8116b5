package notify

import (
	"crypto/ecdh"
	"encoding/base64"
	"errors"
	"net/mail"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"dryslot/internal/fault"
	"dryslot/internal/message"
)

// The kinds of recipient.
const (
	Email   = "email"
	Webhook = "webhook"
	Push    = "push" // a browser that asked for alerts
)

// Codes of what a recipient may be refused for.
const (
	RecipientBreaksRule message.Code = "recipient_breaks_rule"
	MailWanted          message.Code = "mail_wanted"
	PushKeysWanted      message.Code = "push_keys_wanted"
	AlertsWanted        message.Code = "alerts_wanted" // one kind or more
	WebAddressWanted    message.Code = "web_address_wanted"
)

// Longest addresses taken, in bytes.
const (
	maxMail = 254  // RFC 5321, section 4.5.3.1.3, less the angle brackets of a path
	maxURL  = 2000 // common practice
)

// Check refuses a kind that is unknown and an address that can't be one of its
// kind. Errors are fault.Invalid and name the field kind or address.
func (r Recipient) Check() error {
	var l fault.List
	var rule *fault.Rule
	switch r.Kind {
	case Email:
		rule = mailRule(r.Address)
	case Webhook:
		rule = webhookRule(r.Address)
	case Push:
		rule = webhookRule(r.Address)
		if r.Secret != "" && !subscribed(r.Secret) {
			l.Break("keys", "not shown", fault.RuleOf(PushKeysWanted))
		}
	default:
		l.Break("kind", strings.ToValidUTF8(r.Kind, "?"), fault.OneOf(Email, Webhook, Push))
	}
	if rule != nil {
		l.Break("address", strings.ToValidUTF8(r.Address, "?"), *rule)
	}
	r.checkAlerts(&l)
	return l.Broken(RecipientBreaksRule)
}

// Kinds are the kinds of alert that a recipient can choose.
func Kinds() []Kind {
	return append([]Kind{Evening, Morning, Change, NotStarted},
		slices.DeleteFunc(slices.Clone(ranks), func(k Kind) bool { return k == NotStarted })...)
}

// Wants reports whether a recipient wants alerts of a kind. Who gets the alerts to
// stop gets those to go on too.
func (r Recipient) Wants(k Kind) bool {
	if k == Resume && slices.Contains(r.Alerts, Stop) {
		return true
	}
	return r.Alerts == nil || k == Test || slices.Contains(r.Alerts, k)
}

// checkAlerts refuses kinds that can't be chosen.
func (r Recipient) checkAlerts(l *fault.List) {
	all := Kinds()
	names := make([]string, len(all))
	for i, k := range all {
		names[i] = string(k)
	}
	for i, k := range r.Alerts {
		if !slices.Contains(all, k) {
			l.Break("alerts["+strconv.Itoa(i)+"]", strings.ToValidUTF8(string(k), "?"), fault.OneOf(names...))
		}
	}
	if r.Alerts != nil && len(r.Alerts) == 0 {
		l.Break("alerts", "[]", fault.RuleOf(AlertsWanted))
	}
}

// PushSecret joins the keys of a browser's subscription, as they are kept.
func PushSecret(p256dh, auth string) string { return p256dh + "." + auth }

// subscribed reports whether a secret holds the keys of a subscription (RFC 8291):
// a point of P-256 and 16 bytes, in base64url.
func subscribed(secret string) bool {
	point, auth, ok := strings.Cut(secret, ".")
	if !ok {
		return false
	}
	key, err := base64.RawURLEncoding.DecodeString(strings.TrimRight(point, "="))
	if err != nil {
		return false
	}
	if _, err := ecdh.P256().NewPublicKey(key); err != nil {
		return false
	}
	salt, err := base64.RawURLEncoding.DecodeString(strings.TrimRight(auth, "="))
	return err == nil && len(salt) == 16
}

// ErrOver marks what ends a recipient for good: a browser has withdrawn its
// subscription.
var ErrOver = errors.New("notify: the recipient is no more")

// mailRule returns the rule that a mail address breaks, or nothing. An address
// literal such as site@[192.0.2.1] is refused: it would reach any host.
func mailRule(address string) *fault.Rule {
	if len(address) > maxMail {
		return broken(fault.Characters(maxMail))
	}
	a, err := mail.ParseAddress(address)
	_, domain, _ := strings.Cut(address, "@")
	if err != nil || a.Address != address || a.Name != "" || strings.ContainsFunc(address, notPrintableASCII) ||
		strings.ContainsAny(domain, "[] ") {
		return broken(fault.RuleOf(MailWanted))
	}
	return nil
}

// webhookRule returns the rule that a webhook's address breaks, or nothing.
// Where the address leads is checked by the channel, when it is dialled.
func webhookRule(address string) *fault.Rule {
	if len(address) > maxURL {
		return broken(fault.Characters(maxURL))
	}
	u, err := url.Parse(address)
	if err != nil || u.Scheme != "http" && u.Scheme != "https" || u.Hostname() == "" || u.User != nil ||
		u.Fragment != "" ||
		strings.ContainsFunc(address, notPrintableASCII) {
		return broken(fault.RuleOf(WebAddressWanted))
	}
	return nil
}

func broken(r fault.Rule) *fault.Rule { return &r }

func notPrintableASCII(r rune) bool { return r < 0x20 || r > 0x7e }
