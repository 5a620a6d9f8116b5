package planner

import (
	"math"
	"slices"

	"dryslot/internal/message"
	"dryslot/internal/planner/crewday"
	"dryslot/internal/planner/job"
	"dryslot/internal/pour"
)

// unplaced says of each pad that no planned pour takes why that is, and what
// would place it.
func (f *frame) unplaced(m *model, path []planned) []pour.Unplaced {
	out := []pour.Unplaced{}
	done := map[int]bool{}
	for i := range path {
		for _, p := range path[i].pads {
			done[p] = true
		}
	}
	o := &options{f: f, m: m, path: path, done: done, byClass: map[int]*pour.Option{}, told: map[int]pour.Unplaced{}}
	for i := range f.pads {
		if f.pads[i].left && !done[i] {
			out = append(out, o.of(i))
		}
	}
	return out
}

// options answers for the pads that are not placed; pads of one class share an
// answer.
type options struct {
	f       *frame
	m       *model
	path    []planned
	done    map[int]bool
	byClass map[int]*pour.Option
	told    map[int]pour.Unplaced
	stocked []planned // the plan with the bags that lack; nil: not made yet
	more    int       // those bags
}

func (o *options) of(pad int) pour.Unplaced {
	u, ok := o.told[pad]
	if !ok {
		u = o.work(pad)
		o.told[pad] = u
	}
	return u
}

func (o *options) work(pad int) pour.Unplaced {
	f, name := o.f, o.f.pads[pad].Name
	u := pour.Unplaced{Pad: name}
	for _, a := range f.pads[pad].after {
		p := &f.pads[a.pad]
		if p.left && !o.done[a.pad] {
			u.WhyData = message.New(UnplacedOther, message.Name("pad", name), message.Name("other", p.Name),
				message.Term("until", string(a.until)))
			if b := o.of(a.pad).Better; b != nil {
				first := *b
				first.ChangeData = firstPad(p.Name, b.ChangeData)
				u.Better = &first
			}
			return u
		}
		if !p.left && !poured(p.rec.State) {
			u.WhyData = message.New(UnplacedLeftOut, message.Name("pad", name), message.Name("other", p.Name))
			return u
		}
	}
	if u.WhyData = f.lackOfBags(o.path, pad); !u.WhyData.IsZero() {
		u.Better = o.withBags(pad)
		return u
	}
	bestDay, best, kind := -1, math.Inf(1), f.pads[pad].kind
	if o.m.rough {
		kind = o.m.typical
	}
	for d := o.m.first; d < len(f.days); d++ {
		for _, c := range f.tableFor(d, []*crewday.Work{kind}).cells {
			if len(c) > 0 && c[0].why == feasible && c[0].worst < best {
				best, bestDay = c[0].worst, d
			}
		}
	}
	switch {
	case bestDay < 0:
		u.WhyData = message.New(UnplacedNoMorning, message.Name("pad", name))
		for d := o.m.first; d < len(f.days); d++ {
			if len(f.days[d].starts) > 0 {
				if why := f.blocked(o.m, d); !why.IsZero() {
					u.WhyData = message.New(UnplacedBecause, message.Name("pad", name),
						message.Date("", f.days[d].date), message.Within("why", why))
				}
				break
			}
		}
		return u
	case best > f.risk:
		u.WhyData = message.New(UnplacedRisky, message.Name("pad", name), message.Date("", f.days[bestDay].date),
			message.Chance("loss", round4(best)), message.Chance("limit", f.risk))
		u.Better = o.changed(pad, bestDay)
		return u
	}
	for d := range f.days {
		if slices.Contains(f.job.Skipped, job.Skip{Date: f.days[d].date, Pad: name}) { // a lost pad is kept off its day too
			u.WhyData = message.New(UnplacedCalledOff, message.Name("pad", name), message.Date("", f.days[d].date))
			return u
		}
	}
	u.WhyData = message.New(UnplacedTaken, message.Name("pad", name), message.Date("", f.days[len(f.days)-1].date))
	return u
}

