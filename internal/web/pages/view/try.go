package view

import (
	"dryslot/internal/message"
	"dryslot/internal/planner/job"
	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

// Try is the page that shows how the mornings would be under a change, before
// anything is kept.
type Try struct {
	Frame
	Wrong  []Fault
	Action string
	Back   string
	Lines  []Line
	Table  *Table // nil: nothing was tried yet
}

func (Try) template() string { return "try" }

// TriedCovers are the covers that can be tried.
func TriedCovers() []string { return []string{pour.Plastic, pour.Burlap, pour.Blanket, pour.NoCover} }

// NewTry makes the page; with a result, each coming morning stands as it is
// planned and as it would be.
func NewTry(s Setting, in JobInput, res *job.Result) Try {
	b := jobBuilder{s.Reader, in}
	covers := []Choice{{Value: "", Words: s.say(TryAsPlanned)}}
	for _, c := range b.terms(TriedCovers()...) {
		if c.Value == pour.NoCover {
			c.Words = s.say(TryNoCover)
		}
		covers = append(covers, c)
	}
	var pads []Choice
	for _, p := range s.Project.Pads {
		pads = append(pads, Choice{Value: p.Name, Words: p.Name})
	}
	p := Try{Frame: s.frame(s.say(TryPage), NavJob), Action: s.href("/try"), Back: s.href("/change"), Lines: []Line{
		{"duo", []Field{b.figure("people", FieldPeople), b.text("earliest", JobEarliest)}},
		{"duo", []Field{b.hinted(b.text("water_temp", JobWaterTemp), JobLikeAir), b.choice("cover", TryCover,
			covers...)}},
		{"", []Field{beside(b.choice("pads", TryOnly, pads...), true)}}}}
	p.Wrong = b.summary([]Step{{Blocks: []Block{{Lines: p.Lines}}}})
	if res == nil {
		return p
	}
	p.Table = &Table{Worded: true, Caption: s.say(TryPage),
		Head: []string{s.say(TryMorning), s.say(TryNow), s.say(TryThen)}}
	for _, m := range res.Mornings {
		row := []string{s.Reader.Date(m.Date), "", s.tried(m, res.Plan)}
		for _, was := range s.Mornings {
			if was.Date == m.Date {
				row[1] = s.tried(was, s.Plan)
			}
		}
		p.Table.Rows = append(p.Table.Rows, row)
	}
	return p
}

// tried says a morning in a few words: the verdict, the pads and the chance.
func (s Setting) tried(m job.Morning, plan pour.Plan) string {
	verdict := s.Reader.Term("verdict " + string(m.Verdict))
	n, chance := 0, chanceOf(m, plan, m.Date)
	if p := plan.On(m.Date); p != nil {
		n = len(p.Pads)
	}
	switch {
	case m.Verdict == job.VerdictHold || chance == nil:
		return verdict
	case n == 0:
		return s.say(TryIdle, message.Text("verdict", verdict), message.Chance("", *chance))
	}
	return s.say(TryPads, message.Text("verdict", verdict), message.Count("count", n), message.Chance("", *chance))
}

// chanceOf is the chance that all pads of a morning survive: of those planned,
// else of those possible.
func chanceOf(m job.Morning, plan pour.Plan, date unit.Date) *float64 {
	if p := plan.On(date); p != nil {
		return &p.ChanceUnharmed
	}
	return m.Parts.Rain.ChanceUnharmed
}
