package policy

import "dryslot/internal/pour"

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
	left, hold := m.formsLeft(day, from, s), true
	for g, seq := range m.Seqs {
		hold = m.take(left, seq[s.Pos[g]:s.Pos[g]+uint16(n[g])]) && hold
	}
	return hold
}

// formsLeft returns, by form set, how many pads a start of a morning may take
// besides those that are not stripped.
func (m *Model) formsLeft(day, from int, s *State) []int {
	left := m.left[:len(m.Prepared.Spec.FormSets)]
	for k := range left {
		left[k] = m.Prepared.Spec.FormSets[k].Count
	}
	if len(left) == 0 {
		return left
	}
	at := m.Prepared.Days[day].Starts[from] + m.Prepared.Crew.SetUp
	for _, i := range m.held {
		if p := &m.Prepared.Pads[i]; p.Strip > at {
			left[p.Form]--
		}
	}
	for g, seq := range m.Seqs {
		top := int(s.Pos[g])
		for k := range s.lates {
			b := &s.late[k]
			if b.Strip > ReadyAt(day, from) {
				m.take(left, seq[top-int(b.n[g]):top])
			}
			top -= int(b.n[g])
		}
	}
	return left
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
