package view

import (
	"fmt"
	"html/template"
	"slices"
	"strings"
	"time"

	"dryslot/internal/concrete"
	"dryslot/internal/notify"
	"dryslot/internal/planner/job"
	"dryslot/internal/pour"
	"dryslot/internal/unit"
	"dryslot/internal/web/draw"
)

// Day is the page of one morning.
type Day struct {
	Frame       Frame
	Headline    string
	Start       string // when to start, when to be done
	Again       string // where to look again, while the first forecast is on its way
	Why         string
	Better      string // the nearest better option, in a line
	Facts       string
	Underway    []string // what to do with the pads that are soft now
	Break       string   // the lost pads, to be broken out
	Breaking    []CautionView
	Cautions    []CautionView
	Remedies    []string
	StripNarrow template.HTML
	StripWide   template.HTML
	Key         []KeyItem
	Pads        []PadLine
	Buy         string
	Safely      string // what to wear and have, in a line
	People      []CautionView
	LogFirst    bool // there is something to log now
	Quick       []string
	Kinds       []Kind
	LogHref     string
	ZoneName    string
	Now         string
	Days        []DayLine
	Finish      string
}

func (Day) template() string { return "day" }

// KeyItem explains one hatch.
type KeyItem struct {
	Swatch template.HTML
	Words  string
}

// PadLine is one pad's times in words.
type PadLine struct{ Name, Href, Place, Finish, Set, Strip, Walk, Chance string }

// DayLine is one coming date in words; without Href it stands for several.
type DayLine struct {
	Date, Words, Why, Href string
	Planned                bool // a pour is planned; on paper only these stand
}

// Kind is a thing to log.
type Kind struct{ Value, Words string }

// RainOnAll is the kind that logs rain on every pad that it can have harmed:
// whoever taps it in the rain must not have to think of each.
const RainOnAll = "rained_on_all"

// logKinds are the things logged most, in the order of a day.
func logKinds() []Kind {
	return []Kind{{"placed", "Placed"}, {"finished", "Finished"}, {"stripped", "Stripped"},
		{RainOnAll, "Rain on all soft pads"}, {"lost", "Lost"}, {"skipped", "Not poured"}, {"note", "Note"}}
}

// NewDay makes the page of one date. ok is false where there is no such morning.
func NewDay(s Setting, date unit.Date, buy string) (page Day, ok bool) {
	for _, m := range s.Mornings {
		if m.Date == date {
			page, ok = s.day(m, buy), true
		}
	}
	if !ok {
		return Day{}, false
	}
	page.Days = s.days()
	return page, true
}

// days lists the coming dates; those at the end on which no pad is left stand
// in one line.
func (s Setting) days() []DayLine {
	r := s.Reader()
	var out []DayLine
	last, known := -1, false
	for i, m := range s.Mornings {
		known = known || m.Score != nil
		if m.Score == nil || m.Verdict == job.VerdictHold || m.PadsPossible > 0 || len(m.Pads) > 0 {
			last = i
		}
	}
	if !known {
		return nil // ten times the same
	}
	for i, m := range s.Mornings {
		switch {
		case m.Date.Before(s.Today()):
		case i > last && i+1 < len(s.Mornings):
			return append(out, DayLine{Date: "From " + m.Date.Weekday().String() + " " + r.DayMonth(m.Date) + " on", Words: short(m, s.Plan), Why: s.why(m.Reason)})
		default:
			out = append(out, DayLine{Date: m.Date.Weekday().String() + " " + r.DayMonth(m.Date),
				Words: short(m, s.Plan), Why: s.why(m.Reason), Href: s.href("/day/" + m.Date.String()), Planned: s.pours(m.Date)})
		}
	}
	return out
}

func (s Setting) pours(d unit.Date) bool {
	for _, p := range s.Plan.Pours {
		if p.Date == d {
			return true
		}
	}
	return false
}

// why is a reason as a sentence in the reader's units.
func (s Setting) why(reason string) string { return sentence(s.Reader().Own(reason)) }

// wear is what keeps skin, eyes and lungs whole while mixing and placing; the
// cautions for people say the rest.
const wear = "gloves, boots, waterproof knees and eye protection; a dust mask to open bags; hands out of a turning drum; electric tools only behind a residual-current device (GFCI)."

