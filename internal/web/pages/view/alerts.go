package view

import (
	"html/template"
	"slices"
	"time"

	"dryslot/internal/message"
	"dryslot/internal/notify"
	"dryslot/internal/unit"
	"dryslot/internal/web/draw"
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
	Groups     []Choice // of kinds of alert, for the next recipient
	Push       string   // the key that a browser subscribes with; empty: it can't
	Calendar   string   // address of the pours' calendar
	Secret     string   // of the webhook just added, shown this once
	Sent       []SentLine

	NightNarrow, NightWide template.HTML
}

func (Alerts) template() string { return "alerts" }

// RecipientLine is one recipient. Test is empty where none can be sent.
type RecipientLine struct {
	ID, Name, Words, Test, Remove string
	Gets                          []string
	Groups                        []Choice // of kinds of alert, to choose from
	Choose                        string   // label of its form
	Wrong                         []string // with what was chosen last
}

// SentLine is one alert and what became of it, with its text.
type SentLine struct{ At, Subject, State, Text string }

// AlertGroup is a group of alerts that a recipient can choose.
type AlertGroup struct {
	Value string
	Kinds []notify.Kind
	code  message.Code
}

// AlertGroups are the groups, which together hold each kind once.
func AlertGroups() []AlertGroup {
	plan := []notify.Kind{notify.Evening, notify.Change}
	morning := []notify.Kind{notify.Morning, notify.NotStarted}
	care := []notify.Kind{notify.Strip, notify.Damp, notify.Uncover}
	var pour []notify.Kind
	for _, k := range notify.Kinds() {
		if !slices.Contains(slices.Concat(plan, morning, care), k) {
			pour = append(pour, k)
		}
	}
	return []AlertGroup{{"plan", plan, alertsPlan}, {"morning", morning, alertsMorning}, {"pour", pour, alertsPour},
		{"care", care, alertsCare}}
}

// Chosen are the kinds of some groups; nil, which stands for all, where no group
// is left out.
func Chosen(groups []string) []notify.Kind {
	out := []notify.Kind{}
	all := true
	for _, g := range AlertGroups() {
		if slices.Contains(groups, g.Value) {
			out = append(out, g.Kinds...)
		} else {
			all = false
		}
	}
	if all {
		return nil
	}
	return out
}

// NewAlerts makes the page; sent is what was sent, newest first.
func NewAlerts(s Setting, to []RecipientLine, sent []SentLine) Alerts {
	p := s.alerts(to, sent)
	for _, g := range AlertGroups() {
		p.Groups = append(p.Groups, Choice{Value: g.Value, Words: s.say(g.code), Chosen: true})
	}
	for _, x := range s.Plan.Pours {
		if date := unit.DateOf(x.Start, s.Zone); s.Now.Before(x.Start) {
			wake := x.Start.Add(-time.Duration(s.Project.Alerts.LeadMin) * time.Minute)
			if quiet := date.At(s.Project.Alerts.QuietUntil, s.Zone); wake.Before(quiet) {
				wake = quiet
			}
			n := draw.Night{Evening: date.AddDays(-1).At(s.Project.Alerts.EveningAt, s.Zone), WakeUp: wake,
				Start: x.Start, Reader: s.Reader}
			if n.Evening.Before(n.WakeUp) && n.WakeUp.Before(n.Start) {
				p.NightNarrow, p.NightWide = n.Draw(false), n.Draw(true)
			}
			break
		}
	}
	return p
}

func (s Setting) alerts(to []RecipientLine, sent []SentLine) Alerts {
	a := s.Project.Alerts
	return Alerts{Frame: s.frame(s.say(AlertsPage), NavAlerts), Headline: s.say(AlertsTitle), Action: s.href("/alerts"),
		CrewHref: s.href("/crew"), Lines: []string{s.say(AlertsWhen, message.Clock("evening", a.EveningAt),
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
	case r.Kind == notify.Push:
		code = alertsByPush
	case r.State() == notify.Unconfirmed:
		code = alertsUnconfirmed
	case r.State() == notify.Stopped:
		code = alertsStopped
	}
	line := RecipientLine{ID: r.ID, Name: r.Address, Words: s.say(code), Remove: s.say(AlertsRemoveTo, to)}
	if r.Kind == notify.Push {
		line.Name = s.say(alertsBrowser)
		to = message.Name("address", line.Name)
		line.Remove = s.say(AlertsRemoveTo, to)
	}
	line.Choose = s.say(alertsChooseFor, to)
	for _, g := range AlertGroups() {
		wants := slices.ContainsFunc(g.Kinds, r.Wants)
		if r.State() == notify.Active && wants {
			line.Gets = append(line.Gets, s.say(g.code))
		}
		line.Groups = append(line.Groups, Choice{Value: g.Value, Words: s.say(g.code), Chosen: wants})
	}
	if r.State() == notify.Stopped {
		line.Groups = nil // it wants none
	}
	if r.State() == notify.Active {
		line.Test = s.say(AlertsTestTo, to)
	}
	return line
}

// Codes of how a recipient gets alerts, and which.
const (
	alertsStateWhy    message.Code = "alerts_state_why" // state_term, reason
	alertsByPush      message.Code = "alerts_by_push"
	alertsBrowser     message.Code = "alerts_browser"
	alertsChooseFor   message.Code = "alerts_choose_for" // address
	alertsPlan        message.Code = "alerts_plan"
	alertsMorning     message.Code = "alerts_morning"
	alertsPour        message.Code = "alerts_pour"
	alertsCare        message.Code = "alerts_care"
	alertsUnconfirmed message.Code = "alerts_unconfirmed"
	alertsStopped     message.Code = "alerts_stopped"
)

// Sent words one alert: when it was due, what became of it and why.
func (s Setting) Sent(due time.Time, state, subject string, reason message.Message, text string) SentLine {
	line := SentLine{At: s.Reader.Moment(due), Subject: subject, State: s.Reader.Term(state), Text: text}
	if !reason.IsZero() {
		line.State = s.say(alertsStateWhy, message.Term("state", state), message.Within("reason", reason))
	}
	return line
}
