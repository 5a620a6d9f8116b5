package today

import (
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"dryslot/internal/history"
	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

// day is one answer being worked out.
type day struct {
	*Given
	date   unit.Date
	slabs  map[string]Slab
	moment Moment
	left   []Step // of the date, not begun
	later  []Step // of the next date
	begun  bool   // set-up has begun, by the log or by the plan
}

func newDay(g *Given) *day {
	d := &day{Given: g, date: unit.DateOf(g.Now, g.Zone), slabs: map[string]Slab{}}
	for i := range g.State.Pads {
		p := &g.State.Pads[i]
		if p.PlacedAt == nil || p.Phase == history.Cured || g.Slab == nil {
			continue
		}
		if s, ok := g.Slab(p.Pad, *p.PlacedAt); ok {
			d.slabs[p.Pad] = s
		}
	}
	d.gangs()
	for _, s := range g.Steps {
		p := d.pad(s.Pad)
		switch {
		case p == nil, p.PlacedAt != nil:
		case d.called(s.Pad, s.PlaceFrom):
		case unit.DateOf(s.PlaceFrom, g.Zone) == d.date:
			d.left = append(d.left, s)
		default:
			d.later = append(d.later, s)
		}
	}
	d.begun = g.State.Day.StartedAt != nil || d.placedToday() > 0 ||
		len(d.left) > 0 && !d.setUpFrom(d.left[0]).After(g.Now)
	d.moment = d.known()
	return d
}

// gangs has the pads of a gang form wait for each other with stripping: those whose
// placing began on one date, as in a plan.
func (d *day) gangs() {
	var all []pour.Stripping
	for i := range d.State.Pads {
		p := &d.State.Pads[i]
		if s, ok := d.slabs[p.Pad]; ok && p.StrippedAt == nil {
			all = append(all, pour.Stripping{Pad: p.Pad, Placed: unit.DateOf(s.PlacedFrom, d.Zone), From: s.StripFrom})
		}
	}
	d.Spec.StripTogether(all)
	for _, x := range all {
		s := d.slabs[x.Pad]
		s.StripFrom = x.From
		d.slabs[x.Pad] = s
	}
}

// called reports whether the builder has called a pad off on the date of a step.
func (d *day) called(pad string, at time.Time) bool {
	return slices.ContainsFunc(d.State.Counted, func(e pour.LogEntry) bool {
		return e.Kind == pour.EntrySkipped && (e.Pad == "" || e.Pad == pad) && sameDate(e.At, at, d.Zone)
	})
}

func (d *day) pad(name string) *history.Pad {
	for i := range d.State.Pads {
		if d.State.Pads[i].Pad == name {
			return &d.State.Pads[i]
		}
	}
	return nil
}

func (d *day) setUpFrom(first Step) time.Time {
	return first.PlaceFrom.Add(-time.Duration(d.Spec.Crew.SetUpMin * float64(time.Minute)))
}

// begins is when setting up was planned to begin on the date.
func (d *day) begins() (at time.Time) {
	for _, s := range d.Steps {
		if x := d.setUpFrom(s); sameDate(s.PlaceFrom, d.Now, d.Zone) && (at.IsZero() || x.Before(at)) {
			at = x
		}
	}
	return at
}

func (d *day) placedToday() int {
	n := 0
	for i := range d.State.Pads {
		if at := d.State.Pads[i].PlacedAt; at != nil && unit.DateOf(*at, d.Zone) == d.date {
			n++
		}
	}
	return n
}

// phase is how far the day has come.
func (d *day) phase() Phase {
	switch {
	case d.begun && (len(d.left) > 0 || d.unfinished()):
		return UnderWay
	case d.placedToday() > 0:
		return Done
	case d.begun && d.State.Day.StartedAt != nil && !d.State.Day.Skipped:
		return UnderWay
	case len(d.left) > 0:
		return Planned
	}
	return Off
}

// unfinished reports whether concrete placed today is soft, or waits to be finished.
func (d *day) unfinished() bool {
	return slices.ContainsFunc(d.State.Pads, func(p history.Pad) bool {
		return p.Phase == history.Placing || p.PlacedAt != nil && unit.DateOf(*p.PlacedAt, d.Zone) == d.date &&
			(p.FinishedAt == nil && p.Phase != history.Hard || p.Phase == history.Soft)
	})
}

// known is what is known now.
func (d *day) known() Moment {
	m := Moment{Now: d.Now, SetUp: d.begun && (d.State.Day.StartedAt != nil || d.placedToday() > 0 ||
		len(d.left) > 0 && !d.left[0].PlaceFrom.After(d.Now)), Raining: d.State.Day.RainSince != nil,
		Nowcast: d.Nowcast}
	for i := range d.State.Pads {
		p := &d.State.Pads[i]
		switch {
		case p.PlacedAt != nil && (unit.DateOf(*p.PlacedAt, d.Zone) == d.date || p.Phase == history.Soft):
			from := *p.PlacedAt
			if s, ok := d.slabs[p.Pad]; ok {
				from = s.PlacedFrom
			}
			m.Placed = append(m.Placed, Placed{Pad: p.Pad, At: from, Finished: p.FinishedAt != nil, Covered: p.Covered})
		case p.PlacedAt == nil && p.Phase == history.Placing:
			m.Placed = append(m.Placed, Placed{Pad: p.Pad, At: *p.PlacingAt})
		}
	}
	for _, s := range d.left {
		if d.inHand(s) && !slices.ContainsFunc(m.Placed, func(p Placed) bool { return p.Pad == s.Pad }) {
			m.Placed = append(m.Placed, Placed{Pad: s.Pad, At: s.PlaceFrom})
		}
	}
	hour := d.Now.Truncate(time.Hour)
	for k := range m.Before {
		m.Before[k] = d.seen(hour.Add(-time.Duration(k+1)*time.Hour), hour.Add(-time.Duration(k)*time.Hour))
	}
	return m
}

// inHand reports whether a step is being done, unless it rains: its pad is one
// that has been begun, and what is decided is about the next.
func (d *day) inHand(s Step) bool {
	return !s.PlaceFrom.After(d.Now) && s.PlaceUntil.After(d.Now) && d.State.Day.RainSince == nil
}

// free is when the crew can begin the next pad: when it has set up, and the pad
// in hand is placed.
func (d *day) free() time.Time {
	at := d.Now
	for i, s := range d.left {
		switch {
		case d.inHand(s):
			at = later(at, s.PlaceUntil)
		case i == 0 && d.placedToday() == 0 && d.State.Day.RainSince == nil:
			at = later(at, s.PlaceFrom)
		}
	}
	return at
}

// seen returns the rain in mm that was seen between two instants; NaN: not
// known. A crew that has logged its start by then would have logged rain
// (judgement): where none was logged, none fell.
func (d *day) seen(from, to time.Time) float64 {
	sum, any := 0.0, false
	for _, s := range d.State.Rain {
		if !s.From.Before(to) || !s.To.After(from) {
			continue
		}
		any = true
		length := s.To.Sub(s.From)
		if s.RainMM == nil || s.Open || length <= 0 {
			return math.NaN()
		}
		a, b := s.From, s.To
		if a.Before(from) {
			a = from
		}
		if b.After(to) {
			b = to
		}
		sum += *s.RainMM * float64(b.Sub(a)) / float64(length)
	}
	if at := d.State.Day.StartedAt; !any && (at == nil || at.After(from)) {
		return math.NaN()
	}
	return sum
}

// soft returns the pads that have not set, with those being placed.
func (d *day) soft() []*history.Pad {
	var out []*history.Pad
	for i := range d.State.Pads {
		if p := &d.State.Pads[i]; p.Phase == history.Soft || p.Phase == history.Placing {
			out = append(out, p)
		}
	}
	return out
}

// softUntil is the initial set of a pad; of one that is being placed, or whose
// set is not known, what the slab of one placed now would take.
func (d *day) softUntil(p *history.Pad) (time.Time, bool) {
	if p.InitialSet != nil {
		return *p.InitialSet, true
	}
	if d.Slab == nil {
		return time.Time{}, false
	}
	s, ok := d.Slab(p.Pad, d.Now)
	return s.InitialSet, ok && !s.InitialSet.IsZero()
}

// expect fills in what rain is to be expected.
func (d *day) expect(ctx context.Context, r *Rain) error {
	if d.Decider == nil {
		return nil
	}
	var pads []string
	var until []time.Time
	for _, p := range d.soft() {
		if at, ok := d.softUntil(p); ok {
			pads, until = append(pads, p.Pad), append(until, at)
		}
	}
	hours, chances, err := d.Decider.Rain(ctx, d.moment, until)
	if err != nil {
		return fmt.Errorf("today: rain: %w", err)
	}
	r.Hours = hours
	for i := range min(len(pads), len(chances)) {
		r.Reaches = append(r.Reaches, Reach{pads[i], chances[i]})
	}
	return nil
}