func (s Setting) day(m job.Morning, buy string) Day {
	r := s.Reader()
	p := Day{
		Frame: s.frame(m.Date.String(), "Next pour"), Headline: notify.Headline(m, r), Start: notify.StartLine(m, r), Why: s.why(m.Reason),
		Cautions: s.cautionViews(m.Cautions), Buy: buy,
		LogHref: s.href("/log"), ZoneName: s.Project.TimeZone,
		Now: s.Now.In(s.Zone).Format("2006-01-02T15:04"), Kinds: logKinds()[:4],
	}
	p.Better = notify.BetterLine(m, r)
	p.Facts = facts(m, r)
	if m.Score == nil && s.Plan.State == pour.AwaitingForecast {
		p.Again = s.href("/day/" + m.Date.String())
	}
	for _, x := range m.Remedies {
		p.Remedies = append(p.Remedies, fmt.Sprintf("%s: then the verdict is “%s”, %d of 100.", upper(r.Own(x.Change)), x.Verdict, x.Score))
	}
	strip := draw.Strip{Zone: s.Zone, US: r.US, Now: s.Now, Size: draw.Phone()}
	p.StripNarrow = draw.DayStrip(s.drawn(m), strip)
	strip.Size = draw.Desk()
	p.StripWide = draw.DayStrip(s.drawn(m), strip)
	p.Key = []KeyItem{{draw.Swatch("placing"), "placing"}, {draw.Swatch("waiting"), "waiting"},
		{draw.Swatch("finishing"), "finishing"}, {draw.Swatch("setting"), "setting"}, {draw.Swatch("night"), "dark"}}
	for _, t := range m.Pads {
		p.Pads = append(p.Pads, PadLine{Name: t.Pad, Href: s.padHref(t.Pad),
			Place: r.Clock(t.PlaceStart) + " to " + r.Clock(t.PlaceEnd), Finish: r.Clock(t.FinishStart) + " to " + r.Clock(t.FinishEnd),
			Set: pair(r, t.InitialSet, t.FinalSet), Strip: moment(r, t.StripFrom), Walk: moment(r, t.WalkFrom), Chance: percent(t.ChanceUnharmed)})
	}
	p.Quick = s.quick(m)
	if m.Date == s.Today() {
		p.Underway = s.underway()
	}
	p.Break = s.breakOut()
	p.LogFirst = len(p.Underway) > 0 || m.Date == s.Today() && len(m.Pads) > 0
	if len(m.Pads) > 0 || len(p.Underway) > 0 {
		p.Safely = wear
		p.People = s.people(concrete.WhenMixing, concrete.WhenPlacing, concrete.WhenThunder, concrete.WhenCleaning)
	}
	if p.Break != "" {
		p.Breaking = s.people(concrete.WhenBreaking)
		for i := range p.Breaking {
			p.Breaking[i].Source = "" // what matters here is the work
		}
	}
	p.Finish = finish(s.Plan, r)
	return p
}

// facts is the second line: the figures most asked for.
func facts(m job.Morning, r notify.Reader) string {
	words := ""
	if d := m.Daylight; d.FirstLight != nil && d.LastLight != nil {
		words = fmt.Sprintf("First light %s, last light %s.", r.Clock(*d.FirstLight), r.Clock(*d.LastLight))
	}
	if t := m.Parts.Temperature; t.AirMinC != nil && t.AirMaxC != nil {
		words += fmt.Sprintf(" Air %s to %s.", r.Temperature(*t.AirMinC), r.Temperature(*t.AirMaxC))
	}
	if c := m.Parts.Rain.ChanceUnharmed; c != nil && len(m.Pads) > 0 {
		words += fmt.Sprintf(" Chance that no pad is lost: %s.", percent(*c))
	}
	if m.Score != nil && m.Verdict != job.VerdictHold {
		words += fmt.Sprintf(" The morning scores %d of 100.", *m.Score)
	}
	return words
}

