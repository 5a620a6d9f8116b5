package policy

import (
	"cmp"
	"math"
	"slices"

	"dryslot/internal/planner/crewday"
)

// limits is, by what is known of a morning, the loss above which a way to pour is
// of no use; -Inf where nothing is asked for.
type limits [4]float64

// slack is what a loss may be above the limits and still be weighed: rounding,
// and ties that are settled by the number of pads.
const slack = 1e-8

// below reports whether a loss is above all limits.
func (l *limits) below(loss *limits) bool {
	for q := range l {
		if loss[q] <= l[q]+slack {
			return false
		}
	}
	return true
}

// narrowFromPads is from how many pads on only the ways of a morning that promise
// most are weighed, and mostPromising how many of them for each thing that may
// be known of it. On the reference job of 60 pads the expected loss rises by less
// than 1 in 2,000 (measured).
const (
	narrowFromPads = 25
	mostPromising  = 2
)

// candidate is an option of a way that may be weighed.
type candidate struct {
	*way
	option *option
	number int
	least  limits
}

// eachBelow is each without the ways that surely lose more than the limits, which
// may fall meanwhile, those of the most pads first; of a job of many pads it is
// the most promising ways only.
func (m *Model) eachBelow(day int, s State, under *limits, fn func(*Action)) {
	var relaxed *relaxed
	if under != nil {
		relaxed = m.relax()
	}
	all := m.candidates(day, &s, relaxed)
	switch {
	case relaxed != nil:
		all = promising(all, under)
	case under != nil:
		slices.Reverse(all)
	}
	a := new(Action)
	for i := range all {
		c := &all[i]
		if under != nil && (under.below(&c.least) || c.order.below(c, under)) {
			continue
		}
		m.Prepared.budget.do(1)
		m.weighed++
		*a = Action{N: c.n, cost: c.option.cost, Option: c.option, Table: c.table, Total: c.total, from: c.from,
			number: c.number, least: c.least, next: s}
		if !m.split {
			a.ahead = c.order.aheadOf(m, c.option)
		}
		for g := range m.Seqs {
			a.next.Pos[g] += uint16(c.n[g])
		}
		m.push(&a.next, batch{Strip: c.option.strip, Cured: c.option.cured, n: c.n})
		fn(a)
	}
}

// candidates returns the options of all ways to pour on a morning, with what
// they lose at the least where that is known.
func (m *Model) candidates(day int, s *State, relaxed *relaxed) []candidate {
	if d := &m.Prepared.Days[day]; !d.Off.IsZero() || len(d.Starts) == 0 {
		return nil
	}
	for len(m.scratch) <= day {
		m.scratch = append(m.scratch, nil)
	}
	all, check := m.scratch[day][:0], m.split || m.pending(day)
	var after []float64
	m.eachFrom(day, s, func(from, seen int) {
		ways := m.ways(day, s, from, seen)
		if relaxed != nil && len(ways) > 0 {
			after = relaxed.after(day+1, s, &ways[len(ways)-1], after)
		}
		for i := range ways {
			w := &ways[i]
			opts := m.optionsOf(w.table, w.total, w.from)
			for k := range opts {
				o := &opts[k]
				if check && !m.timely(day, o.Start, s, &w.n, w.total) {
					continue
				}
				c := candidate{way: w, option: o, number: len(all)}
				if relaxed != nil {
					c.least = o.leastOf(after[:w.total+1])
				}
				all = append(all, c)
			}
		}
	})
	m.scratch[day] = all
	return all
}

// promising returns the candidates that are among the first few by what they lose
// at the least, whatever is known of the morning of what is asked for.
func promising(all []candidate, under *limits) []candidate {
	var keep [4][mostPromising]int
	out := make([]candidate, 0, len(keep)*mostPromising)
	for _, q := range [...]int{asNow, ifDry, ifRain, decided} {
		if math.IsInf(under[q], -1) {
			continue
		}
		few := keep[q][:0]
		for i := range all {
			v := all[i].least[q]
			k := len(few)
			for k > 0 && all[few[k-1]].least[q] > v {
				k--
			}
			if k == mostPromising || v > under[q]+slack || math.IsInf(v, 1) {
				continue
			}
			if len(few) < mostPromising {
				few = few[:len(few)+1]
			}
			copy(few[k+1:], few[k:])
			few[k] = i
		}
		for _, i := range few {
			if !slices.ContainsFunc(out, func(c candidate) bool { return c.number == all[i].number }) {
				out = append(out, all[i])
			}
		}
	}
	return out
}

// order is what is known already of the ways of one order of pads from one state.
// With fewer of them poured, and none stripped earlier, no less is expected of
// the mornings to come, so a way whose own cost comes above the limits with what
// more pads would leave is not weighed.
type order struct{ aheads []*ahead }

// ahead is the expected loss from the next morning on after each number of pads
// of one order poured, which are all stripped at one time: actions that differ
// in the number of pads alone share it, in place of a look-up each.
type ahead struct {
	m            *Model
	strip, cured Ready
	loss         [crewday.MostPads + 1]float64 // NaN: not asked for yet
}

