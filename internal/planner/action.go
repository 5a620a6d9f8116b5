package planner

import (
	"math"

	"dryslot/internal/planner/crewday"
	"dryslot/internal/pour"
)

// action is one way to pour on a morning, and the state that it leads to.
type action struct {
	n      [mostGroups]uint8
	next   state
	cost   [4]float64
	option *option
	table  *table
	total  int
	from   int // first start allowed
	ahead  *ahead
}

// ahead is the expected loss from the next morning on after each number of pads
// of one order poured, which are all stripped at one time: actions that differ
// in the number of pads alone share it, in place of a look-up each.
type ahead struct {
	m            *model
	strip, cured ready
	loss         [crewday.MostPads + 1]float64 // NaN: not asked for yet
}

// aheadOf returns the shared values of an option, among those of its order.
func (m *model) aheadOf(all *[]*ahead, o *option) *ahead {
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
func (m *model) each(day int, s state, fn func(*action)) {
	d := &m.f.days[day]
	if !d.off.IsZero() || len(d.starts) == 0 {
		return
	}
	seen := -1
	for from := 0; from < len(d.starts); {
		m.eachFrom(day, s, from, seen, fn)
		seen = from
		// The next start at which more pads are stripped.
		next := len(d.starts)
		for i := range s.lates {
			for _, r := range [...]ready{s.late[i].strip, s.late[i].cured} {
				if r != notInSight && int(r)/64 == day && int(r)%64 > from {
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
func (m *model) pending(day int) bool {
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

func (m *model) pendingOn(day int) bool {
	d := &m.f.days[day]
	first, last := d.starts[0]+m.f.crew.SetUp, d.starts[len(d.starts)-1]+24*60
	for i := range m.f.pads {
		p := &m.f.pads[i]
		if p.strip > first && p.strip < last || m.curing && p.cured > first && p.cured < last {
			return true
		}
	}
	return false
}

// placing returns when the pad at a position of a day's order is begun; of n
// pads, 0 for as many as the start takes.
func (m *model) placing(day, from, n, position int) float64 {
	begin := m.f.days[day].starts[from] + m.f.crew.SetUp
	if !m.uniform || position == 0 {
		return begin
	}
	row := m.tableOf(day, nil).cells[from]
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
func (m *model) startFrom(day int, at float64) int {
	d := &m.f.days[day]
	for i, s := range d.starts {
		if s+m.f.crew.SetUp >= at {
			return i
		}
	}
	return len(d.starts)
}

// eachFrom calls fn for the ways to pour from a start on. Ways that were open
// from an earlier start already (seen) are not repeated.
func (m *model) eachFrom(day int, s state, from, seen int, fn func(*action)) {
	var most, before [mostGroups]uint8
	m.available(day, from, &s, &most)
	if seen >= 0 {
		m.available(day, seen, &s, &before)
		if most == before {
			return
		}
	}
	var n [mostGroups]uint8
	if m.split {
		m.mixtures(day, s, from, most, n, 0, fn)
		return
	}
	// Earlier sequences first: they set the later ones free. All of these days
	// are beginnings of one order.
	t := m.tableOf(day, m.f.taken(m.seqs, s.pos[:len(m.seqs)], most[:len(m.seqs)]))
	var shared []*ahead
	for g := range m.seqs {
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

func (m *model) mixtures(day int, s state, from int, most, n [mostGroups]uint8, g int, fn func(*action)) {
	if g == len(m.seqs) {
		if n == [mostGroups]uint8{} {
			return
		}
		t := m.tableOf(day, m.f.taken(m.seqs, s.pos[:len(m.seqs)], n[:len(m.seqs)]))
		if m.fits(day, &s, from, &n, t) {
			m.act(day, s, from, n, t, nil, fn)
		}
		return
	}
	for n[g] = 0; n[g] <= most[g]; n[g]++ {
		m.mixtures(day, s, from, most, n, g+1, fn)
	}
}

func totalOf(n *[mostGroups]uint8) int {
	total := 0
	for _, k := range n {
		total += int(k)
	}
	return total
}

// fits reports whether n pads can be poured on a morning by the forms, the bags,
// the order between them and the day's hours.
func (m *model) fits(day int, s *state, from int, n *[mostGroups]uint8, t *table) bool {
	total := totalOf(n)
	return total <= crewday.MostPads && total <= t.most && m.formsHold(day, from, s, n) && m.bagsHold(day, s, n) &&
		(!m.placedToo || m.placedFirst(s, n))
}

// act calls fn for each option to pour n pads, the first of a table's order.
// shared is what the numbers of pads of one order share; nil: nothing.
func (m *model) act(day int, s state, from int, n [mostGroups]uint8, t *table, shared *[]*ahead, fn func(*action)) {
	total := totalOf(&n)
	opts := m.optionsOf(t, total, from)
	check := m.split || m.pending(day)
	for i := range opts {
		o := &opts[i]
		if check && !m.timely(day, o.start, &s, &n, total) {
			continue
		}
		m.f.budget.do(1)
		m.weighed++
		a := action{n: n, cost: o.cost, option: o, table: t, total: total, next: s, from: from}
		for g := range m.seqs {
			a.next.pos[g] += uint16(n[g])
		}
		m.push(&a.next, batch{strip: o.strip, cured: o.cured, n: n})
		if shared != nil {
			a.ahead = m.aheadOf(shared, o)
		}
		fn(&a)
	}
}

// push adds the pads poured on a morning, where anything waits for them.
func (m *model) push(s *state, b batch) {
	if m.waiting {
		s.push(b, m.curing)
	}
}

// placedFirst reports whether every pad that another of the day must be placed
// after is among the day's pads or those poured before.
func (m *model) placedFirst(s *state, n *[mostGroups]uint8) bool {
	for g, seq := range m.seqs {
		for _, p := range seq[s.pos[g] : s.pos[g]+uint16(n[g])] {
			for _, a := range m.f.pads[p].after {
				if m.f.pads[a.pad].left {
					if h, i := m.place(a.pad); i >= int(s.pos[h]+uint16(n[h])) {
						return false
					}
				}
			}
		}
	}
	return true
}

// timely reports whether every pad of a day is free when its turn comes.
func (m *model) timely(day, from int, s *state, n *[mostGroups]uint8, total int) bool {
	position := 0
	for g, seq := range m.seqs {
		for _, p := range seq[s.pos[g] : s.pos[g]+uint16(n[g])] {
			if !m.free(day, from, s, n, p, total, position) {
				return false
			}
			position++
		}
	}
	return true
}

// push adds the pads poured on a morning. Where more mornings are pending than
// are kept apart, the oldest two count as one, ready when the later of them is.
func (s *state) push(b batch, curing bool) {
	if !curing {
		b.cured = 0
	}
	if int(s.lates) == len(s.late) {
		i := len(s.late) - 1
		a, z := &s.late[i-1], s.late[i]
		a.strip, a.cured = max(a.strip, z.strip), max(a.cured, z.cured)
		for g := range a.n {
			a.n[g] += z.n[g]
		}
		s.lates--
	}
	copy(s.late[1:], s.late[:s.lates])
	s.late[0] = b
	s.lates++
}

// available returns how many pads of each sequence can be poured when placing
// begins at a start, by the order between pads alone. Sequences follow each
// other in the day's order.
func (m *model) available(day, from int, s *state, most *[mostGroups]uint8) {
	*most = [mostGroups]uint8{}
	position := 0
	for g, seq := range m.seqs {
		for next := int(s.pos[g]); next < len(seq) && most[g] <= crewday.MostPads && m.free(day, from, s, most, seq[next], 0, position); next++ {
			most[g]++
			position++
		}
	}
}

// free reports whether everything that a pad waits for has come so far when
// its turn comes, with today's pads as given.
func (m *model) free(day, from int, s *state, today *[mostGroups]uint8, pad, n, position int) bool {
	if m.f.days[day].skip[pad] {
		return false
	}
	if len(m.f.pads[pad].after) == 0 {
		return true
	}
	at := m.placing(day, from, n, position)
	for _, a := range m.f.pads[pad].after {
		p := &m.f.pads[a.pad]
		if !p.left {
			if !poured(p.rec.State) {
				return false // not part of this question, and not poured
			}
			if a.until == pour.Stripped && p.strip > at || a.until == pour.Cured && p.cured > at {
				return false
			}
			continue
		}
		g, i := m.place(a.pad)
		switch {
		case i < int(s.pos[g]):
			if b := s.batchOf(g, i); b != nil && (a.until == pour.Stripped && b.strip > readyAt(day, from) || a.until == pour.Cured && b.cured > readyAt(day, from)) {
				return false
			}
		case i < int(s.pos[g]+uint16(today[g])) && a.until == pour.Placed:
		default:
			return false
		}
	}
	return true
}

// place returns a pad's sequence and its position there.
func (m *model) place(pad int) (g, i int) {
	if m.where == nil {
		m.where = make([][2]int, len(m.f.pads))
		for g, seq := range m.seqs {
			for i, p := range seq {
				m.where[p] = [2]int{g, i}
			}
		}
	}
	w := m.where[pad]
	return w[0], w[1]
}

// batchOf returns the pending batch that a poured pad belongs to, or nil.
func (s *state) batchOf(g, i int) *batch {
	top := int(s.pos[g])
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
func (m *model) formsHold(day, from int, s *state, n *[mostGroups]uint8) bool {
	if len(m.f.spec.FormSets) == 0 {
		return true
	}
	at := m.f.days[day].starts[from] + m.f.crew.SetUp
	used := m.used[:len(m.f.spec.FormSets)]
	clear(used)
	for _, i := range m.held {
		if p := &m.f.pads[i]; p.strip > at {
			used[p.form]++
		}
	}
	for g, seq := range m.seqs {
		top := int(s.pos[g])
		for i := top; i < top+int(n[g]); i++ {
			if k := m.f.pads[seq[i]].form; k >= 0 {
				used[k]++
			}
		}
		for k := range s.lates {
			b := &s.late[k]
			for i := top - int(b.n[g]); i < top; i++ {
				if k := m.f.pads[seq[i]].form; k >= 0 && b.strip > readyAt(day, from) {
					used[k]++
				}
			}
			top -= int(b.n[g])
		}
	}
	for k, u := range used {
		if u > m.f.spec.FormSets[k].Count {
			return false
		}
	}
	return true
}
