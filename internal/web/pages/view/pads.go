package view

import (
	"html/template"
	"net/url"
	"slices"
	"strings"
	"time"

	"dryslot/internal/concrete"
	"dryslot/internal/message"
	"dryslot/internal/planner/job"
	"dryslot/internal/pour"
	"dryslot/internal/say"
	"dryslot/internal/unit"
	"dryslot/internal/web/draw"
)

// Pads is the page of all pads, from above.
type Pads struct {
	Frame
	Headline     string
	SketchNarrow template.HTML
	SketchWide   template.HTML
	Key          []KeyItem
	Rows         []PadRow
	Unplaced     []string
}

func (Pads) template() string { return "pads" }

// PadRow is one pad in the list.
type PadRow struct{ Name, Href, Head, Size, After string }

// One is the page of one pad.
type One struct {
	Frame
	Headline string
	Lines    []string
	Times    []Fact
	Cautions []CautionView
	Form     LogForm
}

func (One) template() string { return "pad" }

// Fact is a name with its value.
type Fact struct{ Name, Value string }

// NewPads makes the page of all pads. bags gives each pad's bags.
func NewPads(s Setting, bags func(pour.Pad) int) Pads {
	r := s.Reader
	p := Pads{Frame: s.frame(s.say(NavPads), NavPads), Key: sketchKey(r)}
	var drawn []draw.SketchPad
	left, lost := 0, 0
	for _, pad := range s.Project.Pads {
		d := s.sketchPad(pad)
		drawn = append(drawn, d)
		if d.State == pour.Waiting || d.State == pour.Formed || d.State == pour.Lost {
			left++
		}
		if d.State == pour.Lost {
			lost++
		}
		p.Rows = append(p.Rows, s.row(pad, d, bags(pad)))
	}
	p.SketchNarrow = draw.Sketch(drawn, r, draw.Phone())
	p.SketchWide = draw.Sketch(drawn, r, draw.Desk())
	p.Headline = s.padsLeft(left, lost, len(s.Project.Pads))
	p.Unplaced = s.unplaced()
	return p
}

func (s Setting) row(pad pour.Pad, d draw.SketchPad, bags int) PadRow {
	row := PadRow{Name: pad.Name, Href: d.Href, Size: s.size(pad, bags)}
	name, state := message.Name("pad", pad.Name), message.Text("state", s.stateWords(d))
	row.Head = s.say(PadRowHead, name, state)
	if d.Label != "" {
		row.Head = s.say(PadRowWhen, name, state, message.Text("when", d.Label))
	}
	if a := s.afterWords(pad); a != "" {
		row.After = s.say(PadAfter, message.Text("text", a))
	}
	return row
}

// padsLeft says how many pads are still to pour.
func (s Setting) padsLeft(left, lost, all int) string {
	if left == 0 {
		return s.say(FinishDone)
	}
	words := s.say(PadsLeft, message.Count("left", left), message.Count("all", all))
	if left == all {
		words = s.say(PadsAllLeft, message.Count("all", all))
	}
	words = upper(words)
	if lost > 0 {
		words += " " + upper(s.say(PadsLost, message.Count("lost", lost)))
	}
	return words
}

// unplaced says why pads have no morning; those with the same reason together.
func (s Setting) unplaced() []string {
	var whys []string
	names := map[string][]string{}
	for _, u := range s.Plan.Unplaced {
		why := sentence(s.Reader.Say(ofThePad(u.WhyData, u.Pad)))
		if b := u.Better; b != nil && b.ChanceUnharmed != nil {
			why += " " + s.say(PadBetterChance, message.Text("change", b.Change), message.Chance("", *b.ChanceUnharmed))
		} else if b != nil {
			why += " " + s.say(PadBetter, message.Text("change", b.Change))
		}
		if names[why] == nil {
			whys = append(whys, why)
		}
		names[why] = append(names[why], u.Pad)
	}
	var out []string
	for _, why := range whys {
		out = append(out, s.say(PadUnplaced, message.Names("pads", names[why]), message.Text("text", why)))
	}
	return out
}

