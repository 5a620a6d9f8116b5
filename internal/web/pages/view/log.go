package view

import (
	"strings"
	"time"

	"dryslot/internal/concrete"
	"dryslot/internal/message"
	"dryslot/internal/pour"
	"dryslot/internal/say"
	"dryslot/internal/unit"
)

// Kind is a thing to log.
type Kind struct{ Value, Words string }

// RainOnAll is the kind that logs rain on every pad that it can have harmed:
// whoever taps it in the rain must not have to think of each.
const RainOnAll = "rained_on_all"

// logKinds are the things logged most, in the order of a day.
func logKinds(r say.Reader) []Kind {
	var out []Kind
	for _, k := range []struct {
		value string
		code  message.Code
	}{{"placed", ButtonPlaced}, {"finished", ButtonFinished}, {"stripped", ButtonStripped},
		{RainOnAll, ButtonRainedOnAll}, {"covered", ButtonCovered}, {"uncovered", ButtonUncovered},
		{"formed", ButtonFormed}, {"lost", ButtonLost},
		{"skipped", ButtonSkipped}, {"note", ButtonNote}} {
		out = append(out, Kind{k.value, r.Label(k.code)})
	}
	return out
}

// LogForm is the form for what happened, with the time filled in.
type LogForm struct {
	Titled     bool // it stands under a heading of its own
	Action     string
	Pads       []string
	Pad        string
	When       string // label of the time
	Now        string
	Kinds      []Kind
	WaterLabel string
	RainLabel  string
	Wrong      []string // what was wrong with the last try; the values given stand in the form

	Open                             bool
	Bags, Water, Minutes, Rain, Text string
}

// Log is the page of what happened.
type Log struct {
	Frame
	Headline string
	Answer   []string
	Changes  []string
	Cautions []CautionView
	Form     LogForm
	Entries  []EntryLine
	Learned  []BillRow
	Rate     *RateForm

	PhotoForm *PhotoForm // nil: the reader may log nothing
}

func (Log) template() string { return "log" }

// EntryLine is one log entry in words; Day is set where it begins another date.
type EntryLine struct {
	Day, At, When, Words string
	Effects              []string
	Photos               []PhotoLine
	ID                   string // to undo it by; empty: it can't be undone
	Undo                 string // label of the button
	Void                 bool   // it was undone
}

func (s Setting) logForm(pad string) LogForm {
	r := s.Reader
	if s.Barred.Log {
		return LogForm{}
	}
	f := LogForm{Action: s.href("/log"), Pad: pad, Kinds: logKinds(r),
		When: s.say(LogWhen, message.Name("zone", s.Project.TimeZone)), WaterLabel: r.Label(LogWaterMetric),
		RainLabel: r.Label(LogRainMetric)}
	if r.US {
		f.WaterLabel, f.RainLabel = r.Label(LogWaterUS), r.Label(LogRainUS)
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

// Given is what was sent with the form, to be shown again where it was wrong.
type Given struct {
	Pad, At, Bags, Water, Minutes, Rain, Text string
	Wrong                                     []string
}

// NewLog makes the page; entries are the newest first.
func NewLog(s Setting, entries []pour.LogEntry, given *Given) Log {
	p := Log{Frame: s.frame(s.say(NavLog), NavLog), Form: s.logForm(s.likely())}
	if given != nil {
		f := &p.Form
		f.Pad, f.Bags, f.Water, f.Minutes, f.Rain, f.Text, f.Wrong = given.Pad, given.Bags, given.Water, given.Minutes,
			given.Rain, given.Text, given.Wrong
		if len(given.At) <= len("2006-01-02T15:04:05") { // as it was typed, not as it was tapped
			f.Now = given.At
		}
		f.Open = f.Now+given.Bags+given.Water+given.Minutes+given.Rain+given.Text != ""
	}
	p.Entries = s.entryLines(entries)
	p.Learned = s.learnedLines()
	p.Rate = s.ratings()
	p.PhotoForm = s.photoForm()
	return p
}

// Answered makes the page that follows an accepted entry: what was concluded,
// the new plan in a sentence, and what changed.
func Answered(s Setting, e pour.LogEntry, changes []string, entries []pour.LogEntry) Log {
	p := NewLog(s, entries, nil)
	line := s.entry(e)
	p.Headline = line.Words + "."
	p.Answer = line.Effects
	lost := e.Kind == pour.EntryLost
	for _, f := range e.Effects {
		lost = lost || f.State == pour.Lost
	}
	if lost {
		p.Cautions = s.people(concrete.WhenBreaking)
	}
	if e.Kind == pour.EntryRainedOn && len(e.Effects) == 0 {
		p.Answer = append(p.Answer, s.say(LogNoneSoft))
	}
	if e.Kind == pour.EntryRainedOn && e.RainMM == nil && len(e.Effects) > 0 {
		p.Answer = append(p.Answer, s.say(LogHowMuch))
	}
	p.Changes = changes
	if len(changes) == 0 {
		p.Answer = append(p.Answer, s.say(LogPlanStands))
	} else {
		p.Answer = append(p.Answer, s.say(LogPlanNew))
	}
	if w := s.nextPour(s.Today().AddDays(-1)); w != "" {
		p.Answer = append(p.Answer, w)
	}
	if f := s.finish(); f != "" {
		p.Answer = append(p.Answer, f)
	}
	return p
}

// entryCodes name what an entry says happened.
func entryCodes() map[pour.EntryKind]message.Code {
	return map[pour.EntryKind]message.Code{
		pour.EntryPlaced: EntryPlaced, pour.EntryFinished: EntryFinished, pour.EntryStripped: EntryStripped,
		pour.EntryRainedOn: EntryRainedOn, pour.EntryLost: EntryLost, pour.EntrySkipped: EntrySkipped,
		pour.EntryNote: EntryNote, pour.EntryStarted: EntryStarted, pour.EntryFormed: EntryFormed,
		pour.EntryPlacing: EntryPlacing, pour.EntryCovered: EntryCovered, pour.EntryUncovered: EntryUncovered,
		pour.EntryRainBegan: EntryRainBegan, pour.EntryRainEnded: EntryRainEnded, pour.EntryInspected: EntryInspected,
		pour.EntryRated: EntryRated, pour.EntryUndone: EntryUndone}
}

func (s Setting) entry(e pour.LogEntry) EntryLine {
	said := []string{s.say(entryCodes()[e.Kind], message.Names("pads", e.Names()))}
	add := func(code message.Code, f message.Figure) { said = append(said, s.say(code, f)) }
	if e.Result != "" {
		add(EntryResult, message.Term("result", e.Result))
	}
	if e.Cover != "" {
		add(EntryCover, message.Term("cover", e.Cover))
	}
	if e.Bags != nil {
		add(EntryBags, message.Number("bags", *e.Bags))
	}
	if e.WaterL != nil {
		add(EntryWater, message.Volume("water", *e.WaterL))
	}
	if e.Minutes != nil {
		add(EntryMinutes, message.Duration("took", time.Duration(*e.Minutes*float64(time.Minute))))
	}
	if e.RainMM != nil {
		add(EntryRain, message.Depth("rain", unit.Millimetres(*e.RainMM)))
	}
	if e.By != "" {
		add(entryBy, message.Text("name", e.By))
	}
	line := EntryLine{When: s.Reader.Moment(e.At), Words: upper(strings.Join(said, ", "))}
	if e.Text != "" {
		line.Words += ": " + e.Text
	}
	for _, f := range e.Effects {
		if f.Why != "" {
			line.Effects = append(line.Effects, sentence(s.Reader.SayAll(f.Messages())))
		}
	}
	return line
}
