package policy

import (
	"dryslot/internal/planner/crewday"
)

// Action is one way to pour on a morning, and the state that it leads to.
type Action struct {
	N      [MostGroups]uint8
	next   State
	cost   [4]float64
	Option *option
	Table  *table
	Total  int
	from   int // first start allowed
	number int // among the ways from that start, fewest pads first
	ahead  *ahead
	least  limits // what is lost by it at the least
}

// each calls fn for every way to pour on a morning from a state.
func (m *Model) each(day int, s State, fn func(*Action)) { m.eachBelow(day, s, nil, fn) }

// eachFrom calls fn for every start of a morning that finds other pads free than
// the one tried before it (seen; -1 for none).
func (m *Model) eachFrom(day int, s *State, fn func(from, seen int)) {
	d := &m.Prepared.Days[day]
	seen := -1
	for from := 0; from < len(d.Starts); {
		fn(from, seen)
		seen = from
		// The next start at which more pads are stripped.
		next := len(d.Starts)
		for i := range s.lates {
			for _, r := range [...]Ready{s.late[i].Strip, s.late[i].Cured} {
				if r != NotInSight && int(r)/64 == day && int(r)%64 > from {
					next = min(next, int(r)%64)
				}
			}
		}
		if m.pending(day) {
			next = from + 1
		}
		from = next
	}
}

// pending reports whether a pad of the log is stripped or cured between the
// first start of a morning and the last: each start then finds other pads free.
func (m *Model) pending(day int) bool {
	if m.pendings == nil {
		m.pendings = make([]asked, m.days)
	}
	if m.pendings[day] == notAsked {
		m.pendings[day] = isNot
		if m.pendingOn(day) {
			m.pendings[day] = isSo
		}
	}
	return m.pendings[day] == isSo
}

// asked is a question's answer that is kept.
type asked uint8

const (
	notAsked asked = iota
	isSo
	isNot
)

func (m *Model) pendingOn(day int) bool {
	d := &m.Prepared.Days[day]
	first, last := d.Starts[0]+m.Prepared.Crew.SetUp, d.Starts[len(d.Starts)-1]+24*60
	for i := range m.Prepared.Pads {
		p := &m.Prepared.Pads[i]
		if p.Strip > first && p.Strip < last || m.Curing && p.Cured > first && p.Cured < last {
			return true
		}
	}
	return false
}

// placing returns when the pad at a position of a day's order is begun; of n
// pads, 0 for as many as the start takes.
func (m *Model) placing(day, from, n, position int) float64 {
	begin := m.Prepared.Days[day].Starts[from] + m.Prepared.Crew.SetUp
	if !m.uniform || position == 0 {
		return begin
	}
	row := m.TableOf(day, nil).Cells[from]
	if len(row) == 0 {
		return begin
	}
	if n == 0 {
		n = min(position+1, len(row))
	}
	at := row[n-1].begins
	return at[min(position, len(at)-1)]
}

// startFrom returns the first start of a morning whose placing begins at or
// after a minute.
func (m *Model) startFrom(day int, at float64) int {
	d := &m.Prepared.Days[day]
	for i, s := range d.Starts {
		if s+m.Prepared.Crew.SetUp >= at {
			return i
		}
	}
	return len(d.Starts)
}

// way is so many pads of each sequence on a morning, from a start on: the first of
// a table's order.
type way struct {
	from  int
	n     [MostGroups]uint8
	total int
	table *table
	order *order // shared by all ways of one order
}

// ways returns the ways to pour from a start on, the fewest pads first. Ways that
// were open from an earlier start already (seen) are not repeated.
func (m *Model) ways(day int, s *State, from, seen int) []way {
	var most, before [MostGroups]uint8
	m.Available(day, from, s, &most)
	if seen >= 0 {
		m.Available(day, seen, s, &before)
		if most == before {
			return nil
		}
	}
	if m.split {
		return m.mixtures(day, s, way{from: from, order: &order{}}, most, 0, nil)
	}
	// Earlier sequences first: they set the later ones free. All of these days
	// are beginnings of one order.
	t := m.TableOf(day, m.Prepared.Taken(m.Seqs, s.Pos[:len(m.Seqs)], most[:len(m.Seqs)]))
	out, shared := make([]way, 0, min(totalOf(&most), t.most)+1), &order{}
	var n [MostGroups]uint8
	left := m.FormsLeft(day, from, s)
	for g, seq := range m.Seqs {
		skipped := false
		for n[g] = 1; n[g] <= most[g]; n[g]++ {
			p := seq[int(s.Pos[g])+int(n[g])-1]
			if !m.takeOne(left, p) || !m.fits(day, s, from, &n, t) {
				if k := m.Prepared.Pads[p].Form; k >= 0 {
					left[k]++
				}
				break
			}
			if skipped = m.coarse && !tried(n[g]); !skipped {
				out = append(out, way{from, n, totalOf(&n), t, shared})
			}
		}
		n[g]--
		if skipped { // the most that can be done is always tried
			out = append(out, way{from, n, totalOf(&n), t, shared})
		}
	}
	return out
}

