package view

import (
	"html/template"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"dryslot/internal/message"
	"dryslot/internal/place"
	"dryslot/internal/pour"
	"dryslot/internal/say"
	"dryslot/internal/web/draw"
	"dryslot/internal/web/form"
)

// JobForm is the page that sets a job up, and the one that changes it.
type JobForm struct {
	Frame
	Headline, Lead string
	Wrong          []Fault
	Action         string
	Revision       int64 // that was read, 0 of a new job: a change of another one is refused
	Steps          []Step
	Take           Take
	Button         string
	Try            *Link // to try a change before it is kept; nil: of a new job
	Removal        bool  // the job can be removed here
}

func (JobForm) template() string { return "jobform" }

// Step is a numbered part of the form.
type Step struct {
	N       int
	Caption string
	Hint    string
	Here    bool // the phone can say where it is
	Blocks  []Block
	Add     *Press
	Link    *Link
	Sketch  template.HTML
}

// Block is fields that belong together: a row of pads, say.
type Block struct {
	Legend string // empty: none
	Folded string // what opens it; empty: it stands open
	Open   bool   // something in it is wrong
	Lines  []Line
	More   *Block // what is asked for less often
	Drop   *Press
}

// Line is fields beside each other.
type Line struct {
	Class  string // how many stand beside each other, as the style sheet calls it
	Fields []Field
}

// Press is a button that changes the form and keeps nothing.
type Press struct{ Do, Words, Label string }

// Take is what the job takes, as far as it is known.
type Take struct {
	Sum    []Total
	Bill   []Total
	Foot   *Total
	Sketch template.HTML
	Lacks  string // why there is no figure
}

// Total is one figure of the takeoff.
type Total struct{ Figure, Words string }

// JobInput is what the form is made from.
type JobInput struct {
	Values url.Values
	Got    form.Got
	Wrong  []Fault
	Spots  []place.Named // to choose from, where a name stands for several places
	Found  *place.Named  // what the name stands for
	Search bool          // places can be looked up by name
	Take   Take
}

// NewJob makes the page that sets a job up.
func NewJob(f Frame, r say.Reader, in JobInput) JobForm {
	p := JobForm{Frame: f, Headline: r.Label(SetupTitle), Lead: r.Label(SetupLead), Action: "/new",
		Button: r.Label(SetupButton), Take: in.Take}
	p.fill(r, in, true)
	return p
}

// ChangedJob makes the page that changes a job.
func ChangedJob(s Setting, in JobInput) JobForm {
	r := s.Reader
	p := JobForm{Frame: s.frame(s.say(ChangePage), NavJob), Headline: r.Label(ChangePage), Lead: r.Label(ChangeLead),
		Action: s.href("/change"), Revision: s.Project.Revision, Button: r.Label(ChangeButton), Take: in.Take,
		Removal: true}
	p.fill(r, in, false)
	var drawn []draw.PlanPad
	for _, pad := range s.Project.Pads {
		drawn = append(drawn, draw.PlanPad{Pad: pad, Phase: s.standing(pad).Phase,
			Href: s.href("/pad/" + url.PathEscape(pad.Name) + "/change")})
	}
	p.Steps[1].Hint = r.Label(JobPadsHint)
	p.Steps[1].Sketch = draw.Sketch(drawn, r, 358)
	p.Take.Sketch = p.Steps[1].Sketch
	last := &p.Steps[len(p.Steps)-1]
	last.Link = &Link{Words: r.Label(JobRecipients), Href: s.href("/alerts")}
	p.Try = &Link{Words: r.Label(TryPage), Href: s.href("/try")}
	return p
}

func (p *JobForm) fill(r say.Reader, in JobInput, new bool) {
	b := jobBuilder{r, in}
	p.Steps = []Step{b.where(), b.pads(), b.forms(), b.mix(), b.crew(), b.have(), b.alerts(new)}
	for i := range p.Steps {
		p.Steps[i].N = i + 1
	}
	p.Wrong = b.summary(p.Steps)
	if len(in.Wrong) > 0 {
		p.Title = r.Say(message.New(PageNotYet, message.Text("page", p.Title)))
	}
}

