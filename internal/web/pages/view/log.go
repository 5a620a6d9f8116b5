package view

import (
	"fmt"
	"strings"

	"dryslot/internal/concrete"
	"dryslot/internal/notify"
	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

// LogForm is the form that tells what happened, with the time filled in.
type LogForm struct {
	Titled    bool // it stands under a heading of its own
	Action    string
	Pads      []string
	Pad       string
	ZoneName  string
	Now       string
	Kinds     []Kind
	WaterUnit string
	RainUnit  string
	Wrong     []string // what was wrong with the last try; the values given stand in the form

	Open                             bool
	Bags, Water, Minutes, Rain, Text string
}

// Log is the page of what happened.
type Log struct {
	Frame    Frame
	Headline string
	Answer   []string
	Changes  []string
	Cautions []CautionView
	Form     LogForm
	Entries  []EntryLine
}

func (Log) template() string { return "log" }

// EntryLine is one log entry in words.
type EntryLine struct {
	When, Words string
	Effects     []string
}

func (s Setting) logForm(pad string) LogForm {
	f := LogForm{Action: s.href("/log"), Pad: pad, ZoneName: s.Project.TimeZone,
		Now: s.Now.In(s.Zone).Format("2006-01-02T15:04"), Kinds: logKinds(), WaterUnit: "litres", RainUnit: "mm"}
	if s.Reader().US {
		f.WaterUnit, f.RainUnit = "quarts", "inches"
	}
	for _, p := range s.Project.Pads {
		f.Pads = append(f.Pads, p.Name)
	}
	return f
}

// likely is the pad that is most likely to be logged now: one under way, else
// the first of today's pour; none on another day.
func (s Setting) likely() string {
	for _, rec := range s.Records {
		if rec.State == pour.Placed {
			return rec.Pad
		}
	}
	for _, p := range s.Plan.Pours {
		if p.Date == s.Today() && len(p.Pads) > 0 {
			return p.Pads[0]
		}
	}
	return ""
}

// nextPour is the headline of the next morning with a pour.
func (s Setting) nextPour() string {
	if len(s.Plan.Pours) == 0 {
		return ""
	}
	for _, m := range s.Mornings {
		if m.Date == s.Plan.Pours[0].Date {
			return notify.Headline(m, s.Reader())
		}
	}
	return ""
}

// Given is what was sent with the form, to be shown again where it was wrong.
type Given struct {
	Pad, At, Bags, Water, Minutes, Rain, Text string
	Wrong                                     []string
}

// NewLog makes the page; entries are the newest first.
func NewLog(s Setting, entries []pour.LogEntry, given *Given) Log {
	p := Log{Frame: s.frame("What happened", "What happened"), Headline: "What happened?", Form: s.logForm(s.likely())}
	if given != nil {
		f := &p.Form
		f.Pad, f.Bags, f.Water, f.Minutes, f.Rain, f.Text, f.Wrong = given.Pad, given.Bags, given.Water, given.Minutes, given.Rain, given.Text, given.Wrong
		if given.At != "" {
			f.Now = given.At
		}
		f.Open = given.Bags+given.Water+given.Minutes+given.Rain+given.Text != ""
	}
	for _, e := range entries {
		p.Entries = append(p.Entries, s.entry(e))
	}
	return p
}

// Answered makes the page that follows an accepted entry: what was concluded,
// the new plan in a sentence, and what changed.
func Answered(s Setting, e pour.LogEntry, changes []string, entries []pour.LogEntry) Log {
	p := NewLog(s, entries, nil)
	line := s.entry(e)
	p.Headline = "Noted: " + line.Words + "."
	p.Answer = line.Effects
	lost := e.Kind == pour.EntryLost
	for _, f := range e.Effects {
		lost = lost || f.State == pour.Lost
	}
	if lost {
		p.Cautions = s.people(concrete.WhenBreaking)
	}
	if e.Kind == pour.EntryRainedOn && len(e.Effects) == 0 {
		p.Answer = append(p.Answer, "No pad was soft then.")
	}
	if e.Kind == pour.EntryRainedOn && e.RainMM == nil && len(e.Effects) > 0 {
		p.Answer = append(p.Answer, "If you know how much fell, log it again with the amount: what is to be inspected and what is lost hangs on it.")
	}
	p.Changes = changes
	if len(changes) == 0 {
		p.Answer = append(p.Answer, "The plan stands as it was.")
	} else {
		p.Answer = append(p.Answer, "A new plan follows from it.")
	}
	if w := s.nextPour(); w != "" {
		p.Answer = append(p.Answer, w)
	}
	if f := finish(s.Plan, s.Reader()); f != "" {
		p.Answer = append(p.Answer, f)
	}
	return p
}

func (s Setting) entry(e pour.LogEntry) EntryLine {
	r := s.Reader()
	words := map[pour.EntryKind]string{
		pour.EntryPlaced: "placed", pour.EntryFinished: "finished", pour.EntryStripped: "stripped", pour.EntryRainedOn: "rained on",
		pour.EntryLost: "lost", pour.EntrySkipped: "not poured", pour.EntryNote: "note",
		pour.EntryStarted: "setting up begun", pour.EntryFormed: "formed", pour.EntryPlacing: "being placed",
		pour.EntryCovered: "covered", pour.EntryUncovered: "uncovered", pour.EntryRainBegan: "rain began",
		pour.EntryRainEnded: "rain ended", pour.EntryInspected: "inspected", pour.EntryRated: "rated",
		pour.EntryUndone: "an entry undone"}[e.Kind]
	line := EntryLine{When: r.When(e.At)}
	line.Words = strings.TrimSpace(strings.Join(e.Names(), ", ") + " " + words)
	add := func(v *float64, k float64, us, metric string) {
		if v == nil {
			return
		}
		if r.US {
			line.Words += fmt.Sprintf(", %.3g %s", *v*k, us)
		} else {
			line.Words += fmt.Sprintf(", %.3g %s", *v, metric)
		}
	}
	if e.Result != "" {
		line.Words += ", " + e.Result
	}
	if e.Cover != "" {
		line.Words += ", " + e.Cover
	}
	add(e.Bags, 1, "bags", "bags")
	add(e.WaterL, 1/unit.LitresPerQuart, "quarts of water", "litres of water")
	add(e.Minutes, 1, "minutes", "minutes")
	add(e.RainMM, 1/25.4, "inches of rain", "mm of rain")
	if e.Text != "" {
		line.Words += ": " + e.Text
	}
	for _, f := range e.Effects {
		if f.Why != "" {
			line.Effects = append(line.Effects, sentence(s.Says().SayAll(f.Messages())))
		}
	}
	return line
}
