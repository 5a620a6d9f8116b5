// Package check owns the independent checking of plans: given a project and a
// timed plan it lists every rule that the plan breaks. It knows nothing of how
// plans are found, so that a mistake there is not repeated here.
//
//	faults := check.Plan(situation, days)
package check

import (
	"fmt"
	"math"
	"slices"
	"time"

	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

// Situation is what a plan has to respect.
type Situation struct {
	Spec    pour.Spec
	Records []pour.PadRecord
	Now     time.Time
	Zone    *time.Location
	DayBags func(pads []string) int                          // bags of pads placed on one day; nil: each takes its own
	Bags    map[string]int                                   // bags that each pad takes
	Light   func(unit.Date) (first, last time.Time, ok bool) // civil light of a date
	FreeAt  map[string]time.Time                             // pads in their forms now: when each may be stripped
	CuredAt map[string]time.Time                             // pads placed already: when each is cured
}

// Day is one pour with its times.
type Day struct {
	Date       unit.Date
	Start, End time.Time // setting up begins, cleaning up ends
	Pads       []Timed
	Waits      []Span     // with people there and nothing placed
	Covers     []Covering // laid over soft pads
	Sheets     int        // that there are
}

// Span is a stretch of time.
type Span struct{ From, To time.Time }

// Covering is sheets laid over some pads.
type Covering struct {
	Span
	Pads        []string
	MinutesEach float64 // of one person
}

// Timed is one pad of a pour.
type Timed struct {
	Pad                     string
	PlaceStart, PlaceEnd    time.Time
	FinishStart, FinishEnd  time.Time
	FinishFrom, FinishUntil time.Time // the window in which it can be finished
	StripFrom, CuredBy      time.Time // zero: not within the weather known
	ChanceUnharmed          float64
}

// tolerance forgives rounding of times to the second.
const tolerance = time.Second

// Plan returns every rule broken, in words; none for a sound plan.
func Plan(s Situation, days []Day) []string {
	c := &checker{s: s, pads: map[string]pour.Pad{}, rec: map[string]pour.PadRecord{}, timed: map[string]Timed{}}
	for _, p := range s.Spec.Pads {
		c.pads[p.Name] = p
	}
	for _, r := range s.Records {
		c.rec[r.Pad] = r
	}
	for _, d := range days {
		for _, t := range d.Pads {
			c.known(d, t)
		}
	}
	last := unit.Date{}
	for _, d := range days {
		if !last.IsZero() && !last.Before(d.Date) {
			c.fault("the pour of %s does not come after that of %s", d.Date, last)
		}
		last = d.Date
		c.hours(d)
		c.hands(d)
		c.waits(d)
		c.covers(d)
		for _, t := range d.Pads {
			c.order(d, t)
			c.window(d, t)
			if t.ChanceUnharmed < 1-s.Spec.Limits.RainRisk-1e-9 {
				c.fault(
					"%s on %s: chance unharmed %.4f is below 1 - rain_risk = %.4f",
					t.Pad,
					d.Date,
					t.ChanceUnharmed,
					1-s.Spec.Limits.RainRisk,
				)
			}
		}
	}
	c.forms(days)
	c.material(days)
	return c.faults
}

type checker struct {
	s      Situation
	pads   map[string]pour.Pad
	rec    map[string]pour.PadRecord
	timed  map[string]Timed
	faults []string
}

func (c *checker) fault(format string, args ...any) {
	c.faults = append(c.faults, fmt.Sprintf(format, args...))
}

// known refuses pads that do not exist, come twice, or are poured already.
func (c *checker) known(d Day, t Timed) {
	if _, ok := c.pads[t.Pad]; !ok {
		c.fault("%s on %s: no such pad", t.Pad, d.Date)
	}
	if _, twice := c.timed[t.Pad]; twice {
		c.fault("%s is planned twice", t.Pad)
	}
	if poured(c.rec[t.Pad].State) {
		c.fault("%s on %s: it is %s already", t.Pad, d.Date, c.rec[t.Pad].State)
	}
	if r := c.rec[t.Pad]; r.State == pour.Lost && r.LostAt != nil && !unit.DateOf(*r.LostAt, c.s.Zone).Before(d.Date) {
		c.fault("%s on %s: it was lost that day, and is broken out in the evening", t.Pad, d.Date)
	}
	c.timed[t.Pad] = t
}

func poured(s pour.State) bool {
	return s == pour.Placed || s == pour.Finished || s == pour.Stripped || s == pour.Cured
}

// hours holds the crew's days and hours, the light, and the present.
func (c *checker) hours(d Day) {
	crew := c.s.Spec.Crew
	if d.Date != unit.DateOf(d.Start, c.s.Zone) {
		c.fault("the pour of %s starts at %s, another day", d.Date, d.Start.In(c.s.Zone))
	}
	if !slices.Contains(crew.Days, weekday(d.Date.Weekday())) {
		c.fault("%s is a %s, on which the crew does not work", d.Date, d.Date.Weekday())
	}
	if d.Start.Before(d.Date.At(crew.EarliestStart, c.s.Zone).Add(-tolerance)) {
		c.fault("%s starts at %s, before the crew's earliest start", d.Date, d.Start.In(c.s.Zone).Format("15:04"))
	}
	if d.End.After(d.Date.At(crew.LatestFinish, c.s.Zone).Add(tolerance)) {
		c.fault("%s ends at %s, after the crew's latest finish", d.Date, d.End.In(c.s.Zone).Format("15:04"))
	}
	if d.Start.Before(c.s.Now.Add(-tolerance)) {
		c.fault("%s starts before now", d.Date)
	}
	first, last, ok := c.s.Light(d.Date)
	if !ok {
		return // light all day
	}
	for _, t := range d.Pads {
		if t.PlaceStart.Before(first.Add(-tolerance)) || t.FinishEnd.After(last.Add(tolerance)) {
			c.fault("%s on %s is worked outside first and last light", t.Pad, d.Date)
		}
	}
}

func weekday(w time.Weekday) string {
	return [...]string{"sun", "mon", "tue", "wed", "thu", "fri", "sat"}[w]
}

// order holds every "after" of a pad.
func (c *checker) order(d Day, t Timed) {
	for _, a := range c.pads[t.Pad].After {
		at, ok := c.reached(a)
		if !ok {
			c.fault("%s on %s: %s is never %s before it", t.Pad, d.Date, a.Pad, a.Until)
		} else if at.After(t.PlaceStart.Add(tolerance)) {
			c.fault("%s on %s: %s is %s only at %s", t.Pad, d.Date, a.Pad, a.Until, at.In(c.s.Zone))
		}
	}
}

// reached returns when a pad has come as far as is asked.
func (c *checker) reached(a pour.After) (time.Time, bool) {
	r := c.rec[a.Pad]
	rank := map[pour.State]int{pour.Placed: 1, pour.Finished: 2, pour.Stripped: 3, pour.Cured: 4}
	if rank[r.State] >= rank[a.Until] {
		return time.Time{}, true
	}
	if poured(r.State) {
		switch a.Until {
		case pour.Finished:
			return c.s.Now, true // it is being finished today, before anything planned
		case pour.Stripped:
			at, ok := c.s.FreeAt[a.Pad]
			return at, ok
		case pour.Cured:
			at, ok := c.s.CuredAt[a.Pad]
			return at, ok
		}
	}
	t, ok := c.timed[a.Pad]
	if !ok {
		return time.Time{}, false
	}
	at := map[pour.State]time.Time{pour.Placed: t.PlaceEnd, pour.Finished: t.FinishEnd, pour.Stripped: t.StripFrom,
		pour.Cured: t.CuredBy}[a.Until]
	return at, !at.IsZero()
}

// window holds the finishing window.
func (c *checker) window(d Day, t Timed) {
	switch {
	case t.PlaceEnd.Before(t.PlaceStart) || t.FinishEnd.Before(t.FinishStart) ||
		t.FinishStart.Before(t.PlaceEnd.Add(-tolerance)):
		c.fault("%s on %s: its times run backwards", t.Pad, d.Date)
	case t.FinishStart.Before(t.FinishFrom.Add(-tolerance)):
		c.fault(
			"%s on %s is finished from %s, before its window opens at %s",
			t.Pad,
			d.Date,
			t.FinishStart.In(c.s.Zone).Format("15:04"),
			t.FinishFrom.In(c.s.Zone).Format("15:04"),
		)
	case t.FinishEnd.After(t.FinishUntil.Add(tolerance)):
		c.fault(
			"%s on %s is finished at %s, after its window closes at %s",
			t.Pad,
			d.Date,
			t.FinishEnd.In(c.s.Zone).Format("15:04"),
			t.FinishUntil.In(c.s.Zone).Format("15:04"),
		)
	}
}

// task is a stretch of work that takes so many person-minutes.
type task struct {
	from, to time.Time
	work     float64
}

// hands holds that people are not in two places: in any stretch of time, the
// work that lies wholly within it is no more than the crew can do in it.
func (c *checker) hands(d Day) {
	crew := c.s.Spec.Crew
	var tasks []task
	for _, t := range d.Pads {
		area := c.pads[t.Pad].AreaM2()
		place := float64(c.s.Bags[t.Pad])/crew.BagsPerHour*60 + area*crew.StrikeOffMinPerM2
		tasks = append(
			tasks,
			task{t.PlaceStart, t.PlaceEnd, place},
			task{t.FinishStart, t.FinishEnd, area * crew.FinishMinPerM2},
		)
	}
	for _, x := range d.Covers {
		tasks = append(tasks, task{x.From, x.To, x.MinutesEach * float64(len(x.Pads))})
	}
	for _, a := range tasks {
		for _, b := range tasks {
			if !b.to.After(a.from) {
				continue
			}
			need := 0.0
			for _, k := range tasks {
				if !k.from.Before(a.from) && !k.to.After(b.to) {
					need += k.work
				}
			}
			if have := b.to.Sub(a.from).Minutes() * float64(crew.People); need > have+1 {
				c.fault("%s: from %s to %s there are %.0f person-minutes of work and %.0f to be had", d.Date,
					a.from.In(c.s.Zone).Format("15:04"), b.to.In(c.s.Zone).Format("15:04"), need, have)
				return
			}
		}
	}
}

// waits holds that nothing is placed and nothing else is done while the crew
// waits, and that it waits within its day.
func (c *checker) waits(d Day) {
	for _, w := range d.Waits {
		if w.From.Before(d.Start.Add(-tolerance)) ||
			w.To.After(d.Date.At(c.s.Spec.Crew.LatestFinish, c.s.Zone).Add(tolerance)) ||
			w.To.Before(w.From) {
			c.fault("the wait of %s from %s to %s lies outside the day", d.Date, w.From.In(c.s.Zone), w.To.In(c.s.Zone))
		}
		for _, t := range d.Pads {
			if overlap(w, Span{t.PlaceStart, t.PlaceEnd}) || overlap(w, Span{t.FinishStart, t.FinishEnd}) {
				c.fault("%s on %s is worked on while the crew waits", t.Pad, d.Date)
			}
		}
	}
}

func overlap(a, b Span) bool {
	return a.From.Add(tolerance).Before(b.To) && b.From.Add(tolerance).Before(a.To)
}

// covers holds that only pads placed that day are covered, after placing, once
// each, and no more than there are sheets.
func (c *checker) covers(d Day) {
	placed := map[string]time.Time{}
	for _, t := range d.Pads {
		placed[t.Pad] = t.PlaceEnd
	}
	laid := map[string]bool{}
	for _, x := range d.Covers {
		for _, name := range x.Pads {
			end, ok := placed[name]
			switch {
			case !ok:
				c.fault("%s is covered on %s, but not placed that day", name, d.Date)
			case x.From.Before(end.Add(-tolerance)):
				c.fault("%s on %s is covered before it is placed", name, d.Date)
			case laid[name]:
				c.fault("%s on %s is covered twice", name, d.Date)
			}
			laid[name] = true
		}
	}
	if len(laid) > d.Sheets {
		c.fault("%s: %d pads are covered and there are %d sheets", d.Date, len(laid), d.Sheets)
	}
}

// material checks that each day has its bags: those counted and those delivered
// since, less what was used by pads poured after the count and by pads lost.
func (c *checker) material(days []Day) {
	stock := c.s.Spec.Stock
	if stock.BagsOnHand == nil {
		return
	}
	before := func(t time.Time) bool { return stock.CountedAt != nil && t.Before(*stock.CountedAt) }
	used := 0
	for name := range c.pads {
		r := c.rec[name]
		n := r.Losses
		if poured(r.State) {
			n++
		}
		for _, x := range r.Castings {
			n--
			switch {
			case before(x.At):
			case x.Bags != nil && *x.Bags > 0:
				used += int(math.Ceil(*x.Bags - 1e-9))
			default:
				used += c.s.Bags[name]
			}
		}
		used += max(0, n) * c.s.Bags[name]
	}
	for _, d := range days {
		have := *stock.BagsOnHand
		for _, x := range stock.Deliveries {
			if !d.Date.Before(x.Date) && !before(x.Date.At(0, c.s.Zone)) {
				have += x.Bags
			}
		}
		var pads []string
		for _, t := range d.Pads {
			pads = append(pads, t.Pad)
		}
		used += c.dayBags(pads)
		if used > have {
			c.fault("by %s %d bags are used and %d are there", d.Date, used, have)
		}
	}
}

func (c *checker) dayBags(pads []string) int {
	if c.s.DayBags != nil {
		return c.s.DayBags(pads)
	}
	n := 0
	for _, p := range pads {
		n += c.s.Bags[p]
	}
	return n
}