// aheadOf returns the shared values of an option, among those of its order.
func (b *order) aheadOf(m *Model, o *option) *ahead {
	for _, a := range b.aheads {
		if a.strip == o.strip && a.cured == o.cured {
			return a
		}
	}
	a := &ahead{m: m, strip: o.strip, cured: o.cured}
	for k := range a.loss {
		a.loss[k] = math.NaN()
	}
	b.aheads = append(b.aheads, a)
	return a
}

// below reports whether a candidate surely loses more than the limits by what was
// found of more pads.
func (b *order) below(c *candidate, under *limits) bool {
	after := 0.0
	for _, a := range b.aheads {
		if a.strip > c.option.strip || a.cured > c.option.cured {
			continue
		}
		for _, v := range a.loss[c.total:] { // NaN: not asked for
			if v == v {
				after = max(after, v)
				break
			}
		}
	}
	var least limits
	for q, cost := range c.option.cost {
		least[q] = 1 + cost + after
	}
	return under.below(&least)
}

// weighed is an action with what is expected to be lost by it.
type weighed struct {
	*Action
	loss float64
}

// best returns, by what is known of a morning, the action that is expected to
// lose least, less than a limit; nil for none. Among equals it is the one with
// the fewest pads and the earliest start.
func (m *Model) best(day int, s State, under limits) [4]*Action {
	var all [4][]weighed
	least := under
	m.eachBelow(day, s, &least, func(a *Action) {
		var kept *Action
		for q, v := range m.worth(day, &s, a) {
			if v > least[q]+slack {
				continue
			}
			least[q] = min(least[q], v)
			if kept == nil {
				c := *a
				kept = &c
			}
			all[q] = append(all[q], weighed{kept, v})
		}
	})
	var out [4]*Action
	for q := range all {
		slices.SortStableFunc(all[q], func(a, b weighed) int {
			return cmp.Compare(a.number, b.number)
		})
		for _, a := range all[q] {
			if a.loss < under[q]-1e-9 {
				out[q], under[q] = a.Action, a.loss
			}
		}
	}
	return out
}

// unknown is no limit for what may be known of a morning.
func (m *Model) unknown(day int) limits {
	none := math.Inf(-1)
	out := limits{none, none, none, none}
	for q, sg := range m.signalsOf(day) {
		if sg.chance > 0 {
			out[q] = math.Inf(1)
		}
	}
	return out
}

// waiter is the decision to wait for the next morning, whose value is worked out
// only when it may be the best.
type waiter struct {
	m     *Model
	s     *State
	day   int
	least float64 // 0: not known
	loss  float64 // +Inf: not worked out
	done  bool
}

func (m *Model) waiter(day int, s *State) waiter {
	w := waiter{m: m, s: s, day: day, loss: math.Inf(1)}
	if r := m.relax(); r != nil {
		w.least = 1 + r.at(day+1, s)
	}
	return w
}

// before settles the wait where it promises more than an action, and reports
// whether it did so now.
func (w *waiter) before(a *Action, best *limits) bool {
	return !w.done && w.least <= a.least[asNow] && w.settle(best)
}

// last settles the wait where it may still be the best of any.
func (w *waiter) last(best *limits) {
	if !w.done && !best.below(&limits{w.least, w.least, w.least, w.least}) {
		w.settle(best)
	}
}

func (w *waiter) settle(best *limits) bool {
	w.done, w.loss = true, 1+w.m.value(w.day+1, *w.s)
	for q := range best {
		best[q] = min(best[q], w.loss)
	}
	return true
}

// picks are what the policy does from a state, for each thing that may be known of the
// morning; nil: it waits. Jobs of many pads keep them, since when the job is done is
// worked out from them.
type picks struct {
	m       *Model
	actions [3]*Action
	loss    [3]float64
}

func (m *Model) picker() picks {
	p := picks{loss: [3]float64{math.Inf(1), math.Inf(1), math.Inf(1)}}
	if m.relax() != nil {
		p.m = m
	}
	return p
}

func (p *picks) offer(a *Action, worth *[4]float64) {
	if p.m == nil {
		return
	}
	var kept *Action
	for q := range p.actions {
		if x := p.actions[q]; worth[q] < p.loss[q]-1e-9 || x != nil && worth[q] < p.loss[q]+1e-9 &&
			a.number < x.number {
			if kept == nil {
				c := *a
				kept = &c
			}
			p.actions[q], p.loss[q] = kept, worth[q]
		}
	}
}

func (p *picks) keep(day int, s *State, wait *waiter) {
	if p.m == nil {
		return
	}
	for q := range p.actions {
		if p.loss[q] > wait.loss-1e-9 {
			p.actions[q] = nil
		}
	}
	if p.m.picked == nil {
		p.m.picked = make([]map[State]picks, p.m.days)
	}
	if p.m.picked[day] == nil {
		p.m.picked[day] = map[State]picks{}
	}
	p.m.picked[day][*s] = *p
}