// jobBuilder makes the fields in a reader's words.
type jobBuilder struct {
	r  say.Reader
	in JobInput
}

// text is a field that holds what is typed.
func (b jobBuilder) text(name string, label message.Code) Field {
	x := Field{Name: name, Label: b.r.Label(label), Value: b.in.Values.Get(name)}
	for _, w := range b.in.Wrong {
		if w.Field == name {
			x.Wrong = append(x.Wrong, w.Words)
		}
	}
	if f, ok := b.in.Got.Typed[name]; ok && len(x.Wrong) == 0 {
		x.Echo = b.readBack(f, x.Value)
	}
	return x
}

// readBack is a quantity in both systems, or in the other alone where it is
// typed as the reader's own is written.
func (b jobBuilder) readBack(f message.Figure, typed string) string {
	if own := b.r.Figure(f); strings.ReplaceAll(own, "\u00a0", " ") == strings.TrimSpace(typed) {
		other := b.r
		other.US = !other.US
		return other.Figure(f)
	}
	return b.r.Both(f)
}

// figure is a field for which a phone shows digits.
func (b jobBuilder) figure(name string, label message.Code) Field {
	x := b.text(name, label)
	x.Number = true
	return x
}

func (b jobBuilder) hinted(x Field, hint message.Code) Field {
	x.Hint = b.r.Label(hint)
	return x
}

func (b jobBuilder) choice(name string, label message.Code, choices ...Choice) Field {
	x := b.text(name, label)
	x.Choices = choices
	for i := range x.Choices {
		x.Choices[i].Chosen = slices.Contains(b.in.Values[name], x.Choices[i].Value)
	}
	return x
}

// beside shows a field's choices beside each other, to be pressed.
func beside(x Field, many bool) Field {
	x.Beside, x.Many = true, many
	return x
}

func (b jobBuilder) terms(words ...string) []Choice {
	out := make([]Choice, len(words))
	for i, w := range words {
		out[i] = Choice{Value: w, Words: b.r.Term(w)}
	}
	return out
}

func hidden(b jobBuilder, name string) Field {
	return Field{Name: name, Value: b.in.Values.Get(name), Hidden: true}
}

func (b jobBuilder) where() Step {
	label, hint := JobDegrees, JobDegreesHint
	if b.in.Search {
		label, hint = JobPlace, JobPlaceHint
	}
	at := b.hinted(b.text("place", label), hint)
	if n := b.in.Found; n != nil && len(at.Wrong) == 0 {
		at.Echo = n.String() + " (" + form.Degrees(n.Latitude, n.Longitude) + ")"
	}
	lines := []Line{{Fields: []Field{at}}}
	if len(b.in.Spots) > 0 {
		var spots []Choice
		for _, n := range b.in.Spots {
			words := n.String()
			if n.District != "" {
				words += " (" + n.District + ")"
			}
			spots = append(spots, Choice{Value: form.Degrees(n.Latitude, n.Longitude), Words: words})
		}
		which := b.choice("spot", JobSpots, spots...)
		if !slices.ContainsFunc(which.Choices, func(c Choice) bool { return c.Chosen }) {
			which.Choices[0].Chosen = true
		}
		lines = append(lines, Line{Fields: []Field{which, {Name: "spot_of", Value: b.in.Values.Get("place"),
			Hidden: true}}})
	}
	x := fields{b.r}
	lines = append(lines, Line{Fields: []Field{b.text("name", FieldName),
		beside(b.choice("units", JobShow, Choice{Value: "us", Words: b.r.Label(JobUS)},
			Choice{Value: "metric", Words: b.r.Label(JobMetric)}), false),
		b.choice("language", FieldLanguage, x.languages()...)}})
	return Step{Caption: b.r.Label(JobWhere), Here: true, Blocks: []Block{{Lines: lines}}}
}

