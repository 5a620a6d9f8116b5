package view

import (
	"net/url"
	"strconv"

	"dryslot/internal/message"
	"dryslot/internal/web/form"
)

// PadForm is the page that changes one pad.
type PadForm struct {
	Frame
	Headline string
	Wrong    []Fault
	Action   string
	Back     string
	Revision string
	Lines    []Line
}

func (PadForm) template() string { return "padform" }

// NewPadForm makes the page of the pad of a name.
func NewPadForm(s Setting, name string, in JobInput) PadForm {
	b := jobBuilder{s.Reader, in}
	sets := []Choice{{Value: "", Words: s.say(PadOwnBoards)}}
	for _, f := range s.Project.FormSets {
		sets = append(sets, Choice{Value: f.Name, Words: f.Name})
	}
	p := PadForm{Frame: s.frame(name, NavJob), Headline: s.say(PadChange, message.Text("pad", name)),
		Action: s.href("/pad/" + url.PathEscape(name) + "/change"), Back: s.href("/change"),
		Revision: strconv.FormatInt(s.Project.Revision, 10),
		Lines: []Line{
			{"", []Field{b.text("letter0", JobSet)}},
			{"quad", []Field{b.text("length0", JobLength), b.text("width0", JobWidth), b.text("thick0", JobThick),
				b.text("edge0", JobEdge)}},
			{"duo", []Field{b.text("x0", JobLeft), b.text("y0", JobTop)}},
			{"", []Field{b.choice(form.PadSet, PadForms, sets...)}},
			{"duo", []Field{b.hinted(b.text(form.PadAfter, PadWaitFor), PadWaitHint),
				b.choice(form.PadUntil, PadWaitUntil, b.terms("placed", "finished", "stripped", "cured")...)}},
			{"", []Field{hidden(b, "was0"), hidden(b, "from0"), hidden(b, "across0"), hidden(b, "rows0")}}}}
	p.Wrong = b.summary([]Step{{Blocks: []Block{{Lines: p.Lines}}}})
	if len(in.Wrong) > 0 {
		p.Title = s.say(PageNotYet, message.Text("page", p.Title))
	}
	return p
}
