package planner

// owned is a cover that the project has, and for how many pads.
type owned struct {
	kind string
	pads int
	r    float64 // m2 K/W
}

// coverGain is what the covers must save, in days of expected loss, to be
// planned: they are laid, weighed down and lifted again (judgement).
const coverGain = 0.05

// lay has the pads of every pour covered once they are finished.
func (f *frame) lay(o owned) {
	if o.kind == "" {
		return
	}
	f.cover.Cover, f.cover.CoverR, f.most = o.kind, o.r, o.pads
}

// covered returns the model of the same job with the covers that the project
// owns, where that is expected to lose less, else the model itself. What is
// tried by the builder is left as asked.
func (m *model) covered() *model {
	if m.f.job.WhatIf != nil || len(m.flat()) == 0 {
		return m
	}
	best, least := m, m.value(m.first, state{})-coverGain
	for _, c := range m.f.spec.Stock.Covers {
		o := owned{kind: c.Kind, pads: c.Pads, r: m.f.coverResistance(c.Kind)}
		g, err := newFrameLike(m.f.job, m.f, o)
		if err != nil {
			continue
		}
		k := leaningModel(g, m.first, m.signals, m.lean)
		if v := k.value(m.first, state{}); v < least {
			best, least = k, v
		}
	}
	return best
}
