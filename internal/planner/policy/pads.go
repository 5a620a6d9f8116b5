package policy

import (
	"dryslot/internal/fault"
	"dryslot/internal/planner/crewday"
	"dryslot/internal/pour"
	"dryslot/internal/takeoff"
	"dryslot/internal/unit"
	"math"
)

// slots numbers the pads and groups them by what they ask of the crew.
func (f *Prepared) slots() error {
	type key struct {
		bags        int
		thick, area float64
	}
	classes := map[key]int{}
	only := map[string]bool{}
	if w := f.Job.WhatIf; w != nil {
		for _, p := range w.Pads {
			only[p] = true
		}
	}
	forms := map[string]int{}
	for i, s := range f.Spec.FormSets {
		forms[s.Name] = i
	}
	records := map[string]pour.PadRecord{}
	for _, r := range f.Job.Records {
		records[r.Pad] = r
	}
	for i, p := range f.Spec.Pads {
		f.byName[p.Name] = i
	}
	thickness := f.thicknesses()
	f.Pads = make([]slot, len(f.Spec.Pads))
	for i, p := range f.Spec.Pads {
		s := &f.Pads[i]
		litres := takeoff.PadVolumeL(f.Spec, p)
		bags := takeoff.BagsFor(f.Spec, litres)
		k := key{bags, thickness(takeoff.MeanThicknessM(f.Spec, p)), p.AreaM2()}
		c, ok := classes[k]
		if !ok {
			c = len(f.kinds)
			classes[k] = c
			f.kinds = append(f.kinds, f.workOf(p, unit.Metres(k.thick), litres))
		}
		*s = slot{
			Pad:    p,
			Class:  c,
			Kind:   f.kinds[c],
			litres: litres,
			Form:   -1,
			Record: records[p.Name],
			Strip:  math.Inf(1),
			Cured:  math.Inf(1),
		}
		s.Left = !Poured(s.Record.State) && (len(only) == 0 || only[p.Name])
		if p.FormSet != nil {
			n, ok := forms[*p.FormSet]
			if !ok {
				return fault.Of(fault.Invalid, pour.ProjectBreaksRule).
					At("pads."+p.Name+".form_set", *p.FormSet, fault.RuleOf(pour.FormSetUnknown))
			}
			s.Form = n
		}
		for _, a := range p.After {
			j, ok := f.byName[a.Pad]
			if !ok {
				return fault.Of(fault.Invalid, pour.ProjectBreaksRule).
					At("pads."+p.Name+".after", a.Pad, fault.RuleOf(pour.PadUnknown))
			}
			s.After = append(s.After, edge{j, a.Until})
		}
		f.placedBefore(s)
	}
	return nil
}

// thicknesses returns which thickness in m a pad's slab is worked out for.
func (f *Prepared) thicknesses() func(float64) float64 {
	seen := map[float64]bool{}
	for _, p := range f.Spec.Pads {
		seen[takeoff.MeanThicknessM(f.Spec, p)] = true
	}
	if len(seen) <= mostThicknesses {
		return func(m float64) float64 { return m }
	}
	return func(m float64) float64 { return max(1, math.Round(m/thicknessStep)) * thicknessStep }
}

func Poured(s pour.State) bool {
	return s == pour.Placed || s == pour.Finished || s == pour.Stripped || s == pour.Cured
}

func (f *Prepared) workOf(p pour.Pad, thickness unit.Metres, litres float64) *crewday.Work {
	c := f.Spec.Crew
	kind := f.Cover
	kind.Thickness = thickness
	w := &crewday.Work{
		ML:     int(litres * 1000),
		Place:  takeoff.PlacingMin(f.Spec, p),
		Finish: c.FinishMinPerM2 * p.AreaM2(),
		Slabs:  f.nodesFor(kind),
	}
	w.Finishers = max(1, min(c.People, int(math.Ceil(w.Finish/finishShare))))
	if f.Cover.Cover != "" {
		w.Cover = crewday.CoverMin
	}
	return w
}

// placedBefore sets when a pad that is placed can be stripped, and is cured.
func (f *Prepared) placedBefore(s *slot) {
	switch s.Record.State {
	case pour.Cured:
		s.Strip, s.Cured = math.Inf(-1), math.Inf(-1)
		return
	case pour.Stripped:
		s.Strip = math.Inf(-1)
	case pour.Placed, pour.Finished:
	default:
		return
	}
	if s.Record.PlacedAt == nil {
		return
	}
	at := f.Minute(*s.Record.PlacedAt)
	// A pad placed before the weather begins is taken to have had the weather
	// of the same hours of the first days known.
	from := at
	for from < 0 {
		from += 24 * 60
	}
	b := s.Kind.Slabs.Whole(f.middleTrack(from), from)
	if s.Strip > 0 {
		s.Strip = at + b.Strip
	}
	s.Cured = at + b.Cured
}
