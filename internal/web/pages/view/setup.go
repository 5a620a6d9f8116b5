package view

import (
	"fmt"

	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

// Setup is the page that sets a project up: pads of one size in rows.
type Setup struct {
	Frame  Frame
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
	Name, Label, Hint, Value string
	Wrong                    []string
	Number                   bool
	Choices                  []Choice
	Required                 bool
}

// Choice is one of a field's values.
type Choice struct {
	Value, Words string
	Chosen       bool
}

// NewSetup makes the form, with what was given still in it. given answers
// with the value of a field and whether there was one.
func NewSetup(f Frame, us bool, given func(name string) (string, bool), wrong []Fault) Setup {
	d := pour.DefaultSpec()
	length, small, water, weight, volume := "metres", "mm", "litres", "kg", "litres"
	size := [3]float64{1.2, 0.9, 75}
	bag := [4]float64{d.Mix.BagKg, d.Mix.YieldLPerBag, d.Mix.WaterLPerBag, d.Mix.WaterLPerBagMax}
	if us {
		length, small, water, weight, volume = "feet", "inches", "quarts", "lb", "cubic feet"
		size = [3]float64{4, 3, 3}
		// An 80 lb bag yields 0.60 cubic feet (ASTM C387 bags, as quoted by makers).
		bag = [4]float64{80, 0.60, d.Mix.WaterLPerBag / unit.LitresPerQuart, d.Mix.WaterLPerBagMax / unit.LitresPerQuart}
	}
	num := func(v float64) string { return fmt.Sprintf("%.3g", v) }
	p := Setup{Frame: f, US: us, Groups: []Group{
		{"The place", []Field{
			{Name: "name", Label: "Name of the job", Required: true},
			{Name: "latitude", Label: "Latitude, degrees north", Hint: "such as 41.20; south is negative; or both, as a map gives them: 41.20, -8.10", Number: true, Required: true},
			{Name: "longitude", Label: "Longitude, degrees east", Hint: "such as -8.10; west is negative", Number: true, Required: true}}},
		{"The pads, all of one size", []Field{
			{Name: "across", Label: "Pads in a row", Value: "3", Number: true, Required: true},
			{Name: "rows", Label: "Rows", Value: "2", Number: true, Required: true},
			{Name: "length", Label: "Length of one pad, " + length, Value: num(size[0]), Number: true, Required: true},
			{Name: "width", Label: "Width of one pad, " + length, Value: num(size[1]), Number: true, Required: true},
			{Name: "thickness", Label: "Thickness, " + small, Hint: "as your licensed design says", Value: num(size[2]), Number: true, Required: true},
			{Name: "gap", Label: "Gap between pads, " + small, Value: "0", Number: true, Required: true},
			{Name: "order", Label: "Order", Choices: []Choice{{Value: "any", Words: "any pad at any time"}, {Value: "alternate", Words: "every other pad first, those in between when their neighbours are stripped"}}},
			{Name: "forms", Label: "Forms that you have", Hint: "how many pads can be formed at a time", Value: "2", Number: true, Required: true},
			{Name: "infill", Label: "Of these, forms kept for the pads in between", Hint: "where those need boards of their own; may be left out", Number: true}}},
		{"The bags", []Field{
			{Name: "bag", Label: "Weight of a bag, " + weight, Value: num(bag[0]), Number: true, Required: true},
			{Name: "yield", Label: "Concrete from a bag, " + volume, Value: num(bag[1]), Number: true, Required: true},
			{Name: "water", Label: "Water by the label, " + water, Value: num(bag[2]), Number: true, Required: true},
			{Name: "water_max", Label: "Most water by the label, " + water, Value: num(bag[3]), Number: true, Required: true}}},
		{"The crew", []Field{
			{Name: "people", Label: "People", Value: "1", Number: true, Required: true},
			{Name: "rate", Label: "Bags that one person mixes and places in an hour", Value: num(d.Crew.BagsPerHour), Number: true, Required: true},
			{Name: "earliest", Label: "Earliest start", Hint: "HH:MM", Value: d.Crew.EarliestStart.String(), Required: true},
			{Name: "latest", Label: "Latest finish", Hint: "HH:MM", Value: d.Crew.LatestFinish.String(), Required: true},
			{Name: "finish", Label: "Finish", Choices: []Choice{{Value: "broom", Words: "broom"}, {Value: "trowel", Words: "steel trowel"}}},
			{Name: "email", Label: "Mail address for word before first light", Hint: "may be left out"}}},
	}}
	fill(p.Groups, given, wrong)
	p.Wrong = inOrder(p.Groups, wrong)
	if len(wrong) > 0 {
		p.Frame.Title = "Not yet: " + p.Frame.Title
	}
	return p
}

// fill puts what was given into the fields, and what is wrong beside them.
func fill(groups []Group, given func(name string) (string, bool), wrong []Fault) {
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
				w.Words = w.Field + ": " + w.Words
			}
			rest = append(rest, w)
		}
	}
	return append(out, rest...)
}
