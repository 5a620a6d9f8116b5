package advise

import (
	"cmp"
	"slices"

	"dryslot/internal/message"
	"dryslot/internal/planner/job"
	"dryslot/internal/planner/policy"
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
	WarmWaterC = 50.0 // below the 60 C at which cement flashes (ACI 306R chapter 3, from memory)
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
func (f *Adviser) remedies(m *policy.Model, out *job.Morning, i int, s policy.State, p *policy.Planned, shown *policy.DayWork, stuck bool) []change {
	var found []change
	if f.Job.WhatIf != nil || i < m.First || i >= m.First+remedyMornings || len(m.Flat()) == 0 || m.Done(&s) || !f.Days[i].Off.IsZero() || stuck && i > m.First {
		return nil
	}
	risky := p != nil && i == m.First && shown.Unharmed < goodChance
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
		if i > m.First && len(found) > 0 {
			break // a later morning will be looked at again: one way out is enough
		}
		got, ok := f.try(m, r.WhatIf, i, s, stuck)
		if !ok || len(got.Pads) == 0 {
			continue
		}
		r.Verdict, r.Score, r.Pads, r.ChanceUnharmed = got.Verdict, *got.Score, len(got.Pads), got.Parts.Rain.ChanceUnharmed
		if Betters(&r.Remedy, out) {
			found = append(found, r)
			told[r.kind()] = true
		}
	}
	return found
}

func byEffort(a, b change) int { return cmp.Compare(a.effort, b.effort) }

// Betters reports whether a change leads to a better verdict, or to the same
// one with a clearly better score or chance. Fewer pads better the score of any
// morning and are told for the chance alone.
func Betters(r *job.Remedy, out *job.Morning) bool {
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
func (f *Adviser) waitsForPads(m *policy.Model, i int, s *policy.State) bool {
	if len(f.Days[i].Starts) == 0 {
		return false
	}
	var most [policy.MostGroups]uint8
	m.Available(i, len(f.Days[i].Starts)-1, s, &most)
	return most == [policy.MostGroups]uint8{}
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
func (f *Adviser) changes(out *job.Morning, i int, s policy.State, p *policy.Planned, shown *policy.DayWork) []change {
	var found []change
	add := func(effort float64, what message.Message, w job.WhatIf) {
		found = append(found, change{job.Remedy{ChangeData: what, WhatIf: w}, effort})
	}
	var by [policy.FrozenBase + 1]int
	cold, noTime, thunder := false, shown == nil || len(shown.Tally) == 0, false
	if !noTime {
		thunder = shown.Thunder > 0
		for j := range shown.Tally {
			for k, n := range shown.Tally[j].By {
				by[k] += n
			}
			cold = cold || shown.Tally[j].Slab.Coldest < 5
		}
	}
	rain, late := by[policy.RainOnSoft]+by[policy.LightRain] > 0, by[policy.Unfinishable] > 0
	coded := func(codes ...string) bool {
		return slices.ContainsFunc(out.Cautions, func(c job.Caution) bool { return c.Severity != job.Note && slices.Contains(codes, c.Code) })
	}
	hot := coded("hot-mix", "drying", "hot-weather", "crew-heat")
	if rain || noTime || late || thunder || hot {
		for _, by := range [...]unit.Clock{earlier, 2 * earlier} {
			if start := f.Spec.Crew.EarliestStart - by; start >= dawn {
				add(effortStart, message.New(job.StartAt, message.Clock("start", start)), job.WhatIf{EarliestStart: &start})
			}
		}
	}
	if p != nil && len(p.Pads) > 1 && rain && s == (policy.State{}) {
		few := f.names(p.Pads[:(len(p.Pads)+1)/2])
		slices.Sort(few)
		add(effortPads, message.New(job.PourOnly, message.Names("pads", few)), job.WhatIf{Pads: few})
	}
	if out.Verdict == job.VerdictPour {
		return found
	}
	if cold || noTime || coded("cold-mix") {
		t := WarmWaterC
		add(effortWater, message.New(job.WarmWater, message.Temperature("water", WarmWaterC)), job.WhatIf{WaterTemperatureC: &t})
	}
	if coded("hot-mix", "drying") {
		t := coolWaterC
		add(effortWater, message.New(job.IcedWater, message.Temperature("water", coolWaterC)), job.WhatIf{WaterTemperatureC: &t})
	}
	if cold {
		kind := "blanket"
		add(f.coverEffort(kind), coverBlanket(), job.WhatIf{Cover: &kind})
	}
	if rain {
		kind := "plastic"
		add(f.coverEffort(kind), message.New(job.CoverPlastic), job.WhatIf{Cover: &kind})
	}
	if n := f.Spec.Crew.People + 1; rain || noTime || late {
		add(effortHelper, message.New(job.BringHelper), job.WhatIf{People: &n})
	}
	return found
}

func coverBlanket() message.Message {
	return message.New(job.CoverBlanket, message.Clock("until", slabs.CoverUntil))
}

func (f *Adviser) coverEffort(kind string) float64 {
	if slices.ContainsFunc(f.Spec.Stock.Covers, func(c pour.Cover) bool { return c.Kind == kind }) {
		return effortCover
	}
	return effortBuy
}

// try judges one morning under a change that is made on it alone: what the
// policy would pour then, with the mornings after it as they are. Where
// nothing is planned at all without it, so that those are no measure, the
// change is made on all of them. Fewer pads are poured as soon as they may be.
func (f *Adviser) try(m *policy.Model, w job.WhatIf, i int, s policy.State, stuck bool) (job.Morning, bool) {
	in := *f.Job
	in.WhatIf = &w
	g, err := policy.PrepareLike(&in, f.Prepared, policy.Owned{})
	if err != nil {
		return job.Morning{}, false
	}
	g.Spent = f.Spent
	everywhere := stuck || len(w.Pads) > 0
	for d := range g.Days {
		if d != i && !everywhere {
			g.Days[d].Starts = f.Days[d].Starts // where the job stands is counted in them
		}
	}
	k := policy.ModelTied(g, m.First, m.Signals, m.Tie)
	var a *policy.Action
	switch {
	case len(w.Pads) > 0:
		a = k.Possible(i, s)
	case stuck:
		a = k.DecideUnder(k, i, s)
	default:
		a = k.DecideUnder(m, i, s)
	}
	if a == nil {
		return job.Morning{}, false
	}
	at := a.Option.Start
	p := &policy.Planned{Day: i, Start: g.Days[i].Starts[at], Index: at, Table: a.Table, Cell: &a.Table.Cells[at][a.Total-1],
		Pads: g.Taken(k.Seqs, s.Pos[:len(k.Seqs)], a.N[:len(k.Seqs)])}
	return (&Adviser{Prepared: g}).morning(k, i, s, p), true
}
