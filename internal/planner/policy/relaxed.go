package policy

import (
	"math"

	"dryslot/internal/pour"
)

// mostRelaxed is how many combinations of positions are relaxed: more would take
// longer than they save.
const mostRelaxed = 2000

// relaxed is what is lost at the least from every morning and position on: as if
// all pads poured were stripped by the next morning, any pads of the two sequences
// went together, and each number of pads had the best of each of its starts. The
// search weighs no action that loses more even so.
type relaxed struct {
	wide int         // positions of the second sequence
	loss [][]float64 // by morning, then by position
}

// relax works the bound out, from the last morning back. It is nil where the
// pads differ, or where there are too many positions, or where bags may run out:
// what is left then counts as nothing.
func (m *Model) relax() *relaxed {
	if m.relaxes == isSo {
		return m.relaxedTo
	}
	if m.relaxes == isNot || !m.narrow || !m.uniform && !m.Rough || len(m.Seqs) == 0 || len(m.Seqs) > 2 ||
		m.mlEver != noLimit {
		m.relaxes = isNot
		return nil
	}
	first, second := len(m.Seqs[0]), 0
	if len(m.Seqs) == 2 {
		second = len(m.Seqs[1])
	}
	if (first+1)*(second+1) > mostRelaxed {
		m.relaxes = isNot
		return nil
	}
	r := &relaxed{wide: second + 1, loss: make([][]float64, m.days+1)}
	m.relaxes, m.relaxedTo = isSo, r
	free := m.freeAfter(first, second)
	for day := m.days; day >= m.First; day-- {
		r.loss[day] = make([]float64, (first+1)*(second+1))
		var w *relaxedDay
		if day < m.days {
			w = m.relaxedWays(day)
		}
		for a := first; a >= 0; a-- {
			for b := second; b >= 0; b-- {
				at := a*r.wide + b
				switch {
				case a == first && b == second:
				case day == m.days:
					var s State
					s.Pos[0], s.Pos[1] = uint16(a), uint16(b)
					r.loss[day][at] = m.after(&s)
				default:
					r.loss[day][at] = r.from(day, a, b, first, free, w)
				}
			}
		}
	}
	return r
}

// at returns the bound from a state on.
func (r *relaxed) at(day int, s *State) float64 {
	return r.loss[day][int(s.Pos[0])*r.wide+int(s.Pos[1])%r.wide]
}

// freeAfter returns how many pads of the second sequence are free at most after
// each number of the first.
func (m *Model) freeAfter(first, second int) []int {
	out := make([]int, first+1)
	for a := range out {
		out[a] = second
		for i := range second {
			p := &m.Prepared.Pads[m.Seqs[1][i]]
			late := false
			for _, e := range p.After {
				if g, k := m.Place(e.Pad); m.Prepared.Pads[e.Pad].Left && g == 0 && k >= a && e.Until != pour.Placed {
					late = true
				}
			}
			if late {
				out[a] = i
				break
			}
		}
	}
	return out
}

// relaxedDay is a morning's options, by number of pads, from its first start on.
type relaxedDay struct {
	signals [3]signal
	options [][]option
}

func (m *Model) relaxedWays(day int) *relaxedDay {
	out := &relaxedDay{signals: m.signalsOf(day)}
	d := &m.Prepared.Days[day]
	if !d.Off.IsZero() || len(d.Starts) == 0 {
		return out
	}
	t := m.TableOf(day, nil)
	out.options = make([][]option, t.most+1)
	for n := 1; n <= t.most; n++ {
		out.options[n] = m.optionsOf(t, n, 0)
	}
	return out
}

// from returns the bound from a morning and position on.
func (r *relaxed) from(day, a, b, first int, free []int, w *relaxedDay) float64 {
	next := r.loss[day+1]
	wait := 1 + next[a*r.wide+b]
	best := [3]float64{wait, wait, wait}
	second := r.wide - 1
	var after []float64 // by pads poured, the least of any share between the two
	for n := range w.options {
		least := math.Inf(1)
		for k := max(0, n-max(0, free[a]-b)); k <= min(n, first-a); k++ {
			if n-k <= second-b {
				least = min(least, next[(a+k)*r.wide+b+n-k])
			}
		}
		if math.IsInf(least, 1) {
			break
		}
		after = append(after, least)
		for i := range w.options[n] {
			o := &w.options[n][i]
			dry, rain := o.leaves(0, after), o.leaves(1, after)
			now := (1-o.rain)*dry + o.rain*rain
			for q, v := range [...]float64{dry, now, rain} {
				best[q] = min(best[q], 1+o.cost[q]+v)
			}
		}
	}
	v := 0.0
	for q, sg := range w.signals {
		if sg.chance > 0 {
			v += sg.chance * best[q]
		}
	}
	return v
}

// leaves returns what is expected to be lost after an option's day, without or
// with rain, given that by the number of pads placed.
func (o *option) leaves(rain int, after []float64) float64 {
	n := len(after) - 1
	if len(o.stop[rain]) == 0 {
		return after[n]
	}
	v := 0.0
	for _, at := range o.stop[rain] {
		v += at.chance * after[min(at.pads, n)]
	}
	return v
}

// after returns the bound after each number of pads of an order is placed.
func (r *relaxed) after(day int, s *State, most *way, into []float64) []float64 {
	into = into[:0]
	for k := range most.total + 1 {
		a := min(int(most.n[0]), k)
		into = append(into, r.loss[day][(int(s.Pos[0])+a)*r.wide+int(s.Pos[1])+k-a])
	}
	return into
}

// leastOf returns, by what is known of a morning, what is lost at the least when an
// option is taken, given what is lost after each number of its pads placed.
func (o *option) leastOf(after []float64) limits {
	dry, rain := o.leaves(0, after), o.leaves(1, after)
	now := (1-o.rain)*dry + o.rain*rain
	return limits{1 + o.cost[ifDry] + dry, 1 + o.cost[asNow] + now, 1 + o.cost[ifRain] + rain,
		1 + o.cost[decided] + now}
}
