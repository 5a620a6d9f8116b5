package policy

import (
	"dryslot/internal/concrete"
	"dryslot/internal/planner/slabs"
	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

// Owned is a cover that the project has, and for how many pads.
type Owned struct {
	kind string
	pads int
}

// OwnedAs is a cover of a kind for every pad; nil or none: no cover.
func OwnedAs(kind *string) Owned {
	if kind == nil || *kind == pour.NoCover {
		return Owned{}
	}
	return Owned{kind: *kind, pads: pour.MaxPads}
}

// coverGain is what the covers must save, in days of expected loss, to be
// planned: they are laid, weighed down and lifted again (judgement).
const coverGain = 0.05

// lay has the pads of every pour covered once they are finished.
func (f *Prepared) lay(o Owned) {
	f.Cover.Cover, f.Cover.CoverR, f.most = o.kind, slabs.CoverResistance(f.Spec.Stock, o.kind), o.pads
}

// WithCovers returns the model of a job and those of the same job under each of
// the covers that the project owns, the one to go by first: that under covers
// where it is expected to lose less.
func (m *Model) WithCovers() []*Model {
	all := []*Model{m}
	if len(m.Flat()) == 0 {
		return all
	}
	best, least := 0, m.value(m.First, State{})-coverGain
	for _, c := range m.Prepared.Spec.Stock.Covers {
		o := m.Prepared.owned(c)
		if o.pads == 0 {
			continue
		}
		g, err := PrepareLike(m.Prepared.Job, m.Prepared, o)
		if err != nil {
			continue
		}
		k := ModelTied(g, m.First, m.Signals, m.Tie)
		if v := k.value(m.First, State{}); v < least {
			best, least = len(all), v
		}
		all = append(all, k)
	}
	all[0], all[best] = all[best], all[0]
	return all
}

// owned is a cover and for how many pads it does. Where the area of a blanket is
// given, it lies two layers thick along the edges.
func (f *Prepared) owned(c pour.Cover) Owned {
	o := Owned{kind: c.Kind, pads: c.Pads}
	if c.Kind == pour.Blanket && c.AreaM2 != nil {
		most := 0.0
		for _, p := range f.Pads {
			if p.Left {
				most = max(most, concrete.BlanketArea(unit.Metres(p.LengthM), unit.Metres(p.WidthM)))
			}
		}
		if most > 0 {
			o.pads = int(*c.AreaM2/most + 1e-9)
		}
	}
	return o
}

// lain is a pour's covers that lie from its day until a minute.
type lain struct {
	day, pads int
	off       float64
}

// covers notes that a pour's pads are covered.
func (m *Model) covers(day int, pads []int, c *cell) {
	if m.Prepared.Cover.Cover == "" {
		return
	}
	off := 0.0
	for i, p := range pads {
		s := m.Prepared.Pads[p].Kind.Slabs.Whole(m.Prepared.Days[day].Track, c.begins[i])
		off = max(off, c.begins[i]+s.Uncover)
	}
	m.lying = append(m.lying, lain{day, len(pads), off})
}

// coversHold reports whether covers are left for so many pads from a start on,
// besides those of earlier mornings that still lie. Only the morning being decided is
// held to it.
func (m *Model) coversHold(day, from, pads int) bool {
	if day != m.exact || len(m.lying) == 0 || m.Prepared.most == 0 {
		return true
	}
	for _, l := range m.lying {
		if l.day < day && l.off > m.Prepared.Days[day].Starts[from] {
			pads += l.pads
		}
	}
	return pads <= m.Prepared.most
}
