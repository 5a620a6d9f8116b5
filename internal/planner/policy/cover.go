package policy

// Owned is a cover that the project has, and for how many pads.
type Owned struct {
	kind string
	pads int
	r    float64 // m2 K/W
}

// coverGain is what the covers must save, in days of expected loss, to be
// planned: they are laid, weighed down and lifted again (judgement).
const coverGain = 0.05

// lay has the pads of every pour covered once they are finished.
func (f *Prepared) lay(o Owned) {
	if o.kind == "" {
		return
	}
	f.Cover.Cover, f.Cover.CoverR, f.most = o.kind, o.r, o.pads
}

// Covered returns the model of the same job with the covers that the project
// owns, where that is expected to lose less, else the model itself. What is
// tried by the builder is left as asked.
func (m *Model) Covered() *Model {
	if m.Prepared.Job.WhatIf != nil || len(m.Flat()) == 0 {
		return m
	}
	best, least := m, m.value(m.First, State{})-coverGain
	for _, c := range m.Prepared.Spec.Stock.Covers {
		o := Owned{kind: c.Kind, pads: c.Pads, r: m.Prepared.coverResistance(c.Kind)}
		g, err := PrepareLike(m.Prepared.Job, m.Prepared, o)
		if err != nil {
			continue
		}
		k := ModelTied(g, m.First, m.Signals, m.Tie)
		if v := k.value(m.First, State{}); v < least {
			best, least = k, v
		}
	}
	return best
}
