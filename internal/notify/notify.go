// Package notify owns what to say, when it is due, and the key that makes one
// alert one. It sends nothing: channels do.
//
//	due := notify.Times(project.Alerts, date, plannedStart, zone)
package notify

import (
	"encoding/json"
	"time"

	"dryslot/internal/message"
	"dryslot/internal/unit"
)

// Kind is what an alert is for.
type Kind string

// The kinds of alert.
const (
	Evening Kind = "evening" // the evening before: tomorrow's verdict
	Morning Kind = "morning" // before first light: whether to mix
	Change  Kind = "change"  // a change of plan that a builder would act on
	Test    Kind = "test"    // asked for by the builder
	Confirm Kind = "confirm" // asks the reader of a mail address whether they want alerts
)

// Alert is one word to one recipient. Key is project, kind, local date and
// recipient: one row per key, and every try carries the same message id.
type Alert struct {
	Key       string
	Project   string
	Kind      Kind
	Date      unit.Date // the morning that it is about, in the project's zone
	Recipient string
	Message   Message
	Told      Told // what the message says of its date; its At is zero where that is not known
	DueAt     time.Time

	// Of the day itself: the occasions that the message is about, by Occasion.Name;
	// empty: it is about a plan.
	Occasions []string
	AnyHour   bool // the quiet time does not hold it back
}

// Message is the words of an alert.
type Message struct {
	ID       string // the same at every try: Message-ID and webhook-id are made from it
	Subject  string
	Text     string  // plain text, lines under 72 characters
	Blocks   []Block // the same, for what shows more than text; none: only the text is kept
	Stop     string  // page on which the reader stops alerts; empty: there is none
	Language string  // of the words, as in BCP 47; empty: not known
	Payload  []byte  // JSON for webhooks: the same facts as data

	Urgent  bool        // loud where the channel can be
	Link    string      // to the page of the project; empty: none
	UsedBy  time.Time   // of no use from then on; zero: not known
	At      time.Time   // of the try, by the service's clock
	Actions []DayAction // entries that answer it by one tap, two at most
}

// Sentences are the subject and the text as codes, as the payload has them;
// as stored texts where it has none, since it was made before codes were kept.
func (m Message) Sentences() (subject, text []message.Message) {
	var p struct {
		Data struct {
			Subject []message.Message `json:"subject_data"`
			Text    []message.Message `json:"text_data"`
		} `json:"data"`
	}
	if err := json.Unmarshal(m.Payload, &p); err != nil {
		p.Data.Subject, p.Data.Text = nil, nil // one that can't be read has none
	}
	subject, text = p.Data.Subject, p.Data.Text
	if len(subject) == 0 {
		subject = []message.Message{message.Stored(m.Subject)}
	}
	if len(text) == 0 {
		text = []message.Message{message.Stored(m.Text)}
	}
	return subject, text
}

// Recipient is where alerts go.
type Recipient struct {
	ID      string
	Project string
	Kind    string // email, webhook or push
	Address string
	// a webhook's signing secret, whsec_...; of a mail address the key of its page; of push the subscription's keys
	Secret    string
	Alerts    []Kind // that are wanted; nil: all
	CreatedAt time.Time

	ConfirmedAt time.Time // when the reader of a mail address agreed to alerts; zero: not yet
	StoppedAt   time.Time // when they wanted no more; zero: they do
}
