package policy

import (
	"math"
	"time"

	"dryslot/internal/message"
	"dryslot/internal/planner/crewday"
	"dryslot/internal/planner/job"
	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

// mornings makes the coming dates ready.
func (f *Prepared) mornings() {
	n := len(f.Job.Days) - 1
	f.Days = make([]Day, n)
	today := unit.DateOf(f.Job.Now, f.Zone)
	for i := range n {
		d := &f.Days[i]
		d.Light = f.Job.Days[i]
		d.Date = d.Light.Date
		d.Skip = map[int]bool{}
		d.Bags = f.BagsBy(d.Date)
		f.hoursOf(d)
		f.callOff(d)
		f.breakOut(d)
		if d.Date.Before(today) {
			d.Off = message.New(job.DayOver)
		}
		if d.Date == today {
			d.carry = f.waiting(d)
		}
		d.Noon = f.Minute(d.Date.At(12*60, f.Zone))
		d.Track = f.middleTrack(d.Noon)
		if d.Off.IsZero() {
			d.Starts = f.starts(d)
		}
		f.sortOut(d)
	}
}

// hoursOf sets the light and the crew's hours of a date.
func (f *Prepared) hoursOf(d *Day) {
	c := f.Spec.Crew
	from, until, ok := d.Light.Light(f.Zone)
	if !ok {
		d.Off = message.New(job.NoLight)
		return
	}
	d.Hours = crewday.Hours{
		Light:     f.Minute(from),
		Dark:      f.Minute(until),
		CleanedUp: f.Minute(d.Date.At(c.LatestFinish, f.Zone)),
	}
	d.open = max(f.Minute(d.Date.At(c.EarliestStart, f.Zone)), d.Hours.Light-c.SetUpMin)
	if !c.WorksOn(d.Date) {
		d.Off = message.New(job.DayOff)
	}
}

// callOff notes what the builder has called off on a date.
func (f *Prepared) callOff(d *Day) {
	skipped := f.Job.Skipped
	if w := f.Job.WhatIf; w != nil {
		skipped = append(w.Skipped(), skipped...)
	}
	for _, s := range skipped {
		if s.Date != d.Date {
			continue
		}
		if s.Pad == "" {
			d.Off = message.New(job.CalledOff)
		} else if p, ok := f.byName[s.Pad]; ok {
			d.Skip[p] = true
		}
	}
}

// breakOut keeps a lost pad off the day of its loss: it is found and broken
// out that evening, and may be poured again from the next morning on.
func (f *Prepared) breakOut(d *Day) {
	for i := range f.Pads {
		r := &f.Pads[i].Record
		if r.State == pour.Lost && r.LostAt != nil && !unit.DateOf(*r.LostAt, f.Zone).Before(d.Date) {
			d.Skip[i] = true
		}
	}
}

// waiting returns the pads placed but not finished: today's crew owes them that.
func (f *Prepared) waiting(d *Day) []crewday.Soft {
	var out []crewday.Soft
	for i := range f.Pads {
		p := &f.Pads[i]
		if p.Record.State != pour.Placed || p.Record.PlacedAt == nil {
			continue
		}
		at := f.Minute(*p.Record.PlacedAt)
		if at < 0 {
			continue
		}
		from, until := p.Kind.Slabs.Window(f.middleTrack(at), at)
		if math.IsInf(until, 1) || until < f.Now {
			continue // too late to be helped by any plan
		}
		out = append(out, crewday.Soft{From: max(from, f.Now), Until: until, Finish: p.Kind.Finish, Cover: p.Kind.Cover,
			Finishers: p.Kind.Finishers, Pad: -1 - len(out)})
	}
	return out
}

// starts returns the start times to try: the crew's earliest, then every
// startStep. The grid does not move with the light, so that less light only
// ever takes starts away. A crew that has begun goes on from where it is.
func (f *Prepared) starts(d *Day) []float64 {
	var out []float64
	first := f.Minute(d.Date.At(f.Spec.Crew.EarliestStart, f.Zone))
	shortest := math.Inf(1)
	for _, p := range f.Pads {
		if p.Left {
			shortest = min(shortest, (p.Kind.Place+p.Kind.Finish)/float64(f.Crew.People))
		}
	}
	step := startStep
	if f.Minute(d.Date.At(0, f.Zone))-f.Now > coarseFrom {
		step *= 2
	}
	now := f.Now
	if f.Job.Begun && f.Minute(d.Date.At(0, f.Zone)) <= f.Now {
		now -= f.Crew.SetUp // it is done: placing begins at once
	}
	fits := func(s float64) bool {
		return s >= d.open && s >= 0 && s+f.Crew.SetUp+shortest+f.Crew.CleanUp <= d.Hours.CleanedUp
	}
	if r := f.Job.Ready; f.Job.Begun && !r.IsZero() && unit.DateOf(r, f.Zone) == d.Date {
		if s := f.Minute(r) - f.Crew.SetUp; fits(s) {
			out, now = append(out, s), max(now, s+1e-6)
		}
	}
	for s := first; s+f.Crew.SetUp+shortest+f.Crew.CleanUp <= d.Hours.CleanedUp; s += step {
		if s >= now && fits(s) {
			out = append(out, s)
		}
	}
	return out
}

// sortOut separates the members with rain in the crew's hours from the others.
func (f *Prepared) sortOut(d *Day) {
	d.bad = make([]bool, len(f.Skies))
	n := 0
	from, until := HourOf(d.Noon-6*60), HourAfter(d.Noon+8*60)
	for m := range f.Skies {
		d.bad[m] = f.Skies[m].Light.Before(from, until)
		n += Flag(d.bad[m])
	}
	d.rainy = float64(n) / float64(len(f.Skies))
}

// Frozen reports whether the base of a track is frozen at a minute.
func (f *Prepared) Frozen(track int, at float64) bool {
	return f.Job.Slabs.Frozen(track, f.Start.Add(time.Duration(max(0, at)*float64(time.Minute))), f.baseCover())
}

func (f *Prepared) Air(track int) []float64 {
	if len(f.MembersOf[track]) == 0 {
		return nil
	}
	return f.Weather.Members[f.MembersOf[track][0]].AirC
}
