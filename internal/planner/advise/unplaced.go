package advise

import (
	"math"
	"slices"

	"dryslot/internal/message"
	"dryslot/internal/planner/crewday"
	"dryslot/internal/planner/job"
	"dryslot/internal/planner/policy"
	"dryslot/internal/pour"
)

// unplaced says of each pad that no planned pour takes why that is, and what
// would place it.
func (f *Adviser) unplaced(m *policy.Model, path []policy.Planned) []pour.Unplaced {
	out := []pour.Unplaced{}
	done := map[int]bool{}
	for i := range path {
		for _, p := range path[i].Pads {
			done[p] = true
		}
	}
	o := &options{f: f, m: m, path: path, done: done, byClass: map[int]*pour.Option{}, told: map[int]pour.Unplaced{}}
	for i := range f.Pads {
		if f.Pads[i].Left && !done[i] {
			out = append(out, o.of(i))
		}
	}
	return out
}

// options answers for the pads that are not placed; pads of one class share an
// answer.
type options struct {
	f       *Adviser
	m       *policy.Model
	path    []policy.Planned
	done    map[int]bool
	byClass map[int]*pour.Option
	told    map[int]pour.Unplaced
	stocked []policy.Planned // the plan with the bags that lack; nil: not made yet
	more    int              // those bags
}

func (o *options) of(pad int) pour.Unplaced {
	u, ok := o.told[pad]
	if !ok {
		u = o.work(pad)
		o.told[pad] = u
	}
	return u
}

// waitsFor gives the reason of a pad that comes after others which are not placed.
func (o *options) waitsFor(pad int, u *pour.Unplaced) bool {
	f, name := o.f, u.Pad
	for _, a := range f.Pads[pad].After {
		p := &f.Pads[a.Pad]
		if p.Left && !o.done[a.Pad] {
			u.WhyData = message.New(job.UnplacedOther, message.Name("pad", name), message.Name("other", p.Name),
				message.Term("until", string(a.Until)))
			if b := o.of(a.Pad).Better; b != nil {
				first := *b
				first.ChangeData = firstPad(p.Name, b.ChangeData)
				u.Better = &first
			}
			return true
		}
		if !p.Left && !policy.Poured(p.Record.State) {
			u.WhyData = message.New(job.UnplacedLeftOut, message.Name("pad", name), message.Name("other", p.Name))
			return true
		}
	}
	return false
}

// leastRisk returns the morning on which a pad alone is least at risk; -1: it fits
// on none.
func (o *options) leastRisk(pad int) (day int, risk float64) {
	f := o.f
	kind := f.Pads[pad].Kind
	day, risk = -1, math.Inf(1)
	if o.m.Rough {
		kind = o.m.Typical
	}
	for d := o.m.First; d < len(f.Days); d++ {
		for _, c := range f.TableFor(d, []*crewday.Work{kind}).Cells {
			if len(c) > 0 && c[0].Why == policy.Feasible && c[0].Worst < risk {
				risk, day = c[0].Worst, d
			}
		}
	}
	return day, risk
}

func (o *options) work(pad int) pour.Unplaced {
	f, name := o.f, o.f.Pads[pad].Name
	u := pour.Unplaced{Pad: name}
	if o.waitsFor(pad, &u) {
		return u
	}
	if u.WhyData = f.lackOfBags(o.path, pad); !u.WhyData.IsZero() {
		u.Better = o.withBags(pad)
		return u
	}
	bestDay, best := o.leastRisk(pad)
	switch {
	case bestDay < 0:
		u.WhyData = message.New(job.UnplacedNoMorning, message.Name("pad", name))
		for d := o.m.First; d < len(f.Days); d++ {
			if len(f.Days[d].Starts) > 0 {
				if why := f.blocked(o.m, d); !why.IsZero() {
					u.WhyData = message.New(job.UnplacedBecause, message.Name("pad", name),
						message.Date("", f.Days[d].Date), message.Within("why", why))
				}
				break
			}
		}
		return u
	case best > f.Risk:
		u.WhyData = message.New(job.UnplacedRisky, message.Name("pad", name), message.Date("", f.Days[bestDay].Date),
			message.Chance("loss", policy.Round4(best)), message.Chance("limit", f.Risk))
		u.Better = o.changed(pad, bestDay)
		return u
	}
	for d := range f.Days {
		// a lost pad is kept off its day too
		if slices.Contains(f.Job.Skipped, job.Skip{Date: f.Days[d].Date, Pad: name}) {
			u.WhyData = message.New(job.UnplacedCalledOff, message.Name("pad", name), message.Date("", f.Days[d].Date))
			return u
		}
	}
	u.WhyData = message.New(job.UnplacedTaken, message.Name("pad", name), message.Date("", f.Days[len(f.Days)-1].Date))
	return u
}