// ofThePad puts the words "the pad" in place of the pad's name, so that pads
// with the same reason can stand together.
func ofThePad(why message.Message, pad string) message.Message {
	out := message.Message{Code: why.Code, Figures: slices.Clone(why.Figures)}
	for i, f := range out.Figures {
		switch v := f.Value.(type) {
		case message.Verbatim:
			if f.Name == "pad" && string(v) == pad {
				out.Figures[i].Value = message.TermOf("the pad")
			}
		case message.Part:
			out.Figures[i].Value = message.Part(ofThePad(message.Message(v), pad))
		}
	}
	return out
}

func sketchKey(r say.Reader) []KeyItem {
	return []KeyItem{{draw.Swatch("waiting"), r.Label(SketchWaiting)}, {draw.Swatch("formed"), r.Label(SketchFormed)},
		{draw.Swatch("soft"), r.Label(SketchSoft)}, {draw.Swatch("hardening"), r.Label(SketchHardening)},
		{draw.Swatch("cured"), r.Label(SketchCured)}, {draw.Swatch("lost"), r.Label(SketchLost)}}
}

func (s Setting) record(name string) pour.PadRecord {
	for _, r := range s.Records {
		if r.Pad == name {
			return r
		}
	}
	return pour.PadRecord{Pad: name, State: pour.Waiting}
}

// sketchPad puts together what the log and the plan say of a pad.
func (s Setting) sketchPad(pad pour.Pad) draw.SketchPad {
	rec := s.record(pad.Name)
	d := draw.SketchPad{Pad: pad, State: rec.State, Href: s.padHref(pad.Name)}
	n := 0
	for i, p := range s.Plan.Pours {
		for _, name := range p.Pads {
			n++
			if name == pad.Name && (rec.State == pour.Waiting || rec.State == pour.Formed || rec.State == pour.Lost) {
				d.Order, d.Next = n, i == 0
				d.Label = s.Reader.Date(p.Date)
			}
		}
	}
	if rec.PlacedAt != nil && d.Order == 0 {
		d.Label = s.Reader.Date(unit.DateOf(*rec.PlacedAt, s.Zone))
		t := s.times(pad.Name, rec)
		d.Soft = t == nil || t.FinalSet == nil || s.Now.Before(*t.FinalSet)
		if s.Now.Sub(*rec.PlacedAt) > 48*time.Hour {
			d.Soft = false // no concrete that set at all is soft after two days
		}
	}
	return d
}

// padHref is the address of a pad's page. Browsers take "." and ".." for a way
// up, however they are written: those pads stand in the list only.
func (s Setting) padHref(name string) string {
	if name == "." || name == ".." {
		return s.href("/pads")
	}
	return s.href("/pad/" + url.PathEscape(name))
}

// times returns the times of a pad: from its logged placing, else those of the
// morning on which it is planned.
func (s Setting) times(name string, rec pour.PadRecord) *job.PadTimes {
	if rec.PlacedAt != nil {
		for i := range s.Standing {
			if s.Standing[i].Pad == name {
				return &s.Standing[i]
			}
		}
		return nil
	}
	for _, m := range s.Mornings {
		for i := range m.Pads {
			if m.Pads[i].Pad == name && s.planned(m.Date, name) {
				return &m.Pads[i]
			}
		}
	}
	return nil
}

func (s Setting) planned(d unit.Date, name string) bool {
	for _, p := range s.Plan.Pours {
		for _, n := range p.Pads {
			if p.Date == d && n == name {
				return true
			}
		}
	}
	return false
}

func (s Setting) stateWords(d draw.SketchPad) string {
	switch {
	case d.State == pour.Lost:
		return s.say(StateLostAgain)
	case d.Soft && d.State == pour.Placed:
		return s.say(StatePlacedSoft)
	case d.Soft && d.State == pour.Finished:
		return s.say(StateFinishedSoft)
	case d.State == pour.Waiting && d.Next:
		return s.say(StateNext)
	}
	return s.Reader.Term(string(d.State))
}

// afterWords names the pads that must come first, with how far they must have
// come: "A1, A3 stripped; B2 cured".
func (s Setting) afterWords(p pour.Pad) string {
	var untils []pour.State
	names := map[pour.State][]string{}
	for _, a := range p.After {
		if names[a.Until] == nil {
			untils = append(untils, a.Until)
		}
		names[a.Until] = append(names[a.Until], a.Pad)
	}
	var out []string
	for _, u := range untils {
		out = append(out, s.say(PadUntil, message.Names("pads", names[u]), message.Term("until", string(u))))
	}
	return strings.Join(out, "; ")
}

