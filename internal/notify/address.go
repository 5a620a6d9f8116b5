package notify

import (
	"slices"
	"strings"
	"time"

	"dryslot/internal/message"
)

// Codes of what is said of a mail address itself.
const (
	SubjectConfirm message.Code = "subject_confirm" // project
	ConfirmAsk     message.Code = "confirm_ask"     // project
	ConfirmHow     message.Code = "confirm_how"
	ConfirmElse    message.Code = "confirm_else"
	StopHow        message.Code = "stop_how" // project
)

// RecipientState says whether a recipient gets alerts.
type RecipientState string

// The states of a recipient.
const (
	Unconfirmed RecipientState = "unconfirmed" // a mail address that was asked once, and has not answered
	Active      RecipientState = "active"      // gets alerts
	Stopped     RecipientState = "stopped"     // its reader wants no more
)

// State reports whether a recipient gets alerts. Webhooks are not asked: whoever
// does not know of one refuses its messages.
func (r Recipient) State() RecipientState {
	switch {
	case r.Kind != Email:
		return Active
	case !r.StoppedAt.IsZero():
		return Stopped
	case r.ConfirmedAt.IsZero():
		return Unconfirmed
	}
	return Active
}

// Since is from when on a recipient gets alerts.
func (r Recipient) Since() time.Time {
	if r.ConfirmedAt.After(r.CreatedAt) {
		return r.ConfirmedAt
	}
	return r.CreatedAt
}

// Reachable returns the recipients that get alerts.
func Reachable(all []Recipient) []Recipient {
	var out []Recipient
	for _, r := range all {
		if r.State() == Active {
			out = append(out, r)
		}
	}
	return out
}

// ComposeConfirm makes the one message that an address gets before it has
// agreed to alerts. The link is added where it leaves: who added the address
// may read what is kept, and must not agree in its reader's place.
func ComposeConfirm(key, project string, w Wording) Message {
	name := message.Name("project", clean(project))
	var m Message
	m.ID, m.Subject = MessageID(key), capital(w.Say(message.New(SubjectConfirm, name)))
	m.append(Block{{Text: w.Say(message.New(ConfirmAsk, name))}}, Block{{Text: w.Say(message.New(ConfirmElse))}})
	return m
}

// Addressed completes a message to a mail address with the page on which its
// reader agrees to alerts or stops them.
func (m Message) Addressed(kind Kind, page, project string, w Wording) Message {
	m.Stop = page
	m.Blocks = slices.Clone(m.Blocks)
	if kind == Confirm {
		how := Block{{Text: w.Say(message.New(ConfirmHow))}, {Text: page, Link: true}}
		blocks := m.Blocks
		m.Text, m.Blocks = "", nil
		m.append(blocks[:min(1, len(blocks))]...)
		m.append(how)
		m.append(blocks[min(1, len(blocks)):]...)
		return m
	}
	m.append(Block{{Text: w.Say(message.New(StopHow, message.Name("project", clean(project))))},
		{Text: page, Link: true}})
	return m
}

// Letter makes a message that is no alert: about signing in.
func Letter(key, language, subject string, blocks ...Block) Message {
	m := Message{ID: MessageID(key), Subject: capital(subject), Language: language}
	m.append(blocks...)
	return m
}

// append adds blocks to a message, and the same to its text.
func (m *Message) append(blocks ...Block) {
	for _, b := range blocks {
		if m.Text != "" {
			m.Text += "\n"
		}
		m.Text += b.text()
		m.Blocks = append(m.Blocks, b)
	}
}

// Block is lines that stand together.
type Block []Line

// Line is one line of a message before it is broken: one or more sentences.
type Line struct {
	Text string `json:"text"`
	Item bool   `json:"item,omitempty"` // of a list
	Link bool   `json:"link,omitempty"` // an address to open
}

// text is a block as plain text.
func (b Block) text() string {
	var out strings.Builder
	for _, l := range b {
		lead := ""
		if l.Item {
			lead = itemLead
		}
		out.WriteString(wrap(lead, together(l.Text)))
	}
	return out.String()
}

// itemLead is what a line of a list begins with in plain text.
const itemLead = "- "