func (b jobBuilder) pads() Step {
	s := Step{Caption: b.r.Label(JobPads), Hint: b.r.Label(JobEdgeHint),
		Add: &Press{"add row", b.r.Label(JobAddRow), ""}}
	n := form.Rows.Count(b.in.Values)
	for i := range n {
		at := func(field string) string { return form.At(field, i) }
		legend := b.rowName(i)
		order := b.choice(at("order"), FieldOrder, Choice{Value: "any", Words: b.r.Label(ChoiceAny)},
			Choice{Value: "alternate", Words: b.r.Label(ChoiceAlternate)},
			Choice{Value: "keep", Words: b.r.Label(ChoiceKeep)})
		row := Block{Legend: legend, Lines: []Line{
			{"quad", []Field{b.text(at("letter"), JobLetter), b.figure(at("across"), JobAcross),
				b.figure(at("rows"), JobRows), b.text(at("gap"), JobGap)}},
			{"quad", []Field{b.text(at("length"), JobLength), b.text(at("width"), JobWidth),
				b.text(at("thick"), JobThick), b.text(at("edge"), JobEdge)}},
			{"", []Field{hidden(b, at("was")), hidden(b, at("from"))}}},
			More: &Block{Folded: b.r.Label(JobOrder), Lines: []Line{{"", []Field{order}},
				{"duo", []Field{b.text(at("x"), JobLeft), b.text(at("y"), JobTop)}}}}}
		if n > 1 {
			row.Drop = b.drop("row", i, legend)
		}
		s.Blocks = append(s.Blocks, row)
	}
	return s
}

func (b jobBuilder) drop(list string, i int, name string) *Press {
	return &Press{"drop " + list + " " + strconv.Itoa(i), b.r.Label(JobDrop),
		b.r.Say(message.New(JobDropNamed, message.Text("name", name)))}
}

// rowName names the pads of a row: H1 to H6.
func (b jobBuilder) rowName(i int) string {
	v := b.in.Values
	letter := v.Get(form.At("letter", i))
	across, err := strconv.Atoi(v.Get(form.At("across", i)))
	lines, err2 := strconv.Atoi(v.Get(form.At("rows", i)))
	from, err3 := strconv.Atoi(v.Get(form.At("from", i)))
	if err3 != nil {
		from = 1
	}
	if err != nil || err2 != nil || across*lines <= 1 {
		return letter
	}
	return b.r.Say(message.New(JobRowNames, message.Text("first", form.At(letter, from)),
		message.Text("last", form.At(letter, from+across*lines-1))))
}

func (b jobBuilder) forms() Step {
	s := Step{Caption: b.r.Label(JobForms), Hint: b.r.Label(JobFormsHint),
		Add: &Press{"add form", b.r.Label(JobAddForm), ""}}
	for i := range form.Forms.Count(b.in.Values) {
		at := func(field string) string { return form.At(field, i) }
		name := b.in.Values.Get(at("set"))
		s.Blocks = append(s.Blocks, Block{Legend: name, Drop: b.drop("form", i, name), Lines: []Line{
			{formsLine, b.formFields(at)}, {"", []Field{hidden(b, at("set_was"))}}}})
	}
	return s
}

func (b jobBuilder) mix() Step {
	d := pour.DefaultSpec().Mix
	strength := FieldStrengthMetric
	if b.r.US {
		strength = FieldStrengthUs
	}
	return Step{Caption: b.r.Label(JobMix), Blocks: []Block{
		{Lines: []Line{{"four", []Field{b.hinted(b.text("bag", JobBag), JobBagHint), b.figure("price", FieldPrice)}}}},
		{Folded: b.r.Label(JobLabel), Lines: []Line{
			{"four", []Field{b.hinted(b.text("water", JobWater), JobUsual), b.hinted(b.text("water_max", JobWaterMax),
				JobUsual), b.hinted(b.text("yield", JobYield), JobUsual), b.figure("waste", JobWaste)}},
			{"four", []Field{b.figure("strength", strength), b.choice("cement", JobCement,
				b.terms(d.Cement, "rapid", "slow")...), b.hinted(b.text("water_temp", JobWaterTemp),
				JobLikeAir), b.hinted(b.text("bag_temp", JobBagTemp), JobLikeAir)}}}},
		b.added()}}
}

