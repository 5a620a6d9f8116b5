package advise

import (
	"slices"

	"dryslot/internal/message"
	"dryslot/internal/planner/job"
	"dryslot/internal/planner/policy"
	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

// trouble is what is wrong with a morning.
type trouble struct {
	rain, late, thunder, cold, hot, drying, frozen, puddles bool
	noTime                                                  bool // no pad fits at all
}

func (f *Adviser) troubleOf(out *job.Morning, shown *policy.DayWork) trouble {
	var t trouble
	coded := func(codes ...string) bool {
		return slices.ContainsFunc(out.Cautions, func(c job.Caution) bool {
			return c.Severity != job.Note &&
				slices.Contains(codes, c.Code)
		})
	}
	t.drying = coded("drying")
	t.hot = t.drying || coded("hot-mix", "hot-weather", "crew-heat")
	t.cold = coded("cold-mix", "cold-overnight")
	t.frozen = coded("frozen-ground")
	if shown == nil || len(shown.Tally) == 0 {
		t.noTime = true
		return t
	}
	t.thunder, t.puddles = shown.Thunder > 0, 2*shown.Puddles >= len(f.Skies)
	for j := range shown.Tally {
		x := &shown.Tally[j]
		t.rain = t.rain || x.By[policy.RainOnSoft]+x.By[policy.LightRain] > 0
		t.late = t.late || x.By[policy.Unfinishable] > 0
		t.cold = t.cold || x.By[policy.Frost] > 0 || x.Slab.Coldest < 5
		t.frozen = t.frozen || x.By[policy.FrozenBase] > 0
	}
	return t
}

// changes are those that may help against what is wrong with a morning.
func (f *Adviser) changes(out *job.Morning, s policy.State, p *policy.Planned, shown *policy.DayWork) []change {
	t := f.troubleOf(out, shown)
	c := &offers{spec: &f.Spec}
	if t.rain || t.noTime || t.late || t.thunder || t.hot {
		for _, by := range [...]unit.Clock{earlier, 2 * earlier} {
			if start := f.Spec.Crew.EarliestStart - by; start >= dawn {
				c.add(effortStart, message.New(job.StartAt, message.Clock("start", start)),
					job.WhatIf{EarliestStart: &start})
			}
		}
	}
	if p != nil && len(p.Pads) > 1 && t.rain && s == (policy.State{}) {
		half := (len(p.Pads) + 1) / 2
		few, rest := f.names(p.Pads[:half]), f.names(p.Pads[half:])
		slices.Sort(few)
		c.add(effortPads, message.New(job.PourOnly, message.Names("pads", few)),
			job.WhatIf{LeaveOut: &job.LeaveOut{Date: f.Days[p.Day].Date, Pads: rest}})
	}
	if out.Verdict == job.VerdictPour {
		return c.all
	}
	if t.cold || t.noTime {
		f.againstCold(c)
	}
	if t.frozen || t.noTime && t.cold || t.puddles {
		f.againstFrozenBase(c, t.frozen || t.noTime)
	}
	if t.hot {
		againstHeat(c)
	}
	if t.drying || t.hot {
		againstDrying(c)
	}
	if t.rain {
		f.cover(c, pour.Plastic, message.New(job.CoverPlastic))
	}
	if n := f.Spec.Crew.People + 1; t.rain || t.noTime || t.late {
		c.add(effortHelper, message.New(job.BringHelper), job.WhatIf{People: &n})
	}
	return c.all
}

// offers gathers what could be changed of a project.
type offers struct {
	spec *pour.Spec
	all  []change
}

func (c *offers) add(effort float64, what message.Message, w job.WhatIf) {
	c.all = append(c.all, change{job.Remedy{ChangeData: what, WhatIf: w}, effort})
}

// unless adds a practice that the project does not have yet.
func (c *offers) unless(has bool, effort float64, code message.Code, w job.WhatIf) {
	if !has {
		c.add(effort, message.New(code), w)
	}
}

func (f *Adviser) againstCold(c *offers) {
	yes, m := "accelerator", &c.spec.Mix
	warm, kept := WarmWaterC, warmBagC
	if m.WaterTemperatureC == nil || *m.WaterTemperatureC < WarmWaterC {
		c.add(effortWater, message.New(job.WarmWater, message.Temperature("water", WarmWaterC)),
			job.WhatIf{WaterTemperatureC: &warm})
	}
	if m.BagTemperatureC == nil || *m.BagTemperatureC < warmBagC {
		c.add(effortBags, message.New(job.WarmBags, message.Temperature("bags", warmBagC)),
			job.WhatIf{BagTemperatureC: &kept})
	}
	if m.Admixture == pour.NoAdmixture && m.LabelInitialSetMin == nil {
		c.add(effortAdd, message.New(job.AddAccelerator), job.WhatIf{Admixture: &yes})
	}
	f.cover(c, pour.Blanket, message.New(job.CoverBlanketKept))
}

// cover adds a cover that the plan does not have yet.
func (f *Adviser) cover(c *offers, kind string, what message.Message) {
	if f.Cover.Cover != kind {
		c.add(f.coverEffort(kind), what, job.WhatIf{Cover: &kind})
	}
}

func (f *Adviser) againstFrozenBase(c *offers, frost bool) {
	if c.spec.BaseCover() != pour.NoCover {
		return
	}
	plastic, blanket := pour.Plastic, pour.Blanket
	if frost {
		c.add(effortBase, message.New(job.CoverBase, message.Term("cover", blanket)), job.WhatIf{BaseCover: &blanket})
		return
	}
	c.add(effortBase, message.New(job.CoverBase, message.Term("cover", plastic)), job.WhatIf{BaseCover: &plastic})
}

func againstHeat(c *offers) {
	yes, cool, slow := true, coolWaterC, "retarder"
	c.add(effortWater, message.New(job.IcedWater, message.Temperature("water", coolWaterC)),
		job.WhatIf{WaterTemperatureC: &cool})
	c.unless(c.spec.Practice.BaseWetted, effortWet, job.WetBase, job.WhatIf{BaseWetted: &yes})
	if c.spec.Mix.Admixture == pour.NoAdmixture && c.spec.Mix.LabelInitialSetMin == nil {
		c.add(effortAdd, message.New(job.AddRetarder), job.WhatIf{Admixture: &slow})
	}
}

func againstDrying(c *offers) {
	yes, x := true, &c.spec.Practice
	c.unless(x.EvaporationFilm, effortSpray, job.SprayFilm, job.WhatIf{EvaporationFilm: &yes})
	c.unless(x.Fogging, effortSpray, job.FogSlab, job.WhatIf{Fogging: &yes})
	c.unless(x.Windbreak, effortBreak, job.BreakWind, job.WhatIf{Windbreak: &yes})
	c.unless(x.Shade, effortBreak, job.ShadeSlab, job.WhatIf{Shade: &yes})
}

func (f *Adviser) coverEffort(kind string) float64 {
	if slices.ContainsFunc(f.Spec.Stock.Covers, func(c pour.Cover) bool { return c.Kind == kind }) {
		return effortCover
	}
	return effortBuy
}

// changedJob is the job of a changed project, planned after the plan just made.
func (f *Adviser) changedJob(w *job.WhatIf) *job.Job {
	in := *f.Job
	in.Spec = w.Apply(in.Spec)
	in.Skipped = append(w.Skipped(), in.Skipped...)
	if len(f.plan.Pours) > 0 {
		in.Last = &f.plan
	}
	return &in
}

// try returns a morning as it is planned once a project is changed.
func (f *Adviser) try(w *job.WhatIf, day int) (out job.Morning, ok bool) {
	g, err := policy.PrepareLike(f.changedJob(w), f.Prepared, policy.Owned{})
	if err != nil {
		return out, false
	}
	a := decide(g, day+1)
	defer func() { a.Spent = policy.Spending{} }()
	a.along(func(i int, s policy.State, p *policy.Planned) bool {
		if i < day {
			return true
		}
		if p != nil {
			out, _ = a.morning(i, s, p)
			ok = true
		}
		return false
	})
	return out, ok
}
