package notify

import (
	"fmt"
	"net/mail"
	"net/url"
	"strings"

	"dryslot/internal/fault"
)

// The kinds of recipient.
const (
	Email   = "email"
	Webhook = "webhook"
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
	rule := ""
	switch r.Kind {
	case Email:
		rule = mailRule(r.Address)
	case Webhook:
		rule = webhookRule(r.Address)
	default:
		l.Add("kind", strings.ToValidUTF8(r.Kind, "?"), "must be email or webhook")
	}
	if rule != "" {
		l.Add("address", strings.ToValidUTF8(r.Address, "?"), rule)
	}
	return l.Err("the recipient breaks a rule")
}

// mailRule returns the rule that a mail address breaks, or nothing. An address
// literal such as site@[192.0.2.1] is refused: it would reach any host.
func mailRule(address string) string {
	if len(address) > maxMail {
		return fmt.Sprintf("must have at most %d characters", maxMail)
	}
	a, err := mail.ParseAddress(address)
	_, domain, _ := strings.Cut(address, "@")
	if err != nil || a.Address != address || a.Name != "" || strings.ContainsFunc(address, notPrintableASCII) ||
		strings.ContainsAny(domain, "[] ") {
		return "must be a mail address such as site@example.org, without a name"
	}
	return ""
}

// webhookRule returns the rule that a webhook's address breaks, or nothing.
// Where the address leads is checked by the channel, when it is dialled.
func webhookRule(address string) string {
	if len(address) > maxURL {
		return fmt.Sprintf("must have at most %d characters", maxURL)
	}
	u, err := url.Parse(address)
	if err != nil || u.Scheme != "http" && u.Scheme != "https" || u.Hostname() == "" || u.User != nil || u.Fragment != "" ||
		strings.ContainsFunc(address, notPrintableASCII) {
		return "must be a whole http or https address, without a name, a password or a fragment"
	}
	return ""
}

func notPrintableASCII(r rune) bool { return r < 0x20 || r > 0x7e }
