package view

import (
	"html/template"
	"math"
	"slices"
	"strings"
	"time"

	"dryslot/internal/concrete"
	"dryslot/internal/history"
	"dryslot/internal/message"
	"dryslot/internal/notify"
	"dryslot/internal/planner/job"
	"dryslot/internal/pour"
	"dryslot/internal/takeoff"
	"dryslot/internal/today"
	"dryslot/internal/unit"
	"dryslot/internal/web/draw"
)

// Day is the page of one morning, before its work has begun.
type Day struct {
	Frame
	Verdict
	Notices   []string // that come before everything else
	Break     string   // the lost pads, to be broken out
	Breaking  []DoLine
	Narrow    template.HTML
	Wide      template.HTML
	Curves    []template.HTML
	Do        []DoLine
	Wear      bool // pads are placed or soft: say what to wear
	People    []CautionView
	Bring     []BillRow
	BuyHref   string
	Remedies  []string
	Better    string
	Follows   Follows  // what the pads placed before ask for
	Care      []Button // what of it is due
	Pads      []PadLine
	Hands     []Button // the first is the slab
	LogHref   string
	Undo      *UndoBar
	AsPlanned *AsPlanned
	Days      []DayLine
	Finish    string
}

func (Day) template() string { return "day" }

// DoLine is something to do or to watch: a figure, the order, the reason.
type DoLine struct{ Class, Word, Fig, Unit, Text, More, Source string }

// BillRow is one thing with how much of it.
type BillRow struct{ What, Note, Value string }

// PadLine is one pad's times in words.
type PadLine struct{ Name, Href, Head, Text string }

// Button is a form's button that logs something.
type Button struct {
	Kind, Words string
	Pads        []string
	Cover       string // that is laid; empty: none is
}

// NewDay makes the page of one date. ok is false where there is no such morning.
func NewDay(s Setting, date unit.Date, t takeoff.Takeoff) (page Day, ok bool) {
	i := slices.IndexFunc(s.Mornings, func(m job.Morning) bool { return m.Date == date })
	if i < 0 {
		return Day{}, false
	}
	page = s.day(s.Mornings[i], t)
	page.Days = s.days(date)
	return page, true
}

func (s Setting) day(m job.Morning, t takeoff.Takeoff) Day {
	p := Day{Frame: s.frame(s.Reader.Date(m.Date), NavNext), Verdict: s.verdict(m), Do: s.doLines(m.Cautions),
		BuyHref: s.href("/carry"), LogHref: s.href("/log"), Better: s.Reader.Say(notify.Better(m)), Undo: s.undoBar(),
		AsPlanned: s.asPlanned(),
		Finish:    s.finish(), Break: s.breakOut(), Bring: s.bring(m, t)}
	drawn := s.drawn(m)
	p.Narrow, p.Wide = draw.Section(drawn, false), draw.Section(drawn, true)
	for _, size := range []draw.Size{draw.Phone(), draw.Desk()} {
		if c := draw.Curves("c", m.Chart, s.Reader, size); c != "" {
			p.Curves = append(p.Curves, c)
		}
	}
	for _, x := range m.Remedies {
		p.Remedies = append(p.Remedies, s.remedy(m, x))
	}
	for _, t := range m.Pads {
		p.Pads = append(p.Pads, s.padLine(t))
	}
	p.Follows = s.follows(func(n today.Next) bool { return !ofAPour(n.Do) && s.allPlaced(n.Pads) })
	p.Care = s.hands(s.care()...)
	p.Notices = s.questionWords()
	if x := m.StandBy; x != nil {
		p.Notices = append(p.Notices, s.Reader.SayAll(x.Data))
	}
	if m.Date == s.Today() && s.Live.Day == today.Planned {
		p.Hands = s.hands(Button{Kind: string(pour.EntryStarted), Words: s.say(ButtonStarted)})
		if do := s.Live.Advice.Do; do == today.StartLater || do == today.Wait || do == today.Stop {
			p.Notices = append(p.Notices, s.Reader.Say(s.Live.Advice.Why))
		}
	}
	if len(m.Pads) > 0 {
		p.Wear = true
		p.People = s.people(concrete.WhenMixing, concrete.WhenPlacing, concrete.WhenThunder, concrete.WhenCleaning)
	}
	if p.Break != "" {
		p.Breaking = peopleLines(s.people(concrete.WhenBreaking))
	}
	return p
}