// firstPad puts a pad before those that a change is made for first.
func firstPad(name string, change message.Message) message.Message {
	pads := []string{name}
	if change.Code == job.FirstPads {
		if more, ok := change.Figures.Get("pads").(message.List); ok {
			return change.With(message.Names("pads", append(pads, more...)))
		}
	}
	return message.New(job.FirstPads, message.Names("pads", pads), message.Within("change", change))
}

// withBags returns the morning that a pad gets when the plan is made again with
// the bags that it takes to place every pad.
func (o *options) withBags(pad int) *pour.Option {
	f := o.f
	if f.Job.WhatIf != nil {
		return nil
	}
	if o.stocked == nil {
		o.stocked = []policy.Planned{}
		need := 0
		for i := range o.path {
			need += f.DayNeed(o.path[i].Pads)
		}
		for i := range f.Pads { // each by itself: the days that they will share are not known
			if f.Pads[i].Left && !o.done[i] {
				need += f.DayNeed([]int{i})
			}
		}
		o.more = need - f.Days[len(f.Days)-1].Bags
		o.stocked = o.m.Stocked(o.more)
	}
	for i := range o.stocked {
		x := &o.stocked[i]
		if slices.Contains(x.Pads, pad) {
			chance := policy.Round4(1 - x.Cell.Worst)
			return &pour.Option{Date: f.Days[x.Day].Date, ChangeData: message.New(job.MoreBags, message.Count("bags",
				o.more), message.Date("", f.Days[x.Day].Date)),
				Verdict: string(job.VerdictPour), ChanceUnharmed: &chance}
		}
	}
	return nil
}

// changesFor are those that may help a pad by itself.
func (f *Adviser) changesFor() []change {
	start, people := f.Spec.Crew.EarliestStart-earlier, f.Spec.Crew.People+1
	plastic, blanket := pour.Plastic, pour.Blanket
	all := []change{
		{job.Remedy{ChangeData: message.New(job.CoverPlastic), WhatIf: job.WhatIf{Cover: &plastic}},
			f.coverEffort(plastic)},
		{job.Remedy{ChangeData: message.New(job.CoverBlanketKept), WhatIf: job.WhatIf{Cover: &blanket}},
			f.coverEffort(blanket)},
		{job.Remedy{ChangeData: message.New(job.BringHelper), WhatIf: job.WhatIf{People: &people}}, effortHelper},
	}
	if start >= dawn {
		all = append(all, change{job.Remedy{ChangeData: message.New(job.StartAt, message.Clock("start", start)),
			WhatIf: job.WhatIf{EarliestStart: &start}}, effortStart})
	}
	return all
}

// changed returns the first change, by effort, under which a pad by itself
// stays within the risk limit on a morning.
func (o *options) changed(pad, on int) *pour.Option {
	f := o.f
	if got, ok := o.byClass[f.Pads[pad].Class]; ok {
		return got
	}
	o.byClass[f.Pads[pad].Class] = nil
	if f.Job.WhatIf != nil {
		return nil
	}
	all := f.changesFor()
	slices.SortStableFunc(all, byEffort)
	for _, c := range all {
		g, err := policy.PrepareLike(f.changedJob(&c.WhatIf), f.Prepared, policy.OwnedAs(c.WhatIf.Cover))
		if err != nil {
			continue
		}
		for i, row := range g.TableFor(on, []*crewday.Work{g.Pads[pad].Kind}).Cells {
			if len(row) == 0 || row[0].Why != policy.Feasible || row[0].Worst > g.Risk+1e-9 {
				continue
			}
			k := policy.ModelTied(g, o.m.First, false, o.m.Tie)
			got, _ := (&Adviser{Prepared: g, models: []*policy.Model{k}}).morning(on, policy.State{},
				&policy.Planned{Day: on, Start: g.Days[on].Starts[i], Index: i, Pads: []int{pad}, Cell: &row[0],
					Table: g.TableFor(on, []*crewday.Work{g.Pads[pad].Kind})})
			if got.Verdict == job.VerdictHold {
				continue
			}
			x := &pour.Option{Date: f.Days[on].Date, ChangeData: message.New(job.ChangeOn, message.Within("change",
				c.ChangeData), message.Date("", f.Days[on].Date)), Verdict: string(got.Verdict),
				ChanceUnharmed: got.Parts.Rain.ChanceUnharmed}
			o.byClass[f.Pads[pad].Class] = x
			return x
		}
	}
	return nil
}
