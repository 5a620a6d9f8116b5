package view

import (
	"fmt"
	"html/template"
	"net/url"
	"strings"
	"time"

	"dryslot/internal/concrete"
	"dryslot/internal/notify"
	"dryslot/internal/planner/job"
	"dryslot/internal/pour"
	"dryslot/internal/unit"
	"dryslot/internal/web/draw"
)

// Pads is the page of all pads, from above.
type Pads struct {
	Frame        Frame
	Headline     string
	SketchNarrow template.HTML
	SketchWide   template.HTML
	Key          []KeyItem
	Rows         []PadRow
	Unplaced     []string
}

func (Pads) template() string { return "pads" }

// PadRow is one pad in the list.
type PadRow struct{ Name, Href, State, When, Size, Bags, After string }

// One is the page of one pad.
type One struct {
	Frame    Frame
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
	r := s.Reader()
	p := Pads{Frame: s.frame("The pads", "The pads"), Key: sketchKey()}
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
		p.Rows = append(p.Rows, PadRow{Name: pad.Name, Href: d.Href, State: stateWords(d), When: d.Label,
			Size: size(pad, r.US), Bags: fmt.Sprintf("%d %s", bags(pad), bagWord(bags(pad))), After: afterWords(pad)})
	}
	p.SketchNarrow = draw.Sketch(drawn, draw.Phone())
	p.SketchWide = draw.Sketch(drawn, draw.Desk())
	p.Headline = padsLeft(left, lost, len(s.Project.Pads))
	p.Unplaced = s.unplaced()
	return p
}

// padsLeft says how many pads are still to pour.
func padsLeft(left, lost, all int) string {
	words := fmt.Sprintf("%s of %d pads still to pour", upper(notify.Count(left)), all)
	switch {
	case left == 0:
		return "Every pad is poured."
	case left == 1 && all == 1:
		words = "The pad is still to pour"
	case left == all:
		words = fmt.Sprintf("All %s pads still to pour", notify.Count(all))
	}
	switch lost {
	case 0:
		return words + "."
	case left:
		return words + ", lost and to be broken out."
	}
	return words + ", " + notify.Count(lost) + " of them lost and to be broken out."
}

// unplaced says why pads have no morning; those with the same reason together.
func (s Setting) unplaced() []string {
	var whys []string
	names := map[string][]string{}
	for _, u := range s.Plan.Unplaced {
		why := ofItself(strings.TrimSuffix(u.Why, "."), u.Pad)
		if b := u.Better; b != nil {
			why += ". Better: " + b.Change
			if b.ChanceUnharmed != nil {
				why += fmt.Sprintf(" (%s not to lose it)", notify.Percent(*b.ChanceUnharmed))
			}
		}
		if names[why] == nil {
			whys = append(whys, why)
		}
		names[why] = append(names[why], u.Pad)
	}
	var out []string
	for _, why := range whys {
		out = append(out, strings.Join(names[why], ", ")+": "+s.Reader().Own(why)+".")
	}
	return out
}

// ofItself has a reason speak of its own pad as it, so that pads with the same
// reason stand together.
func ofItself(why, pad string) string {
	if rest, ok := strings.CutPrefix(why, pad+" "); ok {
		why = "it " + rest
	}
	if rest, ok := strings.CutSuffix(why, " "+pad); ok {
		why = rest + " it"
	}
	return strings.NewReplacer(" "+pad+" would be lost", " it would be lost", " before "+pad+",", " before it,", " takes "+pad+":", " takes it:").Replace(why)
}