// underway says what the pads that are not strong yet want, the next thing first.
func (s Setting) underway() []string {
	type task struct {
		at    time.Time
		words string
	}
	r := s.Reader()
	var tasks []task
	for _, t := range s.Standing {
		rec := s.record(t.Pad)
		switch {
		case rec.State == pour.Placed && !t.FinishStart.IsZero():
			tasks = append(tasks, task{t.FinishStart, fmt.Sprintf("%s is soft: finish it between %s and %s; it sets at about %s.", t.Pad, r.When(t.FinishStart), r.Clock(t.FinishEnd), moment(r, t.FinalSet))})
		case rec.State == pour.Finished && t.FinalSet != nil && s.Now.Before(*t.FinalSet):
			tasks = append(tasks, task{*t.FinalSet, fmt.Sprintf("%s is finished and still soft: keep rain and feet off it until about %s.", t.Pad, r.When(*t.FinalSet))})
		case rec.State == pour.Finished && t.StripFrom != nil:
			tasks = append(tasks, task{*t.StripFrom, fmt.Sprintf("%s: strip it from %s, walk on it from %s, keep it damp until %s.", t.Pad, r.When(*t.StripFrom), moment(r, t.WalkFrom), moment(r, t.CuredBy))})
		}
	}
	slices.SortStableFunc(tasks, func(a, b task) int { return a.at.Compare(b.at) })
	var out []string
	for _, t := range tasks {
		out = append(out, t.words)
	}
	return out
}

// breakOut says which pads are to be broken out; empty: none.
func (s Setting) breakOut() string {
	var names []string
	for _, rec := range s.Records {
		if rec.State == pour.Lost {
			names = append(names, rec.Pad)
		}
	}
	switch len(names) {
	case 0:
		return ""
	case 1:
		return "Break out " + names[0] + " soon, while it is weak: its place is to be poured again."
	}
	return "Break out " + strings.Join(names, ", ") + " soon, while they are weak: their places are to be poured again."
}

// drawn is a morning as the strip shows it: on the day itself the pads under
// way come before those still to place.
func (s Setting) drawn(m job.Morning) job.Morning {
	var pads []job.PadTimes
	for _, t := range s.Standing {
		if !t.PlaceStart.IsZero() && unit.DateOf(t.PlaceStart, s.Zone) == m.Date {
			pads = append(pads, t)
		}
	}
	m.Pads = append(pads, m.Pads...)
	return m
}

// quick lists the pads most likely to be logged now: those under way first,
// then those of the morning, then the rest.
func (s Setting) quick(m job.Morning) []string {
	var names []string
	seen := map[string]bool{}
	add := func(n string) {
		if !seen[n] {
			seen[n] = true
			names = append(names, n)
		}
	}
	for _, rec := range s.Records {
		if rec.State == pour.Placed || rec.State == pour.Finished {
			add(rec.Pad)
		}
	}
	for _, t := range m.Pads {
		add(t.Pad)
	}
	for _, p := range s.Project.Pads {
		add(p.Name)
	}
	return names
}

// short is one line of the coming days.
func short(m job.Morning, plan pour.Plan) string {
	for _, p := range plan.Pours {
		if p.Date == m.Date {
			return fmt.Sprintf("%s %s planned, %s not to lose one", notify.Count(len(p.Pads)), pads(len(p.Pads)), percent(p.ChanceUnharmed))
		}
	}
	if m.Score == nil {
		return "not known yet"
	}
	if m.Verdict == job.VerdictHold {
		return "no pour"
	}
	if m.PadsPossible == 0 {
		return "nothing to pour"
	}
	return fmt.Sprintf("room for %s %s, none planned", notify.Count(m.PadsPossible), pads(m.PadsPossible))
}

func finish(p pour.Plan, r notify.Reader) string {
	switch {
	case p.State == pour.Done:
		return "Every pad is poured."
	case p.Finish.Likely == nil:
		return ""
	case p.Finish.NineInTen == nil || *p.Finish.NineInTen == *p.Finish.Likely:
		return "The last pad is likely placed " + r.Day(*p.Finish.Likely) + "."
	}
	return "The last pad is likely placed " + r.Day(*p.Finish.Likely) + ", and nine times in ten by " + p.Finish.NineInTen.Weekday().String() + " " + r.DayMonth(*p.Finish.NineInTen) + "."
}

func pads(n int) string {
	if n == 1 {
		return "pad"
	}
	return "pads"
}

func moment(r notify.Reader, t *time.Time) string {
	if t == nil {
		return "not within the forecast"
	}
	return r.When(*t)
}

func pair(r notify.Reader, a, b *time.Time) string {
	if a == nil || b == nil {
		return "not within the forecast"
	}
	return r.Clock(*a) + ", " + r.Clock(*b)
}
