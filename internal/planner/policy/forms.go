package policy

import (
	"math"

	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

// Free reports whether everything that a pad waits for has come so far when
// its turn comes, with today's pads as given.
func (m *Model) Free(day, from int, s *State, today *[MostGroups]uint8, pad, n, position int) bool {
	if m.Prepared.Days[day].Skip[pad] {
		return false
	}
	if len(m.Prepared.Pads[pad].After) == 0 {
		return true
	}
	at := m.placing(day, from, n, position)
	for _, a := range m.Prepared.Pads[pad].After {
		p := &m.Prepared.Pads[a.Pad]
		if !p.Left {
			if !Poured(p.Record.State) {
				return false // not part of this question, and not poured
			}
			if a.Until == pour.Stripped && p.Strip > at || a.Until == pour.Cured && p.Cured > at {
				return false
			}
			continue
		}
		g, i := m.Place(a.Pad)
		switch {
		case i < int(s.Pos[g]):
			if b := s.BatchOf(g, i); b != nil &&
				(a.Until == pour.Stripped && b.Strip > ReadyAt(day, from) ||
					a.Until == pour.Cured && b.Cured > ReadyAt(day, from)) {
				return false
			}
		case i < int(s.Pos[g]+uint16(today[g])) && a.Until == pour.Placed:
		default:
			return false
		}
	}
	return true
}

// Place returns a pad's sequence and its position there.
func (m *Model) Place(pad int) (g, i int) {
	if m.where == nil {
		m.where = make([][2]int, len(m.Prepared.Pads))
		for g, seq := range m.Seqs {
			for i, p := range seq {
				m.where[p] = [2]int{g, i}
			}
		}
	}
	w := m.where[pad]
	return w[0], w[1]
}

// BatchOf returns the pending batch that a poured pad belongs to, or nil.
func (s *State) BatchOf(g, i int) *batch {
	top := int(s.Pos[g])
	for k := range s.lates {
		top -= int(s.late[k].n[g])
		if i >= top {
			return &s.late[k]
		}
	}
	return nil
}

// formsHold reports whether the form sets hold a day's pads besides those that
// are not stripped.
func (m *Model) formsHold(day, from int, s *State, n *[MostGroups]uint8) bool {
	left, hold := m.FormsLeft(day, from, s), true
	for g, seq := range m.Seqs {
		hold = m.take(left, seq[s.Pos[g]:s.Pos[g]+uint16(n[g])]) && hold
	}
	return hold
}

// FormsLeft returns, by form set, how many pads a start of a morning may take
// besides those that are not stripped. The pads of one day fill forms of their own,
// and a form is free when the last of a day's pads in the set can be stripped. What
// is returned holds until the next call.
func (m *Model) FormsLeft(day, from int, s *State) []int {
	sets := m.Prepared.Spec.FormSets
	left := m.left[:len(sets)]
	for k := range left {
		left[k] = sets[k].Holds()
	}
	if len(left) == 0 {
		return left
	}
	at := m.Prepared.Days[day].Starts[from] + m.Prepared.Crew.SetUp
	for _, h := range m.held {
		if h.free > at {
			left[h.form] -= sets[h.form].Taken(h.pads, 1)
		}
	}
	var top [MostGroups]int
	for g := range m.Seqs {
		top[g] = int(s.Pos[g])
	}
	in := m.batched[:len(sets)]
	for k := range s.lates {
		b := &s.late[k]
		clear(in)
		for g, seq := range m.Seqs {
			below := top[g] - int(b.n[g])
			for _, p := range seq[below:top[g]] {
				if form := m.Prepared.Pads[p].Form; form >= 0 {
					in[form]++
				}
			}
			top[g] = below
		}
		if b.Strip > ReadyAt(day, from) {
			for form, pads := range in {
				left[form] -= sets[form].Taken(pads, 1+int(b.further))
			}
		}
	}
	return left
}

// holding are the pads of a form set that were placed on one day and are not
// stripped.
type holding struct {
	form, pads int
	free       float64 // when the last of them can be stripped, in minutes
}

// holdings returns what the form sets hold when the plan begins.
func (f *Prepared) holdings() (all []holding) {
	type fill struct {
		form int
		date unit.Date
	}
	of := map[fill]int{}
	for i := range f.Pads {
		p := &f.Pads[i]
		if p.Form < 0 || p.Record.State != pour.Placed && p.Record.State != pour.Finished {
			continue
		}
		if f.Spec.FormSets[p.Form].Cells <= 1 {
			all = append(all, holding{p.Form, 1, p.Strip})
			continue
		}
		on := fill{form: p.Form}
		if p.Record.PlacedAt != nil {
			on.date = unit.DateOf(*p.Record.PlacedAt, f.Zone)
		}
		k, ok := of[on]
		if !ok {
			k, all = len(all), append(all, holding{form: p.Form, free: math.Inf(-1)})
			of[on] = k
		}
		all[k].pads, all[k].free = all[k].pads+1, max(all[k].free, p.Strip)
	}
	return all
}

// take takes the forms of pads off those left, and reports whether they suffice.
func (m *Model) take(left []int, pads []int) bool {
	enough := true
	for _, p := range pads {
		enough = m.takeOne(left, p) && enough
	}
	return enough
}

func (m *Model) takeOne(left []int, pad int) bool {
	k := m.Prepared.Pads[pad].Form
	if k < 0 {
		return true
	}
	left[k]--
	return left[k] >= 0
}
