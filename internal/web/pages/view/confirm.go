package view

import (
	"slices"
	"strings"

	"dryslot/internal/history"
	"dryslot/internal/message"
	"dryslot/internal/pour"
)

// Codes of what is asked after a day. Each carries the figures named beside it.
const (
	wentAsk      message.Code = "went_ask"
	wentTaken    message.Code = "went_taken"    // pads
	wentPlaced   message.Code = "went_placed"   // at
	wentFinished message.Code = "went_finished" // at
)

// AsPlanned asks on the page of today whether what was not logged went as planned.
type AsPlanned struct {
	Words, Action string
	Pads          []string
}

// Confirm is the page that asks it of each pad.
type Confirm struct {
	Frame
	Action string
	Rows   []ConfirmRow
}

// ConfirmRow is one pad with what is taken to have been done to it.
type ConfirmRow struct{ Pad, Words string }

func (Confirm) template() string { return "confirm" }

// proposed are the entries that would confirm the day.
func (s Setting) proposed() []pour.LogEntry {
	return history.State{Questions: s.Live.Questions}.Proposed()
}

// asPlanned asks about several steps at once; nil: there are not several.
func (s Setting) asPlanned() *AsPlanned {
	all := s.proposed()
	if len(all) < 2 {
		return nil
	}
	p := &AsPlanned{Action: s.href("/confirm")}
	for _, e := range all {
		if !slices.Contains(p.Pads, e.Pad) {
			p.Pads = append(p.Pads, e.Pad)
		}
	}
	p.Words = s.say(wentTaken, message.Names("pads", p.Pads))
	return p
}

// alone reports whether a question is asked by itself, and not with others on the
// page that confirms them together.
func (s Setting) alone(q history.Question) bool {
	return q.Ask != history.WasPlaced && q.Ask != history.WasFinished || len(s.proposed()) < 2
}

// NewConfirm makes the page.
func NewConfirm(s Setting) Confirm {
	p := Confirm{Frame: s.frame(s.say(wentAsk), NavNext), Action: s.href("/confirm")}
	words := map[string][]string{}
	for _, e := range s.proposed() {
		if words[e.Pad] == nil {
			p.Rows = append(p.Rows, ConfirmRow{Pad: e.Pad})
		}
		code := wentPlaced
		if e.Kind == pour.EntryFinished {
			code = wentFinished
		}
		words[e.Pad] = append(words[e.Pad], s.say(code, message.At("", e.At)))
	}
	for i, r := range p.Rows {
		p.Rows[i].Words = upper(strings.Join(words[r.Pad], ", "))
	}
	return p
}