func sketchKey() []KeyItem {
	return []KeyItem{{draw.Swatch("waiting"), "waiting"}, {draw.Swatch("formed"), "formed, next to pour"}, {draw.Swatch("soft"), "soft"},
		{draw.Swatch("hardening"), "setting and hardening"}, {draw.Swatch("cured"), "cured"}, {draw.Swatch("lost"), "lost"}}
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
	r, rec := s.Reader(), s.record(pad.Name)
	d := draw.SketchPad{Pad: pad, State: rec.State, Href: s.padHref(pad.Name)}
	n := 0
	for i, p := range s.Plan.Pours {
		for _, name := range p.Pads {
			n++
			if name == pad.Name && (rec.State == pour.Waiting || rec.State == pour.Formed || rec.State == pour.Lost) {
				d.Order, d.Next = n, i == 0
				d.Label = p.Date.Weekday().String()[:3] + " " + shortDate(p.Date, r.US)
			}
		}
	}
	if rec.PlacedAt != nil && d.Order == 0 {
		at := rec.PlacedAt.In(s.Zone)
		d.Label = at.Format("Mon ") + shortDate(unit.DateOf(at, s.Zone), r.US)
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

func shortDate(d unit.Date, us bool) string {
	if us {
		return fmt.Sprintf("%s %d", d.Month.String()[:3], d.Day)
	}
	return fmt.Sprintf("%d %s", d.Day, d.Month.String()[:3])
}

func stateWords(d draw.SketchPad) string {
	switch {
	case d.State == pour.Lost:
		return "lost: break out and pour again"
	case d.Soft && d.State == pour.Placed:
		return "placed, soft"
	case d.Soft && d.State == pour.Finished:
		return "finished, soft"
	case d.State == pour.Waiting && d.Next:
		return "waiting, next to pour"
	}
	return string(d.State)
}

// afterWords names the pads that must come first, with how far they must have
// come: "A1, A3 stripped; B2 cured".
func afterWords(p pour.Pad) string {
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
		out = append(out, strings.Join(names[u], ", ")+" "+string(u))
	}
	return strings.Join(out, "; ")
}

func size(p pour.Pad, us bool) string {
	if us {
		return fmt.Sprintf("%.0f × %.0f × %.1f in", unit.Metres(p.LengthM).Inches(), unit.Metres(p.WidthM).Inches(), unit.Metres(p.ThicknessM).Inches())
	}
	return fmt.Sprintf("%.2f × %.2f m, %.0f mm", p.LengthM, p.WidthM, p.ThicknessM*1000)
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
	r, rec := s.Reader(), s.record(pad.Name)
	d := s.sketchPad(pad)
	p := One{Frame: s.frame("Pad "+pad.Name, ""), Form: s.logForm(pad.Name)}
	p.Form.Titled = true
	for i, k := range p.Form.Kinds {
		if k.Value == RainOnAll {
			p.Form.Kinds[i] = Kind{string(pour.EntryRainedOn), "Rained on"}
		}
	}
	switch {
	case d.Order > 0 && rec.State == pour.Lost:
		p.Headline = fmt.Sprintf("Pad %s was lost: break it out. It is planned again for %s.", pad.Name, d.Label)
	case d.Order > 0:
		p.Headline = fmt.Sprintf("Pad %s is planned for %s.", pad.Name, d.Label)
	case rec.PlacedAt != nil:
		p.Headline = fmt.Sprintf("Pad %s was placed %s: %s.", pad.Name, r.When(*rec.PlacedAt), stateWords(d))
	default:
		p.Headline = fmt.Sprintf("Pad %s is %s and has no morning yet.", pad.Name, stateWords(d))
	}
	p.Lines = append(p.Lines, size(pad, r.US)+", "+fmt.Sprintf("%d %s.", bags, bagWord(bags)))
	if a := afterWords(pad); a != "" {
		p.Lines = append(p.Lines, "Only after "+a+".")
	}
	if rec.Inspect != "" {
		p.Lines = append(p.Lines, s.why("look at it again: "+rec.Inspect))
	}
	if rec.State == pour.Lost {
		p.Cautions = s.people(concrete.WhenBreaking)
	}
	if t := s.times(pad.Name, rec); t != nil {
		finish := "not within the forecast"
		if !t.FinishStart.IsZero() {
			finish = r.When(t.FinishStart) + " to " + r.Clock(t.FinishEnd)
		}
		p.Times = []Fact{{"Finish", finish}, {"Initial set", moment(r, t.InitialSet)}, {"Final set", moment(r, t.FinalSet)},
			{"Strip from", moment(r, t.StripFrom)}, {"Walk on it from", moment(r, t.WalkFrom)}, {"Keep it damp until", moment(r, t.CuredBy)}}
		if rec.PlacedAt == nil {
			p.Times = append([]Fact{{"Place", r.When(t.PlaceStart) + " to " + r.Clock(t.PlaceEnd)}}, p.Times...)
			p.Times = append(p.Times, Fact{"Not lost", percent(t.ChanceUnharmed)}, Fact{"No rain while soft", percent(t.ChanceDry)})
		}
		if t.Reason != "" {
			p.Lines = append(p.Lines, s.why(t.Reason))
		}
	}
	for _, f := range []struct {
		name string
		at   *time.Time
	}{{"Logged: placed", rec.PlacedAt}, {"Logged: finished", rec.FinishedAt}, {"Logged: stripped", rec.StrippedAt}, {"Logged: lost", rec.LostAt}} {
		if f.at != nil {
			p.Times = append(p.Times, Fact{f.name, r.When(*f.at)})
		}
	}
	return p
}

func bagWord(n int) string {
	if n == 1 {
		return "bag"
	}
	return "bags"
}
