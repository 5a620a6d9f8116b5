package concrete

import (
	"slices"

	"dryslot/internal/message"
	"dryslot/internal/unit"
)

// Severity is how pressing a rule's finding is.
type Severity string

// The severities.
const (
	Note  Severity = "note"
	Watch Severity = "watch"
	Act   Severity = "act"
)

// RuleFigure is a computed value beside the limit that it is held against.
type RuleFigure struct {
	Name  string  `json:"name"` // with its unit, such as slab_min_c
	Value float64 `json:"value"`
	Limit float64 `json:"limit"`
}

// Rule is one rule of the trade that a pour touches: what was found, against
// what limit, by which document, and what to do.
type Rule struct {
	ID       string      `json:"code"`
	Severity Severity    `json:"severity"`
	Text     string      `json:"text"` // the finding and what to do; worded last
	Figure   *RuleFigure `json:"figure"`
	Source   string      `json:"source"` // with edition; says so where it was recalled from memory; worded last

	Data       []message.Message `json:"text_data"`   // Text's sentences as codes, in order
	SourceData message.Message   `json:"source_data"` // Source as a code

	Hold   bool     `json:"hold"`    // no pour while it stands
	WaterC unit.Opt `json:"water_c"` // mixing water that would put it right, where water can
}

func figure(name string, value, limit float64) *RuleFigure {
	return &RuleFigure{Name: name, Value: value, Limit: limit}
}

func says(m ...message.Message) []message.Message { return m }

// Worded returns the rule with its sentences and its source worded by say.
func (r Rule) Worded(say func(message.Message) string) Rule {
	message.WordAll(&r.Text, &r.Data, say)
	message.Word(&r.Source, &r.SourceData, say)
	return r
}

// Worded returns the rules with their sentences worded by say.
func Worded(rules []Rule, say func(message.Message) string) []Rule {
	out := slices.Clone(rules)
	for i := range out {
		out[i] = out[i].Worded(say)
	}
	return out
}