// size says how large a pad is and how many bags it takes.
func (s Setting) size(p pour.Pad, bags int) string {
	return s.say(PadSize, message.Length("length", unit.Metres(p.LengthM)), message.Length("width", unit.Metres(p.WidthM)),
		message.Length("thickness", unit.Metres(p.ThicknessM))) + ", " + s.say(EntryBags, message.Count("bags", bags)) + "."
}

// NewOne makes the page of one pad. ok is false where there is no such pad.
func NewOne(s Setting, name string, bags func(pour.Pad) int) (page One, ok bool) {
	for _, pad := range s.Project.Pads {
		if pad.Name != name {
			continue
		}
		return s.one(pad, bags(pad)), true
	}
	return One{}, false
}

func (s Setting) one(pad pour.Pad, bags int) One {
	rec := s.record(pad.Name)
	d := s.sketchPad(pad)
	name := message.Name("pad", pad.Name)
	p := One{Frame: s.frame(s.say(PadTitle, name), ""), Form: s.logForm(pad.Name)}
	p.Form.Titled = true
	for i, k := range p.Form.Kinds {
		if k.Value == RainOnAll {
			p.Form.Kinds[i] = Kind{string(pour.EntryRainedOn), s.say(ButtonRainedOn)}
		}
	}
	when, state := message.Text("when", d.Label), message.Text("state", s.stateWords(d))
	switch {
	case d.Order > 0 && rec.State == pour.Lost:
		p.Headline = s.say(PadAgain, name, when)
	case d.Order > 0:
		p.Headline = s.say(PadPlanned, name, when)
	case rec.PlacedAt != nil:
		p.Headline = s.say(PadPlaced, name, message.At("placed", *rec.PlacedAt), state)
	default:
		p.Headline = s.say(PadIdle, name, state)
	}
	p.Lines = append(p.Lines, s.size(pad, bags))
	if a := s.afterWords(pad); a != "" {
		p.Lines = append(p.Lines, s.say(PadOnlyAfter, message.Text("text", a)))
	}
	if rec.Inspect != "" {
		p.Lines = append(p.Lines, s.inspect(rec))
	}
	if rec.State == pour.Lost {
		p.Cautions = s.people(concrete.WhenBreaking)
	}
	t := s.times(pad.Name, rec)
	p.Times = s.padFacts(rec, t)
	if t != nil && t.Reason != "" {
		p.Lines = append(p.Lines, sentence(t.Reason))
	}
	return p
}

// inspect says why to look at a pad again.
func (s Setting) inspect(rec pour.PadRecord) string {
	if !rec.InspectData.IsZero() {
		return s.Reader.Say(rec.InspectData)
	}
	return sentence(rec.Inspect)
}

// padFacts are a pad's times: those to come, then those logged.
func (s Setting) padFacts(rec pour.PadRecord, t *job.PadTimes) []Fact {
	var out []Fact
	add := func(code message.Code, value string) { out = append(out, Fact{s.say(code), value}) }
	span := func(from, to time.Time) string {
		return s.say(SpanMoment, message.At("from", from), message.At("until", to))
	}
	if t != nil {
		if rec.PlacedAt == nil {
			add(FactPlace, span(t.PlaceStart, t.PlaceEnd))
		}
		finish := s.say(BeyondForecast)
		if !t.FinishStart.IsZero() {
			finish = span(t.FinishStart, t.FinishEnd)
		}
		add(FactFinish, finish)
		add(FactInitial, s.moment(t.InitialSet))
		add(FactFinal, s.moment(t.FinalSet))
		add(FactStrip, s.moment(t.StripFrom))
		add(FactWalk, s.moment(t.WalkFrom))
		add(FactDamp, s.moment(t.CuredBy))
		if rec.PlacedAt == nil {
			add(FactSurvives, s.chance(t.ChanceUnharmed))
			add(FactDry, s.chance(t.ChanceDry))
		}
	}
	for _, f := range []struct {
		code message.Code
		at   *time.Time
	}{{FactWasPlaced, rec.PlacedAt}, {FactWasFinished, rec.FinishedAt}, {FactWasStripped, rec.StrippedAt},
		{FactWasLost, rec.LostAt}} {
		if f.at != nil {
			add(f.code, s.Reader.Moment(*f.at))
		}
	}
	return out
}