// coarseFromPads is how many pads a job has that tries only some numbers of
// pads a morning: its mornings take many, and one pad more or less is little
// beside them (judgement).
const coarseFromPads = 61

// tried reports whether a large job tries so many pads of a sequence: numbers
// that are apart by about a quarter.
func tried(n uint8) bool {
	switch {
	case n <= 2:
		return true
	case n <= 8:
		return n%2 == 0
	case n <= 16:
		return n%4 == 0
	}
	return n%8 == 0
}

// mixtures adds every mixture of the sequences.
func (m *Model) mixtures(day int, s *State, w way, most [MostGroups]uint8, g int, into []way) []way {
	if g == len(m.Seqs) {
		if w.n == [MostGroups]uint8{} {
			return into
		}
		w.table = m.TableOf(day, m.Prepared.Taken(m.Seqs, s.Pos[:len(m.Seqs)], w.n[:len(m.Seqs)]))
		if m.formsHold(day, w.from, s, &w.n) && m.fits(day, s, w.from, &w.n, w.table) {
			w.total = totalOf(&w.n)
			into = append(into, w)
		}
		return into
	}
	for k := uint8(0); k <= most[g]; k++ {
		w.n[g] = k
		into = m.mixtures(day, s, w, most, g+1, into)
	}
	return into
}

func totalOf(n *[MostGroups]uint8) int {
	total := 0
	for _, k := range n {
		total += int(k)
	}
	return total
}

// fits reports whether n pads can be poured on a morning by the bags, the order
// between them, the covers and the day's hours.
func (m *Model) fits(day int, s *State, from int, n *[MostGroups]uint8, t *table) bool {
	total := totalOf(n)
	return total <= crewday.MostPads && total <= t.most && m.BagsHold(day, s, n) &&
		(!m.placedToo || m.placedFirst(s, n)) && m.coversHold(day, from, total)
}

// push adds the pads poured on a morning, where anything waits for them.
func (m *Model) push(s *State, b batch) {
	if m.waiting {
		s.push(b, m.Curing)
	}
}

// placedFirst reports whether every pad that another of the day must be placed
// after is among the day's pads or those poured before.
func (m *Model) placedFirst(s *State, n *[MostGroups]uint8) bool {
	for g, seq := range m.Seqs {
		for _, p := range seq[s.Pos[g] : s.Pos[g]+uint16(n[g])] {
			for _, a := range m.Prepared.Pads[p].After {
				if m.Prepared.Pads[a.Pad].Left {
					if h, i := m.Place(a.Pad); i >= int(s.Pos[h]+uint16(n[h])) {
						return false
					}
				}
			}
		}
	}
	return true
}

// timely reports whether every pad of a day is free when its turn comes.
func (m *Model) timely(day, from int, s *State, n *[MostGroups]uint8, total int) bool {
	position := 0
	for g, seq := range m.Seqs {
		for _, p := range seq[s.Pos[g] : s.Pos[g]+uint16(n[g])] {
			if !m.Free(day, from, s, n, p, total, position) {
				return false
			}
			position++
		}
	}
	return true
}

// push adds the pads poured on a morning. Where more mornings are pending than
// are kept apart, the oldest two count as one, ready when the later of them is.
func (s *State) push(b batch, curing bool) {
	if !curing {
		b.Cured = 0
	}
	if int(s.lates) == len(s.late) {
		i := len(s.late) - 1
		a, z := &s.late[i-1], s.late[i]
		a.Strip, a.Cured = max(a.Strip, z.Strip), max(a.Cured, z.Cured)
		for g := range a.n {
			a.n[g] += z.n[g]
		}
		a.further += z.further + 1
		s.lates--
	}
	copy(s.late[1:], s.late[:s.lates])
	s.late[0] = b
	s.lates++
}

// Available returns how many pads of each sequence can be poured when placing
// begins at a start, by the order between pads alone. Sequences follow each
// other in the day's order.
func (m *Model) Available(day, from int, s *State, most *[MostGroups]uint8) {
	*most = [MostGroups]uint8{}
	position := 0
	for g, seq := range m.Seqs {
		for next := int(s.Pos[g]); next < len(seq) && most[g] <= crewday.MostPads; next++ {
			if !m.Free(day, from, s, most, seq[next], 0, position) {
				break
			}
			most[g]++
			position++
		}
	}
}
