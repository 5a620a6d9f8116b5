package view

import (
	"html/template"
	"slices"
	"strings"

	"dryslot/internal/concrete"
	"dryslot/internal/message"
	"dryslot/internal/takeoff"
	"dryslot/internal/unit"
	"dryslot/internal/web/draw"
)

// Carry is the page of what to buy, rent and carry.
type Carry struct {
	Frame
	Headline string
	Lines    []string
	List     []TickRow
	Rent     []BillRow
	Total    *BillRow
	Stacks   template.HTML
	Carrying []BillRow
	Tables   []Table
	Cautions []CautionView
}

func (Carry) template() string { return "carry" }

// TickRow is one thing of the shopping list, to be ticked off.
type TickRow struct{ Count, Words, Value string }

// Table is rows of words under headings; the first column names the row.
type Table struct {
	Caption string
	Head    []string
	Rows    [][]string
	Worded  bool // rows hold words, which may wrap, and not figures
}

// NewCarry makes the page from the takeoff of the project and its plan.
func NewCarry(s Setting, t takeoff.Takeoff) Carry {
	all := t.Project
	buy := all.BagsToPlace
	if s.Project.Stock.BagsOnHand != nil {
		buy = all.BagsShort
	}
	p := Carry{Frame: s.frame(s.say(NavCarry), NavCarry), Headline: s.say(BuyTitle, message.Count("count", buy)),
		Lines: []string{s.say(CarryTitle, message.Count("left", all.BagsToPlace), message.Count("all", all.Bags))}}
	if short := message.Count("bags", all.BagsShort); all.BagsShort > 0 && all.ShortFrom != nil {
		p.Lines = append(p.Lines, s.say(CarryShortFrom, short, message.Date("", *all.ShortFrom)))
	} else if all.BagsShort > 0 {
		p.Lines = append(p.Lines, s.say(CarryShort, short))
	}
	if all.WaterCementRatio != nil && all.WaterCementRatioMax != nil {
		p.Lines = append(p.Lines, s.say(CarryRatio, message.Number("label", *all.WaterCementRatio),
			message.Number("most", *all.WaterCementRatioMax)))
	}
	s.shopping(&p, t, buy)
	s.carried(&p, t)
	if len(t.Pours) > 0 {
		p.Tables = append(p.Tables, s.pourTable(t.Pours))
	}
	p.Tables = append(p.Tables, s.padTable(t.Pads))
	p.Cautions = append(s.ruleViews(all.Cautions), s.people(concrete.WhenCarrying)...)
	return p
}

// shopping lists what to buy and rent: covers and sand only where the project has them.
func (s Setting) shopping(p *Carry, t takeoff.Takeoff, buy int) {
	mix := s.Project.Mix
	bags := TickRow{Count: s.count(buy), Words: s.say(BringBags, message.Mass("bag", unit.Kilograms(mix.BagKg))) +
		", " +
		s.mass(float64(buy)*mix.BagKg)}
	if mix.PricePerBag != nil {
		bags.Value = s.say(BuyCost, message.Number("cost", float64(buy)**mix.PricePerBag))
		p.Total = &BillRow{What: s.say(BuyAll), Value: bags.Value}
	}
	p.List = append(p.List, bags)
	if kg := t.Project.SandKg; kg != nil {
		p.List = append(p.List, TickRow{Count: "1", Words: s.say(BuySand, message.Mass("sand", unit.Kilograms(*kg)))})
	}
	for _, c := range s.Project.Stock.Covers {
		p.List = append(p.List, TickRow{Count: s.count(c.Pads), Words: s.say(BringCovers,
			message.Term("cover", c.Kind)), Value: s.say(BuyOwned)})
	}
	if n := len(t.Pours); n > 0 {
		from, until := t.Pours[0].Date, t.Pours[n-1].Date
		p.Rent = append(p.Rent, BillRow{What: s.say(BuyMixer), Value: s.say(BuyDays, message.Count("days", n)),
			Note: s.say(BuyMixerSpan, message.Date("from", from), message.Date("until", until))})
		if by := s.Plan.Finish.NineInTen; by != nil && until.Before(*by) {
			p.Rent = append(p.Rent, BillRow{What: s.say(BuyMore), Note: s.say(BuyMoreWhy, message.Date("", *by)),
				Value: s.say(BuyDays, message.Count("days", by.DaysSince(until)))})
		}
	}
}

// carried is the next pour's load, by trip.
func (s Setting) carried(p *Carry, t takeoff.Takeoff) {
	if len(t.Pours) == 0 {
		return
	}
	next, crew, mix := t.Pours[0], s.Project.Crew, s.Project.Mix
	day := message.Date("", next.Date)
	if next.Trips == nil {
		p.Carrying = append(p.Carrying, BillRow{What: s.say(CarryNoTrip)})
	} else {
		each := int(crew.VehiclePayloadKg/mix.BagKg + 1e-9)
		var trips []int
		for left := next.Bags; left > 0 && len(trips) < 8; left -= each {
			trips = append(trips, min(left, each))
		}
		words := s.say(BuyTripsOn, day)
		p.Stacks = draw.Stacks(trips, words)
		p.Carrying = append(p.Carrying, BillRow{What: words, Value: s.count(*next.Trips),
			Note: s.say(BuyTripLoad, message.Count("bags", each),
				message.Mass("load", unit.Kilograms(float64(each)*mix.BagKg)))})
	}
	p.Carrying = append(p.Carrying, BillRow{What: s.say(BuyMoved),
		Value: s.mass(next.MovedKg / float64(max(crew.People, 1))),
		Note:  s.say(BuyMovedWhy, message.Number("times", crew.MovesPerBag))})
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
		table.Rows = append(table.Rows, []string{s.Reader.Date(d.Date), s.count(d.Bags), s.mass(d.WeightKg),
			s.water(d.WaterL), trips, s.mass(d.MovedKg)})
	}
	return table
}

// padTable gives what each pad takes; pads that take the same stand together.
func (s Setting) padTable(pads []takeoff.Pad) Table {
	table := Table{Caption: s.say(CarryPadsHead), Head: s.labels(CarryPadHead, CarryBagsHead, CarryWeightHead,
		CarryWaterHead)}
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
				said := r.Worded(s.Reader.Say)
				out = append(out, CautionView{Class: string(sev), Word: s.severity(string(sev)), Text: said.Text,
					Topic: topic(said.Text), Source: said.Source})
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
