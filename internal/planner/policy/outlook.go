package policy

import "math"

// outlook sets, once, what is expected beyond the horizon: the mornings, on average,
// that a day's pour takes when each is decided with a forecast of a morning's
// skill, in the mixture of weathers that the horizon holds.
func (m *Model) outlook() {
	if m.perDay > 0 {
		return
	}
	const worst = 30.0 // mornings for one pour, where nothing in sight is fit (judgement)
	m.beyond = worst
	var cost [3]float64
	var weight [3]float64
	n, worked := 0, 0
	size := 0
	for d := m.First; d < m.days; d++ {
		n++
		if !m.Prepared.Days[d].Off.IsZero() || len(m.Prepared.Days[d].Starts) == 0 {
			continue
		}
		worked++
		t := m.TableOf(d, m.Flat())
		size += t.most
		p := m.Prepared.Days[d].rainy
		g := gain(8)
		sg := [3]signal{{g * (1 - p), 0}, {1 - g, p}, {g * p, 1}}
		for q := range sg {
			if best := m.fullestCost(t, q); !math.IsInf(best, 1) {
				cost[q] += sg[q].chance * best
				weight[q] += sg[q].chance
			}
		}
	}
	if worked > 0 {
		m.perDay = max(1, (size+worked/2)/worked)
	}
	chance, spent := 0.0, 0.0
	for q := range cost {
		if n > 0 {
			chance += weight[q] / float64(n)
			spent += cost[q] / float64(n)
		}
		if chance > 0 {
			m.beyond = min(m.beyond, (1+spent)/chance)
		}
	}
	m.perDay = max(1, m.perDay)
}

// fullestCost returns the least cost, by what is known of the morning, of the
// greatest number of pads that may be poured on it; +Inf when none may.
func (m *Model) fullestCost(t *table, q int) float64 {
	for k := t.most; k >= 1; k-- {
		best := math.Inf(1)
		for _, o := range m.optionsOf(t, k, 0) {
			best = min(best, o.cost[q])
		}
		if !math.IsInf(best, 1) {
			return best
		}
	}
	return math.Inf(1)
}

// Flat returns all pads still to be poured.
func (m *Model) Flat() []int {
	var out []int
	for _, s := range m.Seqs {
		out = append(out, s...)
	}
	return out
}

// after returns the expected loss beyond the horizon: the mornings' pours that
// are needed, each as long as outlook says.
func (m *Model) after(s *State) float64 {
	m.outlook()
	pours := 0.0
	carried := 0
	for g := range m.Seqs {
		n := len(m.Seqs[g]) - int(s.Pos[g])
		if n == 0 {
			continue
		}
		n = max(0, n-carried)
		pours += math.Ceil(float64(n) / float64(m.perDay))
		carried = int(math.Ceil(float64(n)/float64(m.perDay)))*m.perDay - n
		if g+1 < len(m.Seqs) && len(m.Seqs[g]) > 0 && m.waits(g+1) {
			carried = 0
		}
	}
	return pours * m.beyond
}

// waits reports whether a sequence waits for others.
func (m *Model) waits(g int) bool {
	return len(m.Seqs[g]) > 0 && len(m.Prepared.Pads[m.Seqs[g][0]].After) > 0
}