func (b jobBuilder) crew() Step {
	return Step{Caption: b.r.Label(GroupCrew), Blocks: []Block{
		{Lines: []Line{
			{"duo", []Field{b.figure("people", FieldPeople), b.figure("rate", JobRate)}},
			{"duo", []Field{b.hinted(b.text("earliest", JobEarliest), HintTime), b.text("latest", JobLatest)}},
			{"", []Field{beside(b.choice("day", JobDays, b.terms("mon", "tue", "wed", "thu", "fri", "sat", "sun")...),
				true)}},
			{"duo", []Field{b.text("payload", JobPayload), b.choice("finish", FieldFinish,
				Choice{Value: "broom", Words: b.r.Label(ChoiceBroom)},
				Choice{Value: "trowel", Words: b.r.Label(ChoiceTrowel)})}}}},
		{Folded: b.r.Label(JobPace), Lines: []Line{{"trio", []Field{b.figure("set_up", JobSetUp),
			b.figure("clean_up", JobCleanUp), b.figure("moves", JobMoves)}}}},
		{Folded: b.r.Label(JobGround), Lines: []Line{{"four", []Field{
			b.choice("subgrade", JobSubgrade, b.terms("sand", "gravel", "clay", "soil", "insulated")...),
			b.hinted(b.text("shade", JobShade), HintOptional),
			b.hinted(b.text("shade_hours", JobShadeHours), JobShadeHoursHint),
			b.text("hollows", JobHollows), b.hinted(b.text("base_sand", JobSand), HintOptional)}}}},
		b.practice()}}
}

func (b jobBuilder) have() Step {
	s := Step{Caption: b.r.Label(JobHave), Hint: b.r.Label(JobCoversHint),
		Add: &Press{"add delivery", b.r.Label(JobAddDelivery), ""}, Blocks: []Block{
			{Lines: []Line{{"trio", []Field{b.figure("plastic", JobPlastic), b.figure("burlap", JobBurlap),
				b.figure("blanket", JobBlankets)}},
				{"", []Field{b.hinted(b.figure("on_hand", FieldStock), HintStock)}}}}}}
	for i := range form.Deliveries.Count(b.in.Values) {
		at := func(field string) string { return form.At(field, i) }
		date := b.text(at("date"), JobDate)
		date.Date = true
		s.Blocks = append(s.Blocks, Block{Legend: b.r.Label(JobDelivery), Drop: b.drop("delivery", i,
			b.r.Label(JobDelivery)), Lines: []Line{{"duo", []Field{date, b.figure(at("bags"), JobBags)}}}})
	}
	return s
}

func (b jobBuilder) alerts(new bool) Step {
	lines := []Line{{"trio", []Field{b.text("evening", FieldEvening), b.figure("lead", FieldLead),
		b.text("quiet", FieldQuiet)}}, {"", []Field{b.hinted(b.figure("risk", FieldRisk), HintRisk)}}}
	if !new {
		return Step{Caption: b.r.Label(GroupAlerts), Blocks: []Block{{Lines: lines}}}
	}
	return Step{Caption: b.r.Label(GroupAlerts), Blocks: []Block{{Lines: []Line{{"",
		[]Field{b.hinted(b.text("email", FieldEmail), HintOptional)}}}}, {Folded: b.r.Label(JobWhen), Lines: lines}}}
}

// summary gives faults their fields' labels, in the order of the form; those
// without a field come last.
func (b jobBuilder) summary(steps []Step) []Fault {
	var out []Fault
	shown := map[string]bool{}
	look := func(block *Block, legend string) {
		for _, l := range block.Lines {
			for _, x := range l.Fields {
				shown[x.Name] = true
				block.Open = block.Open || len(x.Wrong) > 0
				label := x.Label
				if legend != "" {
					label = legend + ", " + label
				}
				for _, w := range x.Wrong {
					out = append(out, Fault{x.Name, label, w})
				}
			}
		}
	}
	for i := range steps {
		for j := range steps[i].Blocks {
			block := &steps[i].Blocks[j]
			look(block, block.Legend)
			if block.More != nil {
				look(block.More, block.Legend)
			}
		}
	}
	for _, w := range b.in.Wrong {
		switch {
		case shown[w.Field]:
		case w.Label != "": // of a field below the form
			out = append(out, w)
		default:
			out = append(out, Fault{Label: w.Field, Words: w.Words})
		}
	}
	return out
}
