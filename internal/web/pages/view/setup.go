package view

import (
	"strconv"

	"dryslot/internal/message"
	"dryslot/internal/pour"
	"dryslot/internal/say"
	"dryslot/internal/unit"
)

// Setup is the page that sets a project up: pads of one size in rows.
type Setup struct {
	Frame
	Wrong  []Fault
	US     bool
	Groups []Group
}

func (Setup) template() string { return "setup" }

// Fault is what is wrong in a form, in words, at one of its fields; a fault
// without a field is of the whole.
type Fault struct{ Field, Label, Words string }

// Group is fields that belong together.
type Group struct {
	Caption string
	Fields  []Field
}

// Field is one thing to fill in, or to choose from.
type Field struct {
	Name, Label, Value string
	Echo               string // what was typed, as it is read
	Wrong              []string
	Number             bool
	Choices            []Choice
	Required           bool
}

// Choice is one of a field's values.
type Choice struct {
	Value, Words string
	Chosen       bool
}

// Answers give what was given in a form: the value of a field, and whether
// there was one.
type Answers func(name string) (string, bool)

// fields makes the fields of forms in a reader's words.
type fields struct{ r say.Reader }

// label is a field's label, with a hint where there is one.
func (f fields) label(label, hint message.Code) string {
	if hint == "" {
		return f.r.Label(label)
	}
	return f.r.Say(message.New(FieldHint, message.Text("label", f.r.Label(label)), message.Text("hint", f.r.Label(hint))))
}

func (f fields) text(name string, label, hint message.Code, value string) Field {
	return Field{Name: name, Label: f.label(label, hint), Value: value, Required: true}
}

func (f fields) number(name string, label, hint message.Code, value string) Field {
	x := f.text(name, label, hint, value)
	x.Number = true
	return x
}

func (f fields) choice(name string, label message.Code, choices ...Choice) Field {
	return Field{Name: name, Label: f.r.Label(label), Choices: choices}
}

func optional(x Field) Field {
	x.Required = false
	return x
}

// languages are the choices of a project's language.
func (f fields) languages() []Choice {
	return []Choice{{Value: "en-US", Words: f.r.Label(ChoiceEnUs)}, {Value: "en", Words: f.r.Label(ChoiceEn)},
		{Value: "es-419", Words: f.r.Label(ChoiceEs419)}, {Value: "es-US", Words: f.r.Label(ChoiceEsUs)}}
}

func (f fields) group(caption message.Code, of ...Field) Group { return Group{f.r.Label(caption), of} }

// typed is a quantity as somebody would type it, such as 4 ft.
func typed(v float64, unit string) string { return short(v) + " " + unit }

func short(v float64) string { return strconv.FormatFloat(v, 'g', 4, 64) }

