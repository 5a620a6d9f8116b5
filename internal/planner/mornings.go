package planner

import (
	"math"
	"slices"

	"dryslot/internal/message"
	"dryslot/internal/planner/crewday"
	"dryslot/internal/planner/harm"
	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

// mornings makes the coming dates ready.
func (f *frame) mornings() {
	n := len(f.job.Days) - 1
	f.days = make([]morning, n)
	today := unit.DateOf(f.job.Now, f.zone)
	for i := range n {
		d := &f.days[i]
		d.light = f.job.Days[i]
		d.date = d.light.Date
		d.skip = map[int]bool{}
		d.bags = f.bagsBy(d.date)
		f.hoursOf(d)
		f.callOff(d)
		f.breakOut(d)
		if d.date.Before(today) {
			d.off = message.New(DayOver)
		}
		if d.date == today {
			d.carry = f.waiting(d)
		}
		d.noon = f.minute(d.date.At(12*60, f.zone))
		d.ref = f.middleTrack(d.noon - 6*60)
		if d.off.IsZero() {
			d.starts = f.starts(d)
		}
		f.sortOut(d)
	}
}

// hoursOf sets the light and the crew's hours of a date.
func (f *frame) hoursOf(d *morning) {
	c := f.spec.Crew
	from, until, ok := d.light.Light(f.zone)
	if !ok {
		d.off = message.New(NoLight)
		return
	}
	d.hours = crewday.Hours{Light: f.minute(from), Dark: f.minute(until), CleanedUp: f.minute(d.date.At(c.LatestFinish, f.zone))}
	d.open = max(f.minute(d.date.At(c.EarliestStart, f.zone)), d.hours.Light-c.SetUpMin)
	if !slices.Contains(c.Days, weekday(d.date)) {
		d.off = message.New(DayOff)
	}
}

func weekday(d unit.Date) string {
	return [...]string{"sun", "mon", "tue", "wed", "thu", "fri", "sat"}[d.Weekday()]
}

// callOff notes what the builder has called off on a date.
func (f *frame) callOff(d *morning) {
	for _, s := range f.job.Skipped {
		if s.Date != d.date {
			continue
		}
		if s.Pad == "" {
			d.off = message.New(CalledOff)
		} else if p, ok := f.byName[s.Pad]; ok {
			d.skip[p] = true
		}
	}
}

// breakOut keeps a lost pad off the day of its loss: it is found and broken
// out that evening, and may be poured again from the next morning on.
func (f *frame) breakOut(d *morning) {
	for i := range f.pads {
		r := &f.pads[i].rec
		if r.State == pour.Lost && r.LostAt != nil && !unit.DateOf(*r.LostAt, f.zone).Before(d.date) {
			d.skip[i] = true
		}
	}
}

// waiting returns the pads placed but not finished: today's crew owes them that.
func (f *frame) waiting(d *morning) []crewday.Soft {
	var out []crewday.Soft
	for i := range f.pads {
		p := &f.pads[i]
		if p.rec.State != pour.Placed || p.rec.PlacedAt == nil {
			continue
		}
		at := f.minute(*p.rec.PlacedAt)
		if at < 0 {
			continue
		}
		from, until := p.kind.Slabs.Window(f.middleTrack(at), at)
		if math.IsInf(until, 1) || until < f.now {
			continue // too late to be helped by any plan
		}
		out = append(out, crewday.Soft{From: max(from, f.now), Until: until, Finish: p.kind.Finish, Cover: p.kind.Cover,
			Finishers: p.kind.Finishers, Pad: -1 - len(out)})
	}
	return out
}

// starts returns the start times to try: the crew's earliest, then every
// startStep. The grid does not move with the light, so that less light only
// ever takes starts away.
func (f *frame) starts(d *morning) []float64 {
	var out []float64
	first := f.minute(d.date.At(f.spec.Crew.EarliestStart, f.zone))
	shortest := math.Inf(1)
	for _, p := range f.pads {
		if p.left {
			shortest = min(shortest, (p.kind.Place+p.kind.Finish)/float64(f.crew.People))
		}
	}
	step := startStep
	if f.minute(d.date.At(0, f.zone))-f.now > coarseFrom {
		step *= 2
	}
	now := f.now
	if f.job.Begun && f.minute(d.date.At(0, f.zone)) <= f.now {
		now -= f.crew.SetUp // it is done: placing begins at once
	}
	for s := first; s+f.crew.SetUp+shortest+f.crew.CleanUp <= d.hours.CleanedUp; s += step {
		if s >= d.open && s >= now && s >= 0 {
			out = append(out, s)
		}
	}
	return out
}

// sortOut tells the members with rain in the crew's hours from the others.
func (f *frame) sortOut(d *morning) {
	d.bad = make([]bool, len(f.skies))
	from, until := hourOf(d.noon-6*60), hourAfter(d.noon+8*60)
	for m := range f.skies {
		d.bad[m] = f.skies[m].light.before(from, until)
	}
}

// frozen reports whether the base of a track is frozen at a minute.
func (f *frame) frozen(track int, at float64) bool {
	air := f.air(track)
	return harm.FrozenBase(air[:max(0, min(hourOf(at)+1, len(air)))])
}
