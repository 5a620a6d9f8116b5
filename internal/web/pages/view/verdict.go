package view

import (
	"html/template"
	"strings"
	"time"

	"dryslot/internal/message"
	"dryslot/internal/planner/job"
	"dryslot/internal/pour"
	"dryslot/internal/say"
	"dryslot/internal/unit"
)

// Verdict is the head of a day: a sentence that ends in a numeral, and how sure it is.
type Verdict struct {
	When       string
	Ask        string // what to do; the numeral ends it
	Big, Small string
	Shape      string // of the numeral: empty, care or hold
	CountTo    string // from when the next step can be done, and until when: RFC 3339, for the script
	CountThen  string
	CountAct   string // the step
	Span       string // how long a start may wait
	Lead       string
	Sure       string // the chance, and what of
	SureOf     string
	Why        []string
	Again      string // where to look again, while the first forecast is on its way
	Order      []OrderPad
}

// OrderPad is one pad in the order of placing, with its form's shape.
type OrderPad struct {
	Name, At string
	Style    template.CSS
}

// verdict says what to do on a morning, when, and how sure that is.
func (s Setting) verdict(m job.Morning) Verdict {
	r := s.Reader
	v := Verdict{When: upper(r.Day(m.Date)) + "."}
	if w := sentence(m.Reason); w != "" {
		v.Why = append(v.Why, w)
	}
	switch {
	case m.Score == nil:
		v.Ask = s.say(TodayWaiting)
		if s.Plan.State == pour.AwaitingForecast {
			v.Again = s.href("/day/" + m.Date.String())
		}
		return v
	case m.Verdict == job.VerdictHold:
		v.Big, v.Shape, v.Lead = s.say(TodayHold), "hold", s.nextPour(m.Date)
		return v
	case len(m.Pads) == 0 || m.Window == nil:
		v.Ask, v.Lead = s.say(TodayNothing), s.nextPour(m.Date)
		return v
	}
	n := message.Count("count", len(m.Pads))
	v.Ask = s.say(TodayPour, n)
	if m.Verdict == job.VerdictCare {
		v.Ask, v.Shape = s.say(TodayCare, n), "care"
	}
	v.Big, v.Small = numeral(r, m.Window.Start)
	v.Span = s.say(TodayNoLater)
	if m.Window.LatestStart.After(m.Window.Start) {
		v.Span = s.say(TodayUntil, message.At("latest", m.Window.LatestStart))
	}
	chance := 1.0
	if p := s.Plan.On(m.Date); p != nil {
		chance = p.ChanceUnharmed
	} else if c := m.Parts.Rain.ChanceUnharmed; c != nil {
		chance = *c
	}
	v.Sure, v.SureOf = s.chance(chance), s.say(TodaySurvive, n)
	v.Why = append(v.Why, s.facts(m))
	for _, t := range m.Pads {
		clock, _ := numeral(r, t.PlaceStart)
		v.Order = append(v.Order, OrderPad{Name: t.Pad, At: clock, Style: s.formStyle(t.Pad)})
	}
	if len(v.Order) > mostInOrder {
		v.Order = nil // the drawing and the list have them
	}
	return v
}

// Length is the class of a numeral that is too wide for the largest size.
func (v Verdict) Length() string {
	if (len(v.Big) > 4 || len(v.Small) > len("a.m.")) && v.Shape != "hold" {
		return " long"
	}
	return ""
}

// mostInOrder is how many pads stand side by side on a phone.
const mostInOrder = 8

// formStyle is the shape of a pad's form, 42 pixels wide at most.
func (s Setting) formStyle(name string) template.CSS {
	for _, p := range s.Project.Pads {
		if p.Name == name && p.LengthM > 0 && p.WidthM > 0 {
			ratio := message.Number("", min(max(p.WidthM/p.LengthM, 0.5), 1.2)).Value.String()
			return template.CSS("aspect-ratio:1/" + ratio) //nolint:gosec // a figure
		}
	}
	return ""
}

// numeral is a clock as the page's largest figure, and its half of the day.
func numeral(r say.Reader, t time.Time) (big, small string) {
	big, small, _ = strings.Cut(r.Clock(t), "\u00a0")
	return big, small
}

// nextPour says when pads are poured next after a date; empty: not planned.
func (s Setting) nextPour(after unit.Date) string {
	for _, p := range s.Plan.Pours {
		if after.Before(p.Date) {
			return s.say(TodayNext, message.Date("", p.Date), message.At("start", p.Start),
				message.Count("count", len(p.Pads)), message.Chance("", p.ChanceUnharmed))
		}
	}
	return ""
}