// firstPad puts a pad before those that a change is made for first.
func firstPad(name string, change message.Message) message.Message {
	pads := []string{name}
	if change.Code == FirstPads {
		if more, ok := change.Figures.Get("pads").(message.List); ok {
			return change.With(message.Names("pads", append(pads, more...)))
		}
	}
	return message.New(FirstPads, message.Names("pads", pads), message.Within("change", change))
}

// withBags returns the morning that a pad gets when the plan is made again with
// the bags that it takes to place every pad.
func (o *options) withBags(pad int) *pour.Option {
	f := o.f
	if f.job.WhatIf != nil {
		return nil
	}
	if o.stocked == nil {
		o.stocked = []planned{}
		need := 0
		for i := range o.path {
			need += f.dayNeed(o.path[i].pads)
		}
		for i := range f.pads { // each by itself: the days that they will share are not known
			if f.pads[i].left && !o.done[i] {
				need += f.dayNeed([]int{i})
			}
		}
		o.more = need - f.days[len(f.days)-1].bags
		o.stocked = o.m.stocked(o.more)
	}
	for i := range o.stocked {
		x := &o.stocked[i]
		if slices.Contains(x.pads, pad) {
			chance := round4(1 - x.cell.worst)
			return &pour.Option{Date: f.days[x.day].date, ChangeData: message.New(MoreBags, message.Count("bags", o.more), message.Date("", f.days[x.day].date)),
				Verdict: string(job.VerdictPour), ChanceUnharmed: &chance}
		}
	}
	return nil
}

// changed returns the first change, by effort, under which a pad by itself
// stays within the risk limit on a morning.
func (o *options) changed(pad, on int) *pour.Option {
	f := o.f
	if got, ok := o.byClass[f.pads[pad].class]; ok {
		return got
	}
	o.byClass[f.pads[pad].class] = nil
	if f.job.WhatIf != nil {
		return nil
	}
	start, people, plastic, blanket := f.spec.Crew.EarliestStart-earlier, f.spec.Crew.People+1, "plastic", "blanket"
	all := []change{
		{job.Remedy{ChangeData: message.New(StartAt, message.Clock("start", start)), WhatIf: job.WhatIf{EarliestStart: &start}}, effortStart},
		{job.Remedy{ChangeData: message.New(CoverPlastic), WhatIf: job.WhatIf{Cover: &plastic}}, f.coverEffort(plastic)},
		{job.Remedy{ChangeData: coverBlanket(), WhatIf: job.WhatIf{Cover: &blanket}}, f.coverEffort(blanket)},
		{job.Remedy{ChangeData: message.New(BringHelper), WhatIf: job.WhatIf{People: &people}}, effortHelper},
	}
	if start < dawn {
		all = all[1:]
	}
	slices.SortStableFunc(all, byEffort)
	for _, c := range all {
		in := *f.job
		in.WhatIf = &c.WhatIf
		g, err := newFrameLike(&in, f, owned{})
		if err != nil {
			continue
		}
		for i, row := range g.tableFor(on, []*crewday.Work{g.pads[pad].kind}).cells {
			if len(row) == 0 || row[0].why != feasible || row[0].worst > g.risk+1e-9 {
				continue
			}
			k := leaningModel(g, o.m.first, false, o.m.lean)
			got := g.morning(k, on, state{}, &planned{day: on, start: g.days[on].starts[i], index: i, pads: []int{pad}, cell: &row[0],
				table: g.tableFor(on, []*crewday.Work{g.pads[pad].kind})})
			if got.Verdict == job.VerdictHold {
				continue
			}
			x := &pour.Option{Date: f.days[on].date, ChangeData: message.New(ChangeOn, message.Within("change", c.ChangeData), message.Date("", f.days[on].date)), Verdict: string(got.Verdict), ChanceUnharmed: got.Parts.Rain.ChanceUnharmed}
			o.byClass[f.pads[pad].class] = x
			return x
		}
	}
	return nil
}
