package view

import (
	"slices"
	"strings"

	"dryslot/internal/concrete"
	"dryslot/internal/message"
	"dryslot/internal/takeoff"
	"dryslot/internal/unit"
)

// Carry is the page of what to buy and carry.
type Carry struct {
	Frame
	Headline string
	Lines    []string
	Tables   []Table
	Cautions []CautionView
}

func (Carry) template() string { return "carry" }

// Table is rows of words under headings; the first column names the row.
type Table struct {
	Caption string
	Head    []string
	Rows    [][]string
}

// NewCarry makes the page from the takeoff of the project and its plan.
func NewCarry(s Setting, t takeoff.Takeoff) Carry {
	all := t.Project
	p := Carry{Frame: s.frame(s.say(NavCarry), NavCarry),
		Headline: s.say(CarryTitle, message.Count("left", all.BagsToPlace), message.Count("all", all.Bags))}
	p.Lines = append(p.Lines, s.say(CarryAll)+" "+s.amounts(all.Amounts)+" "+s.carrying(all.Carrying))
	if short := message.Count("bags", all.BagsShort); all.BagsShort > 0 && all.ShortFrom != nil {
		p.Lines = append(p.Lines, s.say(CarryShortFrom, short, message.Date("", *all.ShortFrom)))
	} else if all.BagsShort > 0 {
		p.Lines = append(p.Lines, s.say(CarryShort, short))
	}
	if all.WaterCementRatio != nil && all.WaterCementRatioMax != nil {
		p.Lines = append(p.Lines, s.say(CarryRatio, message.Number("label", *all.WaterCementRatio),
			message.Number("most", *all.WaterCementRatioMax)))
	}
	if len(t.Pours) > 0 {
		p.Tables = append(p.Tables, s.pourTable(t.Pours))
	}
	p.Tables = append(p.Tables, s.padTable(t.Pads))
	p.Cautions = append(s.ruleViews(all.Cautions), s.people(concrete.WhenCarrying)...)
	return p
}

// Carrying is what the pour of one date takes; empty where there is none.
func Carrying(s Setting, t takeoff.Takeoff, date unit.Date) string {
	for _, d := range t.Pours {
		if d.Date == date {
			return s.amounts(d.Amounts) + " " + s.carrying(d.Carrying)
		}
	}
	return ""
}

func (s Setting) amounts(a takeoff.Amounts) string {
	words := s.say(CarryAmounts, message.Count("bags", a.Bags), message.Mass("weight", unit.Kilograms(a.WeightKg)),
		message.Volume("water", a.WaterL), message.Volume("most", a.WaterLMax))
	if a.Cost != nil {
		words += " " + s.say(CarryCost, message.Number("cost", *a.Cost))
	}
	return words
}

func (s Setting) carrying(c takeoff.Carrying) string {
	words := s.say(CarryLoad, message.Mass("moved", unit.Kilograms(c.MovedKg)),
		message.Mass("rate", unit.Kilograms(c.MovedTPersonHour*1000)))
	if c.Trips == nil {
		return words + " " + s.say(CarryNoTrip)
	}
	return words + " " + s.say(CarryTrips, message.Count("trips", *c.Trips))
}

// labels words several codes.
func (s Setting) labels(codes ...message.Code) []string {
	out := make([]string, len(codes))
	for i, c := range codes {
		out[i] = s.say(c)
	}
	return out
}

func (s Setting) mass(kg float64) string {
	return s.Reader.Figure(message.Mass("", unit.Kilograms(kg)))
}

func (s Setting) water(l float64) string { return s.Reader.Figure(message.Volume("", l)) }

func (s Setting) count(n int) string { return s.Reader.Number(float64(n), 0) }

func (s Setting) pourTable(pours []takeoff.Day) Table {
	table := Table{Caption: s.say(CarryPoursHead),
		Head: s.labels(CarryDayHead, CarryBagsHead, CarryWeightHead, CarryWaterHead, CarryTripsHead, CarryCarriedHead)}
	for _, d := range pours {
		trips := s.say(CarryNoneHead)
		if d.Trips != nil {
			trips = s.count(*d.Trips)
		}
		table.Rows = append(table.Rows, []string{s.Reader.Date(d.Date), s.count(d.Bags), s.mass(d.WeightKg), s.water(d.WaterL),
			trips, s.mass(d.MovedKg)})
	}
	return table
}

// padTable gives what each pad takes; pads that take the same stand together.
func (s Setting) padTable(pads []takeoff.Pad) Table {
	table := Table{Caption: s.say(CarryPadsHead), Head: s.labels(CarryPadHead, CarryBagsHead, CarryWeightHead, CarryWaterHead)}
	at := map[string]int{}
	for _, d := range pads {
		row := []string{d.Pad, s.count(d.Bags), s.mass(d.WeightKg), s.water(d.WaterL)}
		key := strings.Join(row[1:], "|")
		if i, ok := at[key]; ok {
			table.Rows[i][0] += ", " + d.Pad
			continue
		}
		at[key] = len(table.Rows)
		table.Rows = append(table.Rows, row)
	}
	return table
}

// ruleViews puts rules in words, the most pressing first.
func (s Setting) ruleViews(rules []concrete.Rule) []CautionView {
	var out []CautionView
	for _, sev := range []concrete.Severity{concrete.Act, concrete.Watch, concrete.Note} {
		for _, r := range rules {
			if r.Severity == sev {
				text := r.Text
				message.WordAll(&text, &r.Data, s.Reader.Say)
				out = append(out, CautionView{Class: string(sev), Word: s.severity(string(sev)), Text: text,
					Topic: topic(text), Source: r.Source})
			}
		}
	}
	return out
}

// people gives the cautions for people at some points of the work, or all of
// them when none is named.
func (s Setting) people(at ...concrete.When) []CautionView {
	var out []CautionView
	for _, c := range concrete.PeopleCautions() {
		if len(at) > 0 && !slices.Contains(at, c.When) {
			continue
		}
		when := string(c.When)
		if c.When == concrete.WhenPlacing {
			when = "placing work"
		}
		text := s.Reader.Say(c.Text)
		out = append(out, CautionView{Class: "watch", Word: s.Reader.Term(when), Text: text, Topic: topic(text),
			Source: s.Reader.Say(c.Source)})
	}
	return out
}
