package view

import (
	"fmt"
	"slices"
	"strings"

	"dryslot/internal/concrete"
	"dryslot/internal/notify"
	"dryslot/internal/takeoff"
	"dryslot/internal/unit"
)

// Carry is the page of what to buy and carry.
type Carry struct {
	Frame    Frame
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
	us := s.Reader().US
	p := Carry{Frame: s.frame("Buy and carry", "Buy and carry")}
	all := t.Project
	p.Headline = fmt.Sprintf("%d bags still to place, of %d for the whole job.", all.BagsToPlace, all.Bags)
	p.Lines = append(p.Lines, "For the whole job: "+amounts(all.Amounts, us)+". "+carrying(all.Carrying, us))
	if all.BagsShort > 0 {
		short := fmt.Sprintf("%d bags are lacking against what is on hand and ordered", all.BagsShort)
		if all.ShortFrom != nil {
			short += ", from " + s.Reader().Day(*all.ShortFrom) + " on"
		}
		p.Lines = append(p.Lines, short+".")
	}
	if all.WaterCementRatio != nil && all.WaterCementRatioMax != nil {
		line := fmt.Sprintf("Water to cement by mass: %.2f by the label, %.2f with the most water it allows.", *all.WaterCementRatio, *all.WaterCementRatioMax)
		p.Lines = append(p.Lines, line)
	}
	if len(t.Pours) > 0 {
		mass, water := massUnit(us), waterUnit(us)
		table := Table{Caption: "Pour by pour", Head: []string{"Day", "Bags", mass, water, "Trips", mass + " carried"}}
		for _, d := range t.Pours {
			table.Rows = append(table.Rows, []string{d.Date.Weekday().String()[:3] + " " + shortDate(d.Date, us), fmt.Sprint(d.Bags),
				bare(kilograms(d.WeightKg, us)), bare(litres(d.WaterL, us)), trips(d.Trips), bare(kilograms(d.MovedKg, us))})
		}
		p.Tables = append(p.Tables, table)
	}
	p.Tables = append(p.Tables, padTable(t.Pads, us))
	p.Cautions = append(s.ruleViews(wetMix(all, us)), s.people(concrete.WhenCarrying)...)
	return p
}

// Carrying is what the pour of one date takes, in a sentence; empty where
// there is none.
func Carrying(s Setting, t takeoff.Takeoff, date unit.Date) string {
	us := s.Reader().US
	for _, d := range t.Pours {
		if d.Date == date {
			return upper(amounts(d.Amounts, us)) + ". " + carrying(d.Carrying, us)
		}
	}
	return ""
}

func amounts(a takeoff.Amounts, us bool) string {
	words := fmt.Sprintf("%d %s (%s), %s of water and no more than %s", a.Bags, bagWord(a.Bags), kilograms(a.WeightKg, us), litres(a.WaterL, us), litres(a.WaterLMax, us))
	if a.Cost != nil {
		words += fmt.Sprintf(", %.2f to pay", *a.Cost)
	}
	return words
}

func carrying(c takeoff.Carrying, us bool) string {
	words := fmt.Sprintf("In all %s carried, %.1f tonnes for each person and hour.", kilograms(c.MovedKg, us), c.MovedTPersonHour)
	if us {
		words = fmt.Sprintf("In all %s carried, %s for each person and hour.", kilograms(c.MovedKg, us), kilograms(c.MovedTPersonHour*1000, us))
	}
	switch {
	case c.Trips == nil:
		return words + " The vehicle can't carry one bag."
	case *c.Trips == 1:
		return words + " One trip."
	}
	return words + " " + upper(notify.Count(*c.Trips)) + " trips."
}

// wetMix gives the cautions of a takeoff, the one on the wettest mix in the
// reader's units.
func wetMix(all takeoff.Project, us bool) []concrete.Rule {
	rules := slices.Clone(all.Cautions)
	for i := range rules {
		if l := all.StrengthLossMPa; rules[i].ID == "wet-mix" && l != nil {
			rules[i].Text = "Water up to the label's most places more easily and costs " + strength(*l, us) + " of the 28-day strength, and hardens slower."
		}
	}
	return rules
}

// padTable gives what each pad takes; pads that take the same stand together.
func padTable(pads []takeoff.Pad, us bool) Table {
	table := Table{Caption: "Each pad, placed by itself", Head: []string{"Pad", "Bags", massUnit(us), waterUnit(us)}}
	at := map[string]int{}
	for _, d := range pads {
		row := []string{d.Pad, fmt.Sprint(d.Bags), bare(kilograms(d.WeightKg, us)), bare(litres(d.WaterL, us))}
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

func massUnit(us bool) string {
	if us {
		return "lb"
	}
	return "kg"
}

func waterUnit(us bool) string {
	if us {
		return "gal of water"
	}
	return "L of water"
}

// bare leaves the unit out, where the heading names it.
func bare(quantity string) string {
	value, _, _ := strings.Cut(quantity, " ")
	return value
}

func trips(n *int) string {
	if n == nil {
		return "none"
	}
	return fmt.Sprint(*n)
}

func strength(r takeoff.Range, us bool) string {
	if us {
		const psi = 145.0377 // in an MPa, NIST SP 811
		return fmt.Sprintf("%s to %s psi", thousands(r.Low*psi), thousands(r.High*psi))
	}
	return fmt.Sprintf("%.0f to %.0f MPa", r.Low, r.High)
}

// kilograms writes a mass in the reader's units.
func kilograms(kg float64, us bool) string {
	if us {
		return thousands(unit.Kilograms(kg).Pounds()) + " lb"
	}
	return thousands(kg) + " kg"
}

// litres writes a volume of water in the reader's units.
func litres(l float64, us bool) string {
	if us {
		return oneDecimal(l/unit.LitresPerGallon) + " gal"
	}
	return oneDecimal(l) + " L"
}

// ruleViews puts rules in words, the most pressing first.
func (s Setting) ruleViews(rules []concrete.Rule) []CautionView {
	word := map[concrete.Severity]string{concrete.Act: "Do:", concrete.Watch: "Watch:", concrete.Note: "Note:"}
	var out []CautionView
	for _, sev := range []concrete.Severity{concrete.Act, concrete.Watch, concrete.Note} {
		for _, r := range rules {
			if r.Severity == sev {
				out = append(out, CautionView{Class: string(sev), Word: word[sev], Text: s.Reader().Own(r.Text), Topic: topic(s.Reader().Own(r.Text)), Source: r.Source})
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
		wanted := len(at) == 0
		for _, w := range at {
			wanted = wanted || w == c.When
		}
		if wanted {
			out = append(out, CautionView{Class: "watch", Word: whenWord(c.When), Text: s.Reader().Own(c.Text), Topic: topic(c.Text), Source: c.Source})
		}
	}
	return out
}

// whenWord names the point of the work that a caution belongs to.
func whenWord(w concrete.When) string {
	switch w {
	case concrete.WhenCleaning:
		return "Cleaning up:"
	case concrete.WhenBreaking:
		return "Lost pads:"
	}
	return upper(string(w)) + ":"
}