// drawn is a morning as its section shows it: on the day itself the pads placed
// come before those still to place.
func (s Setting) drawn(m job.Morning) draw.Day {
	d := draw.Day{ID: "d", Date: m.Date, FirstLight: m.Daylight.FirstLight, LastLight: m.Daylight.LastLight,
		Reader: s.Reader, Hours: hours(m.Chart)}
	if m.Window != nil && len(m.Pads) > 0 {
		d.Plumb = m.Window.Start
	}
	if m.Date == s.Today() {
		d.Plumb = s.Now
	}
	done := map[string]bool{}
	for _, t := range s.Standing {
		if !t.PlaceStart.IsZero() && unit.DateOf(t.PlaceStart, s.Zone) == m.Date {
			done[t.Pad] = true
			d.Pads = append(d.Pads, cast(t))
		}
	}
	for _, t := range m.Pads {
		if !done[t.Pad] {
			d.Pads = append(d.Pads, cast(t))
		}
	}
	return d
}

func cast(t job.PadTimes) draw.Cast {
	c := draw.Cast{Name: t.Pad, PlaceFrom: t.PlaceStart, PlaceUntil: t.PlaceEnd, FinishFrom: t.FinishStart,
		FinishUntil: t.FinishEnd}
	if !c.PlaceUntil.After(c.PlaceFrom) {
		c.PlaceUntil = c.PlaceFrom.Add(20 * time.Minute) // logged: how long it took is not known
	}
	if t.InitialSet != nil {
		c.Set = *t.InitialSet
	}
	return c
}

func hours(c *job.Chart) []draw.RainHour {
	if c == nil {
		return nil
	}
	out := make([]draw.RainHour, len(c.Hours))
	for i, h := range c.Hours {
		out[i] = draw.RainHour{Time: h.Time, Chance: h.RainChance}
	}
	return out
}

// bring is what a morning's pour takes along.
func (s Setting) bring(m job.Morning, t takeoff.Takeoff) []BillRow {
	i := slices.IndexFunc(t.Pours, func(d takeoff.Day) bool { return d.Date == m.Date })
	if i < 0 || len(m.Pads) == 0 {
		return nil
	}
	d, mix := t.Pours[i], s.Project.Mix
	out := []BillRow{{What: s.say(BringBags, message.Mass("bag", unit.Kilograms(mix.BagKg))), Value: s.count(d.Bags)},
		{What: s.say(BringWater), Note: s.say(BringWaterMost, message.Volume("most", d.WaterLMax)),
			Value: s.water(d.WaterL)}}
	for _, c := range s.Project.Stock.Covers {
		out = append(out, BillRow{What: s.say(BringCovers, message.Term("cover", c.Kind)), Value: s.count(c.Pads)})
	}
	if d.Trips != nil && s.Project.Crew.VehiclePayloadKg > 0 {
		out = append(out, BillRow{What: s.say(BringTrips), Value: s.count(*d.Trips),
			Note: s.say(BringTripLoad, message.Mass("load", unit.Kilograms(s.Project.Crew.VehiclePayloadKg)))})
	}
	return out
}

// doLines are the cautions of a morning, the most pressing first: a figure where
// there is one, the order, and the reason behind it.
func (s Setting) doLines(cs []job.Caution) []DoLine {
	levels := map[job.Severity]message.Code{job.Act: LevelAct, job.Watch: LevelWatch, job.Note: LevelNote}
	var out []DoLine
	for _, sev := range []job.Severity{job.Act, job.Watch, job.Note} {
		for _, c := range cs {
			if c.Severity != sev || c.Code == "times-are-estimates" { // the foot of every page says it
				continue
			}
			line := DoLine{Class: string(sev), Word: s.say(levels[sev]), Text: c.Text, Source: c.Source}
			if len(c.Data) > 0 {
				line.Text, line.More = s.Reader.Say(c.Data[0]), s.Reader.SayAll(c.Data[1:])
			}
			if c.Figure != nil {
				line.Fig = s.Reader.Figure(message.Named(c.Figure.Name, c.Figure.Value))
				if strings.HasSuffix(c.Figure.Name, "_days") {
					line.Fig = s.say(FigureDays, message.Number("days", math.Round(c.Figure.Value)))
				}
				if figure, unit := cutUnit(line.Fig); len(unit) > 3 {
					line.Fig, line.Unit = figure, unit
				}
			}
			out = append(out, line)
		}
	}
	return out
}

// allPlaced reports whether pads are named and all of them are placed.
func (s Setting) allPlaced(pads []string) bool {
	for _, name := range pads {
		i := slices.IndexFunc(s.Live.Pads, func(p history.Pad) bool { return p.Pad == name })
		if i < 0 || s.Live.Pads[i].PlacedAt == nil {
			return false
		}
	}
	return len(pads) > 0
}

func peopleLines(cs []CautionView) []DoLine {
	var out []DoLine
	for _, c := range cs {
		out = append(out, DoLine{Class: c.Class, Word: c.Word, Text: c.Text, Source: c.Source})
	}
	return out
}
