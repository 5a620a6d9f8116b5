package view

import (
	"time"

	"dryslot/internal/concrete"
	"dryslot/internal/message"
	"dryslot/internal/planner/job"
	"dryslot/internal/pour"
)

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
	d := s.standing(pad)
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
