package planner

import (
	"cmp"
	"math"
	"slices"

	"dryslot/internal/message"
	"dryslot/internal/planner/job"
	"dryslot/internal/planner/slabs"
	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

// Remedies are looked for on the first mornings only, while there is time to
// act on them and the forecast is worth it.
const (
	remedyMornings = 3
	remedyBetter   = 5    // points of score that make a remedy worth telling (judgement)
	remedyChance   = 0.05 // and what it adds to the chance that no pad is lost (judgement)
	goodChance     = 0.9  // a pour with less of it is looked at for fewer pads or an earlier start (judgement)
)

// earlier is how much earlier a start is tried, then twice that, and no earlier
// than dawn.
const (
	earlier    = unit.Clock(60)
	dawn       = unit.Clock(4 * 60)
	warmWaterC = 50.0 // below the 60 C at which cement flashes (ACI 306R chapter 3, from memory)
	coolWaterC = 5.0
)

// effort is what a change asks of a builder, in days of his (judgement). A
// change that costs more than the wait for the next pour is not the better
// option.
const (
	effortStart  = 0.05
	effortWater  = 0.1
	effortPads   = 0.3
	effortCover  = 0.1 // one that the project owns
	effortBuy    = 0.5 // one that it does not
	effortHelper = 1.0
)

// change is something to try.
type change struct {
	job.Remedy
	effort float64
}

// remedies tries the changes that could better a morning, each worked out
// anew, and returns those that do, the least effort first. stuck tells that the
// plan is empty.
func (f *frame) remedies(m *model, out *job.Morning, i int, s state, p *planned, shown *dayDetail, stuck bool) []change {
	var found []change
	if f.job.WhatIf != nil || i < m.first || i >= m.first+remedyMornings || len(m.flat()) == 0 || m.done(&s) || !f.days[i].off.IsZero() || stuck && i > m.first {
		return nil
	}
	risky := p != nil && i == m.first && shown.unharmed < goodChance
	if out.Verdict == job.VerdictPour && !risky || p == nil && f.waitsForPads(m, i, &s) {
		return nil
	}
	told := map[string]bool{}
	tries := f.changes(out, i, s, p, shown)
	slices.SortStableFunc(tries, byEffort)
	for _, r := range tries {
		if told[r.kind()] {
			continue // a smaller step of the same kind does
		}
		if i > m.first && len(found) > 0 {
			break // a later morning will be looked at again: one way out is enough
		}
		got, ok := f.try(m, r.WhatIf, i, s, stuck)
		if !ok || len(got.Pads) == 0 {
			continue
		}
		r.Verdict, r.Score, r.Pads, r.ChanceUnharmed = got.Verdict, *got.Score, len(got.Pads), got.Parts.Rain.ChanceUnharmed
		if betters(&r.Remedy, out) {
			found = append(found, r)
			told[r.kind()] = true
		}
	}
	return found
}

func byEffort(a, b change) int { return cmp.Compare(a.effort, b.effort) }

// betters reports whether a change leads to a better verdict, or to the same
// one with a clearly better score or chance. Fewer pads better the score of any
// morning and are told for the chance alone.
func betters(r *job.Remedy, out *job.Morning) bool {
	if rank(r.Verdict) != rank(out.Verdict) {
		return rank(r.Verdict) > rank(out.Verdict)
	}
	was := out.Parts.Rain.ChanceUnharmed
	return r.Verdict != job.VerdictHold && (len(r.WhatIf.Pads) == 0 && r.Score >= *out.Score+remedyBetter ||
		was != nil && r.ChanceUnharmed != nil && *r.ChanceUnharmed >= *was+remedyChance)
}

// kind tells changes of different kinds apart.
func (c *change) kind() string {
	w := &c.WhatIf
	switch {
	case w.EarliestStart != nil:
		return "start"
	case w.People != nil:
		return "people"
	case w.WaterTemperatureC != nil:
		return "water"
	case w.Cover != nil:
		return *w.Cover
	}
	return "pads"
}

// waitsForPads reports whether no pad is due on a morning, whatever the weather.
func (f *frame) waitsForPads(m *model, i int, s *state) bool {
	if len(f.days[i].starts) == 0 {
		return false
	}
	var most [mostGroups]uint8
	m.available(i, len(f.days[i].starts)-1, s, &most)
	return most == [mostGroups]uint8{}
}

func rank(v job.Verdict) int {
	switch v {
	case job.VerdictPour:
		return 2
	case job.VerdictCare:
		return 1
	}
	return 0
}

// changes are those that may help against what is wrong with a morning.
func (f *frame) changes(out *job.Morning, i int, s state, p *planned, shown *dayDetail) []change {
	var found []change
	add := func(effort float64, what message.Message, w job.WhatIf) {
		found = append(found, change{job.Remedy{ChangeData: what, WhatIf: w}, effort})
	}
	var by [frozenBase + 1]int
	cold, noTime, thunder := false, shown == nil || len(shown.tally) == 0, false
	if !noTime {
		thunder = shown.thunder > 0
		for j := range shown.tally {
			for k, n := range shown.tally[j].by {
				by[k] += n
			}
			cold = cold || shown.tally[j].slab.Coldest < 5
		}
	}
	rain, late := by[rainOnSoft]+by[lightRain] > 0, by[unfinishable] > 0
	coded := func(codes ...string) bool {
		return slices.ContainsFunc(out.Cautions, func(c job.Caution) bool { return c.Severity != job.Note && slices.Contains(codes, c.Code) })
	}
	hot := coded("hot-mix", "drying", "hot-weather", "crew-heat")
	if rain || noTime || late || thunder || hot {
		for _, by := range [...]unit.Clock{earlier, 2 * earlier} {
			if start := f.spec.Crew.EarliestStart - by; start >= dawn {
				add(effortStart, message.New(StartAt, message.Clock("start", start)), job.WhatIf{EarliestStart: &start})
			}
		}
	}
	if p != nil && len(p.pads) > 1 && rain && s == (state{}) {
		few := f.names(p.pads[:(len(p.pads)+1)/2])
		slices.Sort(few)
		add(effortPads, message.New(PourOnly, message.Names("pads", few)), job.WhatIf{Pads: few})
	}
	if out.Verdict == job.VerdictPour {
		return found
	}
	if cold || noTime || coded("cold-mix") {
		t := warmWaterC
		add(effortWater, message.New(WarmWater, message.Temperature("water", warmWaterC)), job.WhatIf{WaterTemperatureC: &t})
	}
	if coded("hot-mix", "drying") {
		t := coolWaterC
		add(effortWater, message.New(IcedWater, message.Temperature("water", coolWaterC)), job.WhatIf{WaterTemperatureC: &t})
	}
	if cold {
		kind := "blanket"
		add(f.coverEffort(kind), coverBlanket(), job.WhatIf{Cover: &kind})
	}
	if rain {
		kind := "plastic"
		add(f.coverEffort(kind), message.New(CoverPlastic), job.WhatIf{Cover: &kind})
	}
	if n := f.spec.Crew.People + 1; rain || noTime || late {
		add(effortHelper, message.New(BringHelper), job.WhatIf{People: &n})
	}
	return found
}

func coverBlanket() message.Message {
	return message.New(CoverBlanket, message.Clock("until", slabs.CoverUntil))
}

func (f *frame) coverEffort(kind string) float64 {
	if slices.ContainsFunc(f.spec.Stock.Covers, func(c pour.Cover) bool { return c.Kind == kind }) {
		return effortCover
	}
	return effortBuy
}

// try judges one morning under a change that is made on it alone: what the
// policy would pour then, with the mornings after it as they are. Where
// nothing is planned at all without it, so that those are no measure, the
// change is made on all of them. Fewer pads are poured as soon as they may be.
func (f *frame) try(m *model, w job.WhatIf, i int, s state, stuck bool) (job.Morning, bool) {
	in := *f.job
	in.WhatIf = &w
	g, err := newFrameLike(&in, f, owned{})
	if err != nil {
		return job.Morning{}, false
	}
	g.spent = f.spent
	everywhere := stuck || len(w.Pads) > 0
	for d := range g.days {
		if d != i && !everywhere {
			g.days[d].starts = f.days[d].starts // where the job stands is counted in them
		}
	}
	k := leaningModel(g, m.first, m.signals, m.lean)
	var a *action
	switch {
	case len(w.Pads) > 0:
		a = k.possible(i, s)
	case stuck:
		a = k.decideUnder(k, i, s)
	default:
		a = k.decideUnder(m, i, s)
	}
	if a == nil {
		return job.Morning{}, false
	}
	at := a.option.start
	p := &planned{day: i, start: g.days[i].starts[at], index: at, table: a.table, cell: &a.table.cells[at][a.total-1],
		pads: g.taken(k.seqs, s.pos[:len(k.seqs)], a.n[:len(k.seqs)])}
	return g.morning(k, i, s, p), true
}

// decideUnder is decide with the mornings to come as another model has them.
func (m *model) decideUnder(base *model, day int, s state) *action {
	var best *action
	defer m.exactly(day)()
	s.forget(day, m.curing)
	least := 1 + base.value(day+1, s)
	m.each(day, s, func(a *action) {
		if math.IsInf(a.cost[decided], 1) {
			return
		}
		if v := base.worth(day, &s, a)[decided]; v < least+1e-9 && (best == nil || v < least-1e-9) {
			c := *a
			best, least = &c, min(v, least)
		}
	})
	return best
}
