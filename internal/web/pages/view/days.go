package view

import (
	"html/template"
	"strings"
	"time"

	"dryslot/internal/message"
	"dryslot/internal/planner/job"
	"dryslot/internal/pour"
	"dryslot/internal/unit"
	"dryslot/internal/web/draw"
)

// DayLine is one coming date in words; without Href it stands for several.
type DayLine struct {
	Date, Words, Why, Href string
	Strip                  template.HTML
	Planned                bool // a pour is planned
}

// days lists the coming dates but for one; those at the end on which no pad is left
// stand in one line.
func (s Setting) days(but unit.Date) []DayLine {
	var out []DayLine
	last, known := -1, false
	for i, m := range s.Mornings {
		known = known || m.Score != nil
		if m.Score == nil || m.Verdict == job.VerdictHold || m.PadsPossible > 0 || len(m.Pads) > 0 {
			last = i
		}
	}
	if !known {
		return nil // ten times the same
	}
	for i, m := range s.Mornings {
		line := DayLine{Date: upper(s.Reader.Figure(message.Date("", m.Date))), Words: upper(s.short(m)),
			Why: sentence(m.Reason)}
		switch {
		case m.Date.Before(s.Today()) || m.Date == but || m.Date == s.Today() && !s.pours(m.Date):
		case i > last && i+1 < len(s.Mornings):
			line.Date = s.say(DaysFrom, message.Date("", m.Date))
			return append(out, line)
		default:
			line.Href, line.Planned = s.href("/day/"+m.Date.String()), s.pours(m.Date)
			line.Strip = s.dayStrip(m)
			out = append(out, line)
		}
	}
	return out
}

func (s Setting) dayStrip(m job.Morning) template.HTML {
	var from, until time.Time
	if s.pours(m.Date) && len(m.Pads) > 0 {
		from, until = m.Pads[0].PlaceStart, m.Pads[len(m.Pads)-1].PlaceEnd
	}
	return draw.Strip(hours(m.Chart), from, until)
}

func (s Setting) pours(d unit.Date) bool {
	for _, p := range s.Plan.Pours {
		if p.Date == d {
			return true
		}
	}
	return false
}

// remedy says what a change would make of a morning.
func (s Setting) remedy(m job.Morning, x job.Remedy) string {
	code := map[job.Verdict]message.Code{job.VerdictPour: RemedyPour, job.VerdictCare: RemedyCare,
		job.VerdictHold: RemedyHold}[x.Verdict]
	if x.Verdict == job.VerdictCare && m.Verdict == job.VerdictCare {
		code = RemedyOdds
	}
	return s.say(code, message.Text("change", upper(x.Change)))
}

func (s Setting) padLine(t job.PadTimes) PadLine {
	clocks := func(from, to time.Time) string {
		return s.say(SpanClock, message.At("from", from), message.At("until", to))
	}
	return PadLine{Name: t.Pad, Href: s.padHref(t.Pad),
		Head: s.say(PadLineHead, message.Name("pad", t.Pad), message.Text("place", clocks(t.PlaceStart, t.PlaceEnd))),
		Text: s.say(PadLineText, message.Text("finish", clocks(t.FinishStart, t.FinishEnd)),
			message.Text("set", s.pair(t.InitialSet, t.FinalSet)), message.Text("strip", s.moment(t.StripFrom)),
			message.Text("walk", s.moment(t.WalkFrom)), message.Chance("", t.ChanceUnharmed))}
}

// facts is the second line: the figures most asked for.
func (s Setting) facts(m job.Morning) string {
	var said []string
	if d := m.Daylight; d.FirstLight != nil && d.LastLight != nil {
		said = append(said, s.say(DayLight, message.At("first", *d.FirstLight), message.At("last", *d.LastLight)))
	}
	if t := m.Parts.Temperature; t.AirMinC != nil && t.AirMaxC != nil {
		said = append(said, s.say(DayAir, message.Temperature("low", unit.Celsius(*t.AirMinC)),
			message.Temperature("high", unit.Celsius(*t.AirMaxC))))
	}
	return strings.Join(said, " ")
}

// breakOut says which pads are to be broken out; empty: none.
func (s Setting) breakOut() string {
	var names []string
	for _, rec := range s.Records {
		if rec.State == pour.Lost {
			names = append(names, rec.Pad)
		}
	}
	if len(names) == 0 {
		return ""
	}
	return s.say(DayBreak, message.Names("pads", names))
}

// short is one line of the coming days.
func (s Setting) short(m job.Morning) string {
	for _, p := range s.Plan.Pours {
		if p.Date == m.Date {
			return s.say(DayPlanned, message.Count("count", len(p.Pads)), message.Chance("", p.ChanceUnharmed))
		}
	}
	switch {
	case m.Score == nil:
		return s.say(DayUnknown)
	case m.Verdict == job.VerdictHold:
		return s.say(DayHold)
	case m.PadsPossible == 0:
		return s.say(DayNothing)
	}
	return s.say(DayRoom, message.Count("count", m.PadsPossible))
}

func (s Setting) finish() string {
	p := s.Plan
	switch {
	case p.State == pour.Done:
		return s.say(FinishDone)
	case p.Finish.Likely == nil:
		return ""
	case p.Finish.NineInTen == nil || *p.Finish.NineInTen == *p.Finish.Likely:
		return s.say(FinishLikely, message.Date("", *p.Finish.Likely))
	}
	return s.say(FinishBy, message.Date("", *p.Finish.Likely), message.Date("by", *p.Finish.NineInTen))
}

func (s Setting) moment(t *time.Time) string {
	if t == nil {
		return s.say(BeyondForecast)
	}
	return s.Reader.Moment(*t)
}

func (s Setting) pair(a, b *time.Time) string {
	if a == nil || b == nil {
		return s.say(BeyondForecast)
	}
	return s.say(TwoClocks, message.At("first", *a), message.At("last", *b))
}
