package notify

import (
	"net/mail"
	"net/url"
	"strings"

	"dryslot/internal/fault"
	"dryslot/internal/message"
)

// The kinds of recipient.
const (
	Email   = "email"
	Webhook = "webhook"
)

// Codes of what a recipient may be refused for.
const (
	RecipientBreaksRule message.Code = "recipient_breaks_rule"
	MailWanted          message.Code = "mail_wanted"
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
	default:
		l.Break("kind", strings.ToValidUTF8(r.Kind, "?"), fault.OneOf(Email, Webhook))
	}
	if rule != nil {
		l.Break("address", strings.ToValidUTF8(r.Address, "?"), *rule)
	}
	return l.Broken(RecipientBreaksRule)
}

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
	if err != nil || u.Scheme != "http" && u.Scheme != "https" || u.Hostname() == "" || u.User != nil || u.Fragment != "" ||
		strings.ContainsFunc(address, notPrintableASCII) {
		return broken(fault.RuleOf(WebAddressWanted))
	}
	return nil
}

func broken(r fault.Rule) *fault.Rule { return &r }

func notPrintableASCII(r rune) bool { return r < 0x20 || r > 0x7e }
