package view

import (
	"time"

	"dryslot/internal/message"
	"dryslot/internal/notify"
)

// Alerts is the page of who gets the alerts and what became of them.
type Alerts struct {
	Frame
	Headline   string
	Lines      []string
	Wrong      []string
	Action     string
	CrewHref   string
	Address    string
	Recipients []RecipientLine
	Secret     string // of the webhook just added, shown this once
	Sent       []SentLine
}

func (Alerts) template() string { return "alerts" }

// RecipientLine is one recipient. Test is empty where none can be sent.
type RecipientLine struct{ ID, Words, Test, Remove string }

// SentLine is one alert and what became of it, with its text.
type SentLine struct{ Words, Text string }

// NewAlerts makes the page; sent is what was sent, newest first.
func NewAlerts(s Setting, to []RecipientLine, sent []SentLine) Alerts {
	a := s.Project.Alerts
	return Alerts{Frame: s.frame(s.say(AlertsPage), NavAlerts), Headline: s.say(AlertsTitle), Action: s.href("/alerts"), CrewHref: s.href("/crew"),
		Lines: []string{s.say(AlertsWhen, message.Clock("evening", a.EveningAt),
			message.Duration("lead", time.Duration(a.LeadMin)*time.Minute), message.Clock("quiet", a.QuietUntil))},
		Recipients: to, Sent: sent}
}

// Recipient words one recipient.
func (s Setting) Recipient(r notify.Recipient) RecipientLine {
	to := message.Name("address", r.Address)
	code := AlertsByMail
	switch {
	case r.Kind == notify.Webhook:
		code = AlertsByWebhook
	case r.State() == notify.Unconfirmed:
		code = alertsUnconfirmed
	case r.State() == notify.Stopped:
		code = alertsStopped
	}
	line := RecipientLine{ID: r.ID, Words: s.say(code, to), Remove: s.say(AlertsRemoveTo, to)}
	if r.State() == notify.Active {
		line.Test = s.say(AlertsTestTo, to)
	}
	return line
}

// Codes of recipients that get no alerts.
const (
	alertsUnconfirmed message.Code = "alerts_unconfirmed" // address
	alertsStopped     message.Code = "alerts_stopped"     // address
)

// Sent words one alert: when it was due, what became of it and why.
func (s Setting) Sent(due time.Time, state, subject string, reason message.Message, text string) SentLine {
	figures := []message.Figure{message.At("due", due), message.Term("state", state), message.Text("subject", subject)}
	if reason.IsZero() {
		return SentLine{Words: s.say(AlertsLine, figures...), Text: text}
	}
	return SentLine{Words: s.say(AlertsLineWhy, append(figures, message.Within("reason", reason))...), Text: text}
}
