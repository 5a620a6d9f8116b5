package view

import (
	"html/template"
	"net/url"
	"slices"
	"strings"
	"time"

	"dryslot/internal/history"
	"dryslot/internal/message"
	"dryslot/internal/planner/job"
	"dryslot/internal/pour"
	"dryslot/internal/today"
	"dryslot/internal/unit"
	"dryslot/internal/web/draw"
)

// Pads is the page of all pads, from above: pads are picked on it and logged together.
type Pads struct {
	Frame
	Headline string
	Plans    []PlanView // for a phone and for a desk; the pads are listed where neither fits
	Flow     []draw.Spot
	Key      []KeyItem
	Rows     []PadRow
	Unplaced []string
	Follows  Follows
	Kinds    []Button
	Agos     []Ago
	LogHref  string
	Undo     *UndoBar
}

func (Pads) template() string { return "pads" }

// PlanView is a plan for one width.
type PlanView struct {
	Class string
	draw.Plan
}

// KeyItem explains one hatch.
type KeyItem struct {
	Mark  template.HTML
	Words string
}

// PadRow is one pad in the list.
type PadRow struct{ Name, Href, Head, Size, After string }

// Ago is how long ago something happened, to choose from.
type Ago struct {
	Minutes int
	Words   string
	Chosen  bool
}

// NewPads makes the page of all pads. bags gives each pad's bags.
func NewPads(s Setting, bags func(pour.Pad) int) Pads {
	p := Pads{Frame: s.frame(s.say(NavPads), NavPads), LogHref: s.href("/log"), Undo: s.undoBar(),
		Follows: s.follows(func(today.Next) bool { return true }), Agos: s.agos()}
	if p.Undo != nil {
		p.Undo.Back = "pads"
	}
	var drawn []draw.PlanPad
	left, lost := 0, 0
	seen := map[history.Phase]bool{}
	for _, pad := range s.Project.Pads {
		d := s.standing(pad)
		seen[d.Phase] = true
		drawn = append(drawn, draw.PlanPad{Pad: pad, Phase: d.Phase, Label: d.Label})
		if d.State == pour.Waiting || d.State == pour.Formed || d.State == pour.Lost {
			left++
		}
		if d.State == pour.Lost {
			lost++
		}
		p.Rows = append(p.Rows, s.row(pad, d, bags(pad)))
	}
	narrow, fits := draw.PlanOf(drawn, 358)
	wide, also := draw.PlanOf(drawn, 800)
	if fits && also {
		p.Plans = []PlanView{{"narrow", narrow}, {"wide", wide}}
	} else {
		for _, d := range drawn {
			p.Flow = append(p.Flow, draw.Spot{Name: d.Name, Label: d.Label})
		}
	}
	for _, ph := range []struct {
		phase history.Phase
		code  message.Code
	}{{history.Waiting, PhaseWaiting}, {history.Formed, PhaseFormed}, {history.Soft, PhaseSoft},
		{history.Setting, PhaseSetting},
		{history.Stripped, PhaseStripped}, {history.Cured, PhaseCured}, {history.Lost, PhaseLost}} {
		if seen[ph.phase] || ph.phase == history.Setting && seen[history.Hard] {
			p.Key = append(p.Key, KeyItem{draw.PadMark(ph.phase), s.say(ph.code)})
		}
	}
	for _, k := range []struct {
		kind pour.EntryKind
		code message.Code
	}{{pour.EntryPlaced, ButtonPlaced}, {pour.EntryFinished, ButtonFinished}, {pour.EntryStripped, ButtonStripped},
		{pour.EntryCovered, ButtonCovered}, {pour.EntryUncovered, ButtonUncovered},
		{pour.EntryRainedOn, ButtonRainedOn},
		{pour.EntryFormed, ButtonFormed}, {pour.EntryLost, ButtonLost}} {
		p.Kinds = append(p.Kinds, s.hands(Button{Kind: string(k.kind), Words: s.say(k.code)})...)
	}
	p.Headline = s.padsLeft(left, lost, len(s.Project.Pads))
	p.Unplaced = s.unplaced()
	return p
}

// agos are the times that a tap can give without a clock being set.
func (s Setting) agos() []Ago {
	out := []Ago{{0, s.say(AgoNow), true}}
	for _, n := range []int{10, 20, 40} {
		out = append(out, Ago{Minutes: n, Words: s.say(AgoMinutes,
			message.Duration("ago", time.Duration(n)*time.Minute))})
	}
	return out
}

func (s Setting) row(pad pour.Pad, d padStanding, bags int) PadRow {
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
		why := sentence(s.Reader.Say(ofThePad(message.OrStored(u.WhyData, u.Why), u.Pad)))
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

func (s Setting) record(name string) pour.PadRecord {
	for _, r := range s.Records {
		if r.Pad == name {
			return r
		}
	}
	return pour.PadRecord{Pad: name, State: pour.Waiting}
}

// padStanding is what the log and the plan say of a pad.
type padStanding struct {
	pour.Pad
	State pour.State
	Phase history.Phase
	Soft  bool   // placed or finished, and not yet at final set
	Next  bool   // in the next pour: its form is up
	Order int    // place in the plan, from 1; 0: done, or unplaced
	Label string // date of the pour, or of the placing
	Href  string
}

func (s Setting) standing(pad pour.Pad) padStanding {
	rec := s.record(pad.Name)
	d := padStanding{Pad: pad, State: rec.State, Href: s.padHref(pad.Name)}
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
	d.Phase = s.phase(d)
	return d
}

// phase is a pad's of this minute where the page asked for it, else as its state
// gives it.
func (s Setting) phase(d padStanding) history.Phase {
	for _, x := range s.Live.Pads {
		if x.Pad == d.Name {
			return x.Phase
		}
	}
	switch d.State {
	case pour.Formed:
		return history.Formed
	case pour.Placed, pour.Finished:
		if d.Soft {
			return history.Soft
		}
		return history.Hard
	case pour.Stripped:
		return history.Stripped
	case pour.Cured:
		return history.Cured
	case pour.Lost:
		return history.Lost
	}
	return history.Waiting
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

func (s Setting) stateWords(d padStanding) string {
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
		out = append(out, s.say(PadUntil, message.Names("pads", names[u]), message.Term("until", "until "+string(u))))
	}
	return strings.Join(out, "; ")
}

// size says how large a pad is and how many bags it takes.
func (s Setting) size(p pour.Pad, bags int) string {
	return s.say(PadSize, message.Length("length", unit.Metres(p.LengthM)),
		message.Length("width", unit.Metres(p.WidthM)), message.Length("thickness", unit.Metres(p.ThicknessM))) + ", " +
		s.say(EntryBags, message.Count("bags", bags)) + "."
}
