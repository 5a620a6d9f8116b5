package policy

import (
	"dryslot/internal/message"
	"dryslot/internal/planner/job"
	"dryslot/internal/unit"
	"math"
)

// Planned is one pour of a plan being made.
type Planned struct {
	Day    int
	Start  float64
	Index  int // of the start
	Pads   []int
	Cell   *cell
	Table  *table
	before State // where the job stood that morning
}

// First returns the first morning on which work can still begin.
func (f *Prepared) First() int {
	for i := range f.Days {
		if len(f.Days[i].Starts) > 0 {
			return i
		}
		if f.Days[i].Date != unit.DateOf(f.Job.Now, f.Zone) && !f.Days[i].Date.Before(unit.DateOf(f.Job.Now, f.Zone)) {
			return i
		}
	}
	return max(0, len(f.Days)-1)
}

// Path follows the policy with what is known now, and the habit where that
// costs little: the pours that finish the job if nothing is lost and the
// forecast stays as it is.
func (m *Model) Path(h *habit) []Planned { return m.PathUntil(m.days, h) }

// PathUntil is the beginning of the path: the pours before a morning.
func (m *Model) PathUntil(until int, h *habit) []Planned {
	var out []Planned
	var s State
	defer m.unspend()
	m.lying = nil
	for day := m.First; day < until && !m.Done(&s); day++ {
		s.Forget(day, m.Curing)
		best := m.prefer(day, s, m.decide(day, s), h)
		if best == nil {
			continue
		}
		pads := m.Prepared.Taken(m.Seqs, s.Pos[:len(m.Seqs)], best.N[:len(m.Seqs)])
		i := m.keptStart(day, best, h)
		out = append(out, Planned{Day: day, Start: m.Prepared.Days[day].Starts[i], Index: i, Pads: pads,
			Table: best.Table, Cell: &best.Table.Cells[i][best.Total-1], before: s})
		m.covers(day, pads, out[len(out)-1].Cell)
		s = best.next
		m.spend(pads, &s)
	}
	return out
}

// exactly has a morning judged for its own pads until it is called off.
func (m *Model) exactly(day int) (off func()) {
	m.exact = day
	return func() { m.exact = -1 }
}

// decide returns the best way to pour on a morning with what is known now; nil
// to wait.
func (m *Model) decide(day int, s State) *Action {
	defer m.exactly(day)()
	none := math.Inf(-1)
	wait := 1 + m.value(day+1, s)
	return m.best(day, s, limits{none, none, none, wait + 2e-9})[decided] // as good as waiting: pour
}

// DecideUnder is decide with the mornings to come as another model has them.
func (m *Model) DecideUnder(base *Model, day int, s State) *Action {
	var best *Action
	defer m.exactly(day)()
	s.Forget(day, m.Curing)
	least := 1 + base.value(day+1, s)
	m.each(day, s, func(a *Action) {
		if math.IsInf(a.cost[decided], 1) {
			return
		}
		if v := base.worth(day, &s, a)[decided]; v < least+1e-9 && (best == nil || v < least-1e-9) {
			c := *a
			best, least = &c, min(v, least)
		}
	})
	return best
}

// Possible returns the most pads that a morning takes from a state within the
// risk limit, and the action that does.
func (m *Model) Possible(day int, s State) *Action {
	var best *Action
	defer m.exactly(day)()
	s.Forget(day, m.Curing)
	m.each(day, s, func(a *Action) {
		if math.IsInf(a.cost[asNow], 1) {
			return
		}
		if best == nil || a.Total > best.Total || a.Total == best.Total && a.cost[asNow] < best.cost[asNow]-1e-12 {
			c := *a
			best = &c
		}
	})
	return best
}

// Optimal reports whether the plan is proved to be the best.
func (m *Model) Optimal() bool { return m.proved && !m.coarse && !m.over() }

// Step returns the state after a planned pour.
func (m *Model) Step(s State, p *Planned) State {
	var n [MostGroups]uint8
	for _, pad := range p.Pads {
		g, _ := m.Place(pad)
		n[g]++
	}
	for g := range n {
		s.Pos[g] += uint16(n[g])
	}
	b := batch{Strip: m.readyFor(p.Day, p.Cell.strip), n: n}
	if m.Curing {
		b.Cured = m.readyFor(p.Day, p.Cell.cured)
	}
	m.push(&s, b)
	return s
}

func (m *Model) Method() message.Code {
	if m.proved {
		return job.MethodExpectedLoss
	}
	return job.MethodOneOrder
}
