package view

import "fmt"

// Word is the page of where alerts go and what became of them.
type Word struct {
	Frame      Frame
	Headline   string
	Lines      []string
	Wrong      []string
	Action     string
	Address    string
	Recipients []RecipientLine
	Secret     string // of the webhook just added, shown this once
	Sent       []SentLine
}

func (Word) template() string { return "word" }

// RecipientLine is one recipient.
type RecipientLine struct{ ID, Words string }

// SentLine is one alert and what became of it, with its text.
type SentLine struct{ Words, Text string }

// NewWord makes the page; sent is what was sent, in words, newest first.
func NewWord(s Setting, to []RecipientLine, sent []SentLine) Word {
	a := s.Project.Alerts
	return Word{Frame: s.frame("Word before first light", "Alerts"), Headline: "Where should word go?", Action: s.href("/alerts"),
		Lines: []string{fmt.Sprintf("It comes at %s the evening before, and %d minutes before a planned start, but not before %s; and at once when the plan of a day that you were told about changes.",
			a.EveningAt, a.LeadMin, a.QuietUntil)}, Recipients: to, Sent: sent}
}
