package policy

import (
	"math"

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
	ahead  *ahead
}

// ahead is the expected loss from the next morning on after each number of pads
// of one order poured, which are all stripped at one time: actions that differ
// in the number of pads alone share it, in place of a look-up each.
type ahead struct {
	m            *Model
	strip, cured Ready
	loss         [crewday.MostPads + 1]float64 // NaN: not asked for yet
}

// aheadOf returns the shared values of an option, among those of its order.
func (m *Model) aheadOf(all *[]*ahead, o *option) *ahead {
	for _, a := range *all {
		if a.strip == o.strip && a.cured == o.cured {
			return a
		}
	}
	a := &ahead{m: m, strip: o.strip, cured: o.cured}
	for k := range a.loss {
		a.loss[k] = math.NaN()
	}
	*all = append(*all, a)
	return a
}

// each calls fn for every way to pour on a morning from a state.
func (m *Model) each(day int, s State, fn func(*Action)) {
	d := &m.Prepared.Days[day]
	if !d.Off.IsZero() || len(d.Starts) == 0 {
		return
	}
	seen := -1
	for from := 0; from < len(d.Starts); {
		m.eachFrom(day, s, from, seen, fn)
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

// eachFrom calls fn for the ways to pour from a start on. Ways that were open
// from an earlier start already (seen) are not repeated.
func (m *Model) eachFrom(day int, s State, from, seen int, fn func(*Action)) {
	var most, before [MostGroups]uint8
	m.Available(day, from, &s, &most)
	if seen >= 0 {
		m.Available(day, seen, &s, &before)
		if most == before {
			return
		}
	}
	var n [MostGroups]uint8
	if m.split {
		m.mixtures(day, s, from, most, n, 0, fn)
		return
	}
	// Earlier sequences first: they set the later ones free. All of these days
	// are beginnings of one order.
	t := m.TableOf(day, m.Prepared.Taken(m.Seqs, s.Pos[:len(m.Seqs)], most[:len(m.Seqs)]))
	var shared []*ahead
	for g := range m.Seqs {
		skipped := false
		for n[g] = 1; n[g] <= most[g]; n[g]++ {
			if !m.fits(day, &s, from, &n, t) {
				break
			}
			if skipped = m.coarse && !tried(n[g]); !skipped {
				m.act(day, s, from, n, t, &shared, fn)
			}
		}
		n[g]--
		if skipped { // the most that can be done is always tried
			m.act(day, s, from, n, t, &shared, fn)
		}
	}
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

func (m *Model) mixtures(day int, s State, from int, most, n [MostGroups]uint8, g int, fn func(*Action)) {
	if g == len(m.Seqs) {
		if n == [MostGroups]uint8{} {
			return
		}
		t := m.TableOf(day, m.Prepared.Taken(m.Seqs, s.Pos[:len(m.Seqs)], n[:len(m.Seqs)]))
		if m.fits(day, &s, from, &n, t) {
			m.act(day, s, from, n, t, nil, fn)
		}
		return
	}
	for n[g] = 0; n[g] <= most[g]; n[g]++ {
		m.mixtures(day, s, from, most, n, g+1, fn)
	}
}

func totalOf(n *[MostGroups]uint8) int {
	total := 0
	for _, k := range n {
		total += int(k)
	}
	return total
}

// fits reports whether n pads can be poured on a morning by the forms, the bags,
// the order between them and the day's hours.
func (m *Model) fits(day int, s *State, from int, n *[MostGroups]uint8, t *table) bool {
	total := totalOf(n)
	return total <= crewday.MostPads && total <= t.most && m.formsHold(day, from, s, n) && m.BagsHold(day, s, n) &&
		(!m.placedToo || m.placedFirst(s, n)) && m.coversHold(day, from, total)
}

// act calls fn for each option to pour n pads, the first of a table's order.
// shared is what the numbers of pads of one order share; nil: nothing.
func (m *Model) act(day int, s State, from int, n [MostGroups]uint8, t *table, shared *[]*ahead, fn func(*Action)) {
	total := totalOf(&n)
	opts := m.optionsOf(t, total, from)
	check := m.split || m.pending(day)
	for i := range opts {
		o := &opts[i]
		if check && !m.timely(day, o.Start, &s, &n, total) {
			continue
		}
		m.Prepared.budget.do(1)
		m.weighed++
		a := Action{N: n, cost: o.cost, Option: o, Table: t, Total: total, next: s, from: from}
		for g := range m.Seqs {
			a.next.Pos[g] += uint16(n[g])
		}
		m.push(&a.next, batch{Strip: o.strip, Cured: o.cured, n: n})
		if shared != nil {
			a.ahead = m.aheadOf(shared, o)
		}
		fn(&a)
	}
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
