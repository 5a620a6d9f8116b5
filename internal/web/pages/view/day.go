package view

import (
	"html/template"
	"slices"
	"strings"
	"time"

	"dryslot/internal/concrete"
	"dryslot/internal/message"
	"dryslot/internal/notify"
	"dryslot/internal/planner/job"
	"dryslot/internal/pour"
	"dryslot/internal/say"
	"dryslot/internal/unit"
	"dryslot/internal/web/draw"
)

// Day is the page of one morning.
type Day struct {
	Frame
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
	Wear        bool // pads are placed or soft: say what to wear
	People      []CautionView
	LogFirst    bool // there is something to log now
	Quick       []string
	Kinds       []Kind
	LogHref     string
	When        string // label of the time of an entry
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
type PadLine struct{ Name, Href, Head, Text, Place, Finish, Set, Strip, Walk, Chance string }

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
func logKinds(r say.Reader) []Kind {
	var out []Kind
	for _, k := range []struct {
		value string
		code  message.Code
	}{{"placed", ButtonPlaced}, {"finished", ButtonFinished}, {"stripped", ButtonStripped}, {RainOnAll, ButtonRainedOnAll},
		{"lost", ButtonLost}, {"skipped", ButtonSkipped}, {"note", ButtonNote}} {
		out = append(out, Kind{k.value, r.Label(k.code)})
	}
	return out
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
		line := DayLine{Date: upper(s.Reader.Figure(message.Date("", m.Date))), Words: s.short(m), Why: sentence(m.Reason)}
		switch {
		case m.Date.Before(s.Today()):
		case i > last && i+1 < len(s.Mornings):
			line.Date = s.say(DaysFrom, message.Date("", m.Date))
			return append(out, line)
		default:
			line.Href, line.Planned = s.href("/day/"+m.Date.String()), s.pours(m.Date)
			out = append(out, line)
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

func (s Setting) day(m job.Morning, buy string) Day {
	r := s.Reader
	p := Day{
		Frame:    s.frame(r.Date(m.Date), NavNext),
		Headline: upper(r.Say(notify.Headline(m))), Start: r.Say(notify.StartLine(m)), Why: sentence(m.Reason),
		Cautions: s.cautionViews(m.Cautions), Buy: buy,
		LogHref: s.href("/log"), When: s.say(LogWhen, message.Name("zone", s.Project.TimeZone)),
		Now: s.Now.In(s.Zone).Format("2006-01-02T15:04"), Kinds: logKinds(r)[:4],
	}
	p.Better = r.Say(notify.Better(m))
	p.Facts = s.facts(m)
	if m.Score == nil && s.Plan.State == pour.AwaitingForecast {
		p.Again = s.href("/day/" + m.Date.String())
	}
	for _, x := range m.Remedies {
		p.Remedies = append(p.Remedies, s.remedy(m, x))
	}
	s.strip(m, &p)
	for _, t := range m.Pads {
		p.Pads = append(p.Pads, s.padLine(t))
	}
	p.Quick = s.quick(m)
	if m.Date == s.Today() {
		p.Underway = s.underway()
	}
	p.Break = s.breakOut()
	p.LogFirst = len(p.Underway) > 0 || m.Date == s.Today() && len(m.Pads) > 0
	if len(m.Pads) > 0 || len(p.Underway) > 0 {
		p.Wear = true
		p.People = s.people(concrete.WhenMixing, concrete.WhenPlacing, concrete.WhenThunder, concrete.WhenCleaning)
	}
	if p.Break != "" {
		p.Breaking = s.people(concrete.WhenBreaking)
		for i := range p.Breaking {
			p.Breaking[i].Source = "" // what matters here is the work
		}
	}
	p.Finish = s.finish()
	return p
}

// remedy says what a change would make of a morning.
func (s Setting) remedy(m job.Morning, x job.Remedy) string {
	code := map[job.Verdict]message.Code{job.VerdictPour: RemedyPour, job.VerdictCare: RemedyCare,
		job.VerdictHold: RemedyHold}[x.Verdict]
	if x.Verdict == job.VerdictCare && m.Verdict == job.VerdictCare {
		code = RemedyOdds
	}
	return s.say(code, message.Text("change", upper(x.Change)))
}

// strip draws the day, with a key.
func (s Setting) strip(m job.Morning, p *Day) {
	r := s.Reader
	strip := draw.Strip{Reader: r, Now: s.Now, Size: draw.Phone()}
	p.StripNarrow = draw.DayStrip(s.drawn(m), strip)
	strip.Size = draw.Desk()
	p.StripWide = draw.DayStrip(s.drawn(m), strip)
	p.Key = []KeyItem{{draw.Swatch("placing"), r.Label(KeyPlacing)}, {draw.Swatch("waiting"), r.Label(KeyWaiting)},
		{draw.Swatch("finishing"), r.Label(KeyFinishing)}, {draw.Swatch("setting"), r.Label(KeySetting)},
		{draw.Swatch("night"), r.Label(KeyDark)}}
}

func (s Setting) padLine(t job.PadTimes) PadLine {
	clocks := func(from, to time.Time) string {
		return s.say(SpanClock, message.At("from", from), message.At("until", to))
	}
	line := PadLine{Name: t.Pad, Href: s.padHref(t.Pad), Place: clocks(t.PlaceStart, t.PlaceEnd),
		Finish: clocks(t.FinishStart, t.FinishEnd), Set: s.pair(t.InitialSet, t.FinalSet), Strip: s.moment(t.StripFrom),
		Walk: s.moment(t.WalkFrom), Chance: s.chance(t.ChanceUnharmed)}
	line.Head = s.say(PadLineHead, message.Name("pad", t.Pad), message.Text("place", line.Place))
	line.Text = s.say(PadLineText, message.Text("finish", line.Finish), message.Text("set", line.Set),
		message.Text("strip", line.Strip), message.Text("walk", line.Walk), message.Chance("", t.ChanceUnharmed))
	return line
}

// facts is the second line: the figures most asked for.
func (s Setting) facts(m job.Morning) string {
	var said []string
	if d := m.Daylight; d.FirstLight != nil && d.LastLight != nil {
		said = append(said, s.say(DayLight, message.At("first", *d.FirstLight), message.At("last", *d.LastLight)))
	}
	if t := m.Parts.Temperature; t.AirMinC != nil && t.AirMaxC != nil {
		said = append(said, s.say(DayAir, message.Temperature("low", unit.Celsius(*t.AirMinC)),
			message.Temperature("high", unit.Celsius(*t.AirMaxC))))
	}
	if c := m.Parts.Rain.ChanceUnharmed; c != nil && len(m.Pads) > 0 {
		said = append(said, s.say(DayChance, message.Chance("", *c), message.Count("count", len(m.Pads))))
	}
	return strings.Join(said, " ")
}

// underway says what the pads that are not strong yet want, the next thing first.
func (s Setting) underway() []string {
	type task struct {
		at    time.Time
		words string
	}
	var tasks []task
	add := func(at time.Time, said ...string) {
		said = slices.DeleteFunc(said, func(w string) bool { return w == "" })
		tasks = append(tasks, task{at, strings.Join(said, " ")})
	}
	known := func(code message.Code, name string, at *time.Time) string {
		if at == nil {
			return ""
		}
		return s.say(code, message.At(name, *at))
	}
	for _, t := range s.Standing {
		rec, pad := s.record(t.Pad), message.Name("pad", t.Pad)
		switch {
		case rec.State == pour.Placed && !t.FinishStart.IsZero():
			add(t.FinishStart, s.say(DaySoft, pad, message.At("from", t.FinishStart), message.At("until", t.FinishEnd)),
				known(DaySets, "set", t.FinalSet))
		case rec.State == pour.Finished && t.FinalSet != nil && s.Now.Before(*t.FinalSet):
			add(*t.FinalSet, s.say(DayKeepOff, pad, message.At("until", *t.FinalSet)))
		case rec.State == pour.Finished && t.StripFrom != nil:
			add(*t.StripFrom, s.say(DayStrip, pad, message.At("strip", *t.StripFrom)), known(DayWalk, "walk", t.WalkFrom),
				known(DayDamp, "cured", t.CuredBy))
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
	if len(names) == 0 {
		return ""
	}
	return s.say(DayBreak, message.Names("pads", names))
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
func (s Setting) short(m job.Morning) string {
	for _, p := range s.Plan.Pours {
		if p.Date == m.Date {
			return s.say(DayPlanned, message.Count("count", len(p.Pads)), message.Chance("", p.ChanceUnharmed))
		}
	}
	switch {
	case m.Score == nil:
		return s.say(DayUnknown)
	case m.Verdict == job.VerdictHold:
		return s.say(DayHold)
	case m.PadsPossible == 0:
		return s.say(DayNothing)
	}
	return s.say(DayRoom, message.Count("count", m.PadsPossible))
}

func (s Setting) finish() string {
	p := s.Plan
	switch {
	case p.State == pour.Done:
		return s.say(FinishDone)
	case p.Finish.Likely == nil:
		return ""
	case p.Finish.NineInTen == nil || *p.Finish.NineInTen == *p.Finish.Likely:
		return s.say(FinishLikely, message.Date("", *p.Finish.Likely))
	}
	return s.say(FinishBy, message.Date("", *p.Finish.Likely), message.Date("by", *p.Finish.NineInTen))
}

func (s Setting) moment(t *time.Time) string {
	if t == nil {
		return s.say(BeyondForecast)
	}
	return s.Reader.Moment(*t)
}

func (s Setting) pair(a, b *time.Time) string {
	if a == nil || b == nil {
		return s.say(BeyondForecast)
	}
	return s.say(TwoClocks, message.At("first", *a), message.At("last", *b))
}