// NewSetup makes the form, with what was given still in it.
func NewSetup(f Frame, r say.Reader, given Answers, wrong []Fault) Setup {
	d := pour.DefaultSpec()
	x := fields{r}
	length, width, thick, bag := typed(1.2, "m"), typed(0.9, "m"), typed(75, "mm"), typed(d.Mix.BagKg, "kg")
	yield, water, most := d.Mix.YieldLPerBag, d.Mix.WaterLPerBag, d.Mix.WaterLPerBagMax
	yieldLabel, waterLabel, mostLabel := FieldYieldMetric, FieldWaterMetric, FieldMostWaterMetric
	if r.US {
		// An 80 lb bag yields 0.60 cubic feet (ASTM C387 bags, as quoted by makers).
		length, width, thick, bag, yield = "4 ft", "3 ft", "3 in", "80 lb", 0.60
		water, most = water/unit.LitresPerQuart, most/unit.LitresPerQuart
		yieldLabel, waterLabel, mostLabel = FieldYieldUs, FieldWaterUs, FieldMostWaterUs
	}
	p := Setup{Frame: f, US: r.US, Groups: []Group{
		x.group(GroupPlace, x.text("name", FieldName, "", ""), x.number("latitude", FieldLatitude, HintLatitude, ""),
			x.number("longitude", FieldLongitude, HintLongitude, ""), x.choice("language", FieldLanguage, x.languages()...)),
		x.group(GroupPads, x.number("across", FieldAcross, "", "3"), x.number("rows", FieldRows, "", "2"),
			x.text("length", FieldLength, HintLength, length), x.text("width", FieldWidth, "", width),
			x.text("thickness", FieldThickness, HintThickness, thick), x.text("gap", FieldGap, "", "0"),
			x.choice("order", FieldOrder, Choice{Value: "any", Words: r.Label(ChoiceAny)},
				Choice{Value: "alternate", Words: r.Label(ChoiceAlternate)}),
			x.number("forms", FieldForms, HintForms, "2"), optional(x.number("infill", FieldInfill, HintInfill, ""))),
		x.group(GroupBags, x.text("bag", FieldBag, HintBag, bag), x.number("yield", yieldLabel, "", short(yield)),
			x.number("water", waterLabel, "", threeDigits(water)), x.number("water_max", mostLabel, "", threeDigits(most))),
		x.group(GroupCrew, x.number("people", FieldPeople, "", "1"), x.number("rate", FieldRate, "", short(d.Crew.BagsPerHour)),
			x.text("earliest", FieldEarliest, HintTime, r.ClockOf(d.Crew.EarliestStart)),
			x.text("latest", FieldLatest, "", r.ClockOf(d.Crew.LatestFinish)),
			x.choice("finish", FieldFinish, Choice{Value: "broom", Words: r.Label(ChoiceBroom)},
				Choice{Value: "trowel", Words: r.Label(ChoiceTrowel)}),
			optional(x.text("email", FieldEmail, HintOptional, ""))),
	}}
	p.set("language", r.Language)
	fill(p.Groups, given, wrong)
	echo(p.Groups, r)
	p.Wrong = inOrder(p.Groups, wrong)
	if len(wrong) > 0 {
		p.Title = r.Say(message.New(PageNotYet, message.Text("page", p.Title)))
	}
	return p
}

func threeDigits(v float64) string { return strconv.FormatFloat(v, 'g', 3, 64) }

// set gives a field a value.
func (p Setup) set(name, value string) {
	fill(p.Groups, func(n string) (string, bool) { return value, n == name }, nil)
}

// Typed reads the fields that take a quantity with its unit: which unit a bare
// number has is said beside each.
func Typed(name, value string, us bool) (message.Figure, error) {
	bare := map[bool][2]string{true: {"ft", "in"}, false: {"m", "mm"}}[us]
	switch name {
	case "length", "width":
		v, err := unit.ParseLength(value, bare[0])
		return message.Length(name, v), err
	case "thickness", "gap":
		v, err := unit.ParseLength(value, bare[1])
		return message.Length(name, v), err
	case "bag":
		v, err := unit.ParseMass(value, us)
		return message.Mass(name, v), err
	}
	return message.Figure{}, nil
}

// echo reads back in both systems what was typed with a unit.
func echo(groups []Group, r say.Reader) {
	for _, g := range groups {
		for i := range g.Fields {
			x := &g.Fields[i]
			f, err := Typed(x.Name, x.Value, r.US)
			if err == nil && f.Name != "" && len(x.Wrong) == 0 && x.Value != "0" {
				x.Echo = r.Say(message.New(ReadAs, message.Text("text", r.Both(f))))
			}
		}
	}
}

// fill puts what was given into the fields, and what is wrong beside them.
func fill(groups []Group, given Answers, wrong []Fault) {
	for _, g := range groups {
		for i := range g.Fields {
			x := &g.Fields[i]
			if v, ok := given(x.Name); ok {
				x.Value = v
			}
			for _, w := range wrong {
				if w.Field == x.Name {
					x.Wrong = append(x.Wrong, w.Words)
				}
			}
			for j := range x.Choices {
				x.Choices[j].Chosen = x.Choices[j].Value == x.Value
			}
		}
	}
}

// inOrder gives faults their fields' labels, and the order of the form; those
// without a field come last.
func inOrder(groups []Group, wrong []Fault) []Fault {
	var out, rest []Fault
	placed := map[string]bool{}
	for _, g := range groups {
		for _, x := range g.Fields {
			placed[x.Name] = true
			for _, w := range wrong {
				if w.Field == x.Name {
					w.Label = x.Label
					out = append(out, w)
				}
			}
		}
	}
	for _, w := range wrong {
		if !placed[w.Field] {
			if w.Field != "" && w.Label == "" {
				w.Label, w.Field = w.Field, ""
			}
			rest = append(rest, w)
		}
	}
	return append(out, rest...)
}
