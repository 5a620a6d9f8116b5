package planner

import (
	"fmt"

	"dryslot/internal/unit"
)

// Remedies are looked for on the first mornings only, while there is time to
// act on them and the forecast is worth it.
const (
	remedyMornings = 3
	remedyBetter   = 5 // points of score that make a remedy worth telling
)

// earlier is how much earlier a start is tried, and no earlier than dawn.
const (
	earlier    = unit.Clock(60)
	dawn       = unit.Clock(4 * 60)
	warmWaterC = 50.0 // below the 60 C at which cement flashes (ACI 306R chapter 3, from memory)
	coolWaterC = 5.0
)

// remedies tries the changes that could better a morning, each worked out
// anew, and returns those that do.
func (f *frame) remedies(m *model, out *Morning, i int, s state, shown *dayDetail) []Remedy {
	found := []Remedy{}
	if out.Verdict == VerdictPour || f.job.WhatIf != nil || i < m.first || i >= m.first+remedyMornings || len(m.flat()) == 0 || m.done(&s) {
		return found
	}
	for _, r := range f.changes(out, i, shown) {
		got, ok := f.try(m, r.WhatIf, i, s)
		if !ok {
			continue
		}
		r.Verdict, r.Score = got.Verdict, *got.Score
		if rank(r.Verdict) > rank(out.Verdict) || rank(r.Verdict) == rank(out.Verdict) && r.Verdict != VerdictHold && r.Score >= *out.Score+remedyBetter {
			found = append(found, r)
		}
	}
	return found
}

func rank(v Verdict) int {
	switch v {
	case VerdictPour:
		return 2
	case VerdictCare:
		return 1
	}
	return 0
}

// changes are those that may help against what is wrong with a morning.
func (f *frame) changes(out *Morning, i int, shown *dayDetail) []Remedy {
	var found []Remedy
	add := func(change string, w WhatIf) { found = append(found, Remedy{Change: change, WhatIf: w}) }
	var by [frozenBase + 1]int
	cold := false
	if shown != nil {
		for j := range shown.tally {
			for k, n := range shown.tally[j].by {
				by[k] += n
			}
			cold = cold || shown.tally[j].slab.coldest < 5
		}
	}
	rain := by[rainOnSoft]+by[lightRain] > 0
	noTime := shown == nil || len(shown.tally) == 0
	if start := f.spec.Crew.EarliestStart - earlier; (rain || noTime) && start >= dawn {
		add(fmt.Sprintf("start from %s", start), WhatIf{EarliestStart: &start})
	}
	if n := f.spec.Crew.People + 1; rain || noTime {
		add("bring one helper", WhatIf{People: &n})
	}
	if shown != nil && len(shown.tally) > 1 && rain {
		half := (len(shown.pads) + 1) / 2
		add(fmt.Sprintf("pour %s only", list(f.names(shown.pads[:half]))), WhatIf{Pads: f.names(shown.pads[:half])})
	}
	if cold || noTime {
		t := warmWaterC
		add(fmt.Sprintf("mix with water at %.0f C (%.0f F), water first", t, unit.Celsius(t).Fahrenheit()), WhatIf{WaterTemperatureC: &t})
	}
	for _, c := range out.Cautions {
		if c.Code == "hot-mix" {
			t := coolWaterC
			add(fmt.Sprintf("mix with iced water at %.0f C (%.0f F)", t, unit.Celsius(t).Fahrenheit()), WhatIf{WaterTemperatureC: &t})
		}
	}
	if cold {
		kind := "blanket"
		add(fmt.Sprintf("cover the slab with an insulating blanket once finished, until %s", coverUntil), WhatIf{Cover: &kind})
	}
	if rain {
		kind := "plastic"
		add("lay plastic sheet over each pad once finished", WhatIf{Cover: &kind})
	}
	return found
}

// try judges one morning under a change.
func (f *frame) try(m *model, w WhatIf, i int, s state) (Morning, bool) {
	job := *f.job
	job.WhatIf = &w
	g, err := newFrameLike(&job, f, owned{})
	if err != nil {
		return Morning{}, false
	}
	k := leaningModel(g, m.first, false, m.lean)
	if (len(w.Pads) > 0 || w.EarliestStart != nil) && s != (state{}) {
		return Morning{}, false // where the job stands is counted in pads and starts of the plan
	}
	var p *planned
	if a := k.possible(i, s); a != nil {
		at := a.option.start
		p = &planned{day: i, start: g.days[i].starts[at], index: at, table: a.table, cell: &a.table.cells[at][a.total-1],
			pads: g.taken(k.seqs, s.pos[:len(k.seqs)], a.n[:len(k.seqs)])}
	}
	if p == nil {
		return Morning{}, false
	}
	return g.morning(k, i, s, p), true
}
