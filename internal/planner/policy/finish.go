package policy

import (
	"math"

	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

// longest is how many mornings ahead a finish is looked for.
const longest = 366

// Finish returns when the job is done by half of all futures, and by nine in
// ten, when the policy is followed with the forecasts to come.
func (f *Prepared) Finish(m *Model, path []Planned, whole bool) pour.Finish {
	var s State
	if m.Done(&s) {
		return pour.Finish{}
	}
	from, ok := f.bagsForAll(path)
	if !ok {
		return pour.Finish{} // some pad can never get its bags: no end is in sight
	}
	at := m.spread()
	date := func(share float64) *unit.Date {
		sum := 0.0
		for i, p := range at {
			sum += p
			if sum >= share-1e-9 {
				d := f.Days[m.First].Date.AddDays(i - m.First)
				return &d
			}
		}
		return nil
	}
	out := pour.Finish{Likely: date(0.5), NineInTen: date(0.9)}
	for _, d := range []*unit.Date{out.Likely, out.NineInTen} {
		if d != nil && d.Before(from) {
			*d = from // the last pad waits for its bags
		}
	}
	if whole && len(path) > 0 {
		last := f.Days[path[len(path)-1].Day].Date
		if out.Likely == nil || out.Likely.Before(last) {
			out.Likely = &last
		}
		if out.NineInTen != nil && out.NineInTen.Before(*out.Likely) {
			out.NineInTen = out.Likely
		}
	}
	return out
}

// reached is a state, and whether a lost pad is owed besides.
type reached struct {
	s    State
	owed bool
}

// spread returns the chance that the last pad is placed on each morning, by
// number, the horizon's and those beyond it.
func (m *Model) spread() []float64 {
	m.outlook()
	at := make([]float64, m.days+longest)
	now := &reachedAll{chance: map[reached]float64{}}
	now.add(reached{}, 1)
	for day := m.First; day < m.days; day++ {
		next := &reachedAll{chance: map[reached]float64{}}
		for _, st := range now.order {
			m.spreadFrom(day, st, now.chance[st], at, next)
		}
		now = next
	}
	for _, st := range now.order {
		pours := m.after(&st.s) / max(m.beyond, 1e-9)
		if st.owed && m.Done(&st.s) {
			pours = 1
		}
		m.later(at, int(math.Ceil(pours-1e-9)), now.chance[st])
	}
	return at
}

// reachedAll is the states reached before a morning with their chances, in the
// order in which they were found, so that sums come out the same every time.
type reachedAll struct {
	chance map[reached]float64
	order  []reached
}

func (r *reachedAll) add(to reached, p float64) {
	if p <= 1e-12 {
		return
	}
	if _, ok := r.chance[to]; !ok {
		r.order = append(r.order, to)
	}
	r.chance[to] += p
}

// spreadFrom adds what may follow from a state on a morning, given its chance: to
// at that the last pad is placed then, to next the states that follow.
func (m *Model) spreadFrom(day int, st reached, p float64, at []float64, next *reachedAll) {
	if m.Done(&st.s) { // only the lost pad is owed
		q := p / max(1, m.beyond)
		at[day] += q
		next.add(st, p-q)
		return
	}
	st.s.Forget(day, m.Curing)
	signals := m.signalsOf(day)
	chosen := m.choose(day, st.s, &signals)
	for q, sg := range signals {
		if sg.chance == 0 {
			continue
		}
		a := chosen[q]
		if a == nil {
			next.add(st, p*sg.chance)
			continue
		}
		lost := m.anyLost(a, q)
		m.outcomes(&st.s, a, q, func(to State, share float64) {
			share *= p * sg.chance
			if m.Done(&to) && !st.owed {
				at[day] += share * (1 - lost)
			} else {
				next.add(reached{to, st.owed}, share*(1-lost))
			}
			next.add(reached{to, true}, share*lost)
		})
	}
}

// outcomes calls fn with the states that an action may lead to and their
// chances: rain may stop it early.
func (m *Model) outcomes(s *State, a *Action, q int, fn func(State, float64)) {
	rain := [...]float64{ifDry: 0, asNow: a.Option.rain, ifRain: 1}[q]
	full := 1.0
	for r, share := range [...]float64{1 - rain, rain} {
		for _, at := range a.Option.stop[r] {
			if at.pads < a.Total && share > 0 {
				full -= at.chance * share
				fn(m.partly(s, a, at.pads), at.chance*share)
			}
		}
	}
	fn(a.next, full)
}

// later spreads a chance over the mornings beyond the horizon on which the
// last of so many pours falls, each morning being fit with the same chance.
func (m *Model) later(at []float64, pours int, chance float64) {
	fit := 1 / max(1, m.beyond)
	left := make([]float64, max(1, pours)+1)
	left[len(left)-1] = chance
	for i := m.days; i < len(at); i++ {
		at[i] += left[1] * fit
		for k := 1; k < len(left); k++ {
			left[k] *= 1 - fit
			if k+1 < len(left) {
				left[k] += left[k+1] * fit
			}
		}
	}
}

// choose returns the policy's action on a morning for each signal that may have
// come; nil to wait.
func (m *Model) choose(day int, s State, signals *[3]signal) [4]*Action {
	if m.picked != nil && m.picked[day] != nil {
		if p, ok := m.picked[day][s]; ok {
			return [4]*Action{p.actions[ifDry], p.actions[asNow], p.actions[ifRain]}
		}
	}
	wait := 1 + m.value(day+1, s)
	none := math.Inf(-1)
	under := limits{none, none, none, none}
	for q, sg := range signals {
		if sg.chance > 0 {
			under[q] = wait
		}
	}
	return m.best(day, s, under)
}

// anyLost returns the chance that an action loses a pad, given a signal.
func (m *Model) anyLost(a *Action, q int) float64 {
	c := &a.Table.Cells[a.Option.Start][a.Total-1]
	n := a.Table.count[0]
	switch q {
	case ifDry:
		return ratio(c.any[0][0], n[0])
	case ifRain:
		return ratio(c.any[0][1], n[1])
	}
	return ratio(c.any[0][0]+c.any[0][1], n[0]+n[1])
}

// Gap returns a bound on the plan's relative distance from the best there is:
// against every pad poured on its own best morning, on as few mornings as the
// crew's fullest day allows.
func (m *Model) Gap() float64 {
	var s State
	v := m.value(m.First, s)
	if v <= 0 {
		return 0
	}
	most := 1
	for d := m.First; d < m.days; d++ {
		if m.Prepared.Days[d].Off.IsZero() && len(m.Prepared.Days[d].Starts) > 0 {
			most = max(most, m.TableOf(d, m.Flat()).most)
		}
	}
	levels := 1
	for _, l := range m.Prepared.levels() {
		levels = max(levels, l+1)
	}
	least := max(float64(levels), math.Ceil(float64(len(m.Flat()))/float64(most)))
	return max(0, (v-least)/v)
}
