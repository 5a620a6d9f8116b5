package policy

import (
	"math"
	"slices"
)

// optionsOf returns the options to pour the first n pads of a table's order
// from a start on: those that none other betters in every way.
func (m *Model) optionsOf(t *table, n, from int) []option {
	key := optionKey{t.day, n, from, t}
	if o, ok := m.options[key]; ok {
		return o
	}
	var out []option
	wet := t.count[0][1]
	for i := from; i < len(t.Cells); i++ {
		if len(t.Cells[i]) < n || t.Cells[i][n-1].Why != Feasible {
			continue
		}
		c := &t.Cells[i][n-1]
		o := option{strip: m.readyFor(t.day, c.strip), Start: i, cost: m.costs(t, c), rain: wet / (wet + t.count[0][0])}
		if m.Curing {
			o.cured = m.readyFor(t.day, c.cured)
		}
		for r, n := range t.count[0] {
			if n > 0 && c.stop[r] != nil {
				for k, x := range c.stop[r] {
					if x > 0 {
						o.stop[r] = append(o.stop[r], share{k, x / n})
					}
				}
			}
		}
		if !slices.ContainsFunc(out, func(x option) bool { return x.betters(&o) }) {
			out = append(slices.DeleteFunc(out, func(x option) bool { return o.betters(&x) }), o)
		}
	}
	m.options[key] = out
	return out
}

// betters reports whether an option is as good as another in every way: cost,
// readiness, and pads placed before rain stops the work.
func (o *option) betters(x *option) bool {
	for q := range o.cost {
		if o.cost[q] > x.cost[q]+1e-12 {
			return false
		}
	}
	if o.strip > x.strip || o.cured > x.cured {
		return false
	}
	for r := range o.stop {
		a, b, i := 0.0, 0.0, 0
		for _, at := range o.stop[r] {
			a += at.chance
			for ; i < len(x.stop[r]) && x.stop[r][i].pads <= at.pads; i++ {
				b += x.stop[r][i].chance
			}
			if a > b+1e-12 {
				return false // it is stopped earlier more often
			}
		}
	}
	return true
}

// readyFor returns the first start at which a minute has passed.
func (m *Model) readyFor(day int, at float64) Ready {
	for d := day + 1; d < m.days; d++ {
		if i := m.startFrom(d, at); i < len(m.Prepared.Days[d].Starts) {
			if i == 0 {
				// Ready before the first start of any later morning is all one.
				return ReadyAt(d, 0)
			}
			return ReadyAt(d, i)
		}
	}
	return NotInSight
}

// calmRisk is the share of the risk limit up to which a later morning is newly
// planned. The rest is left so that the next forecast, a little worse, does not
// undo it at once (judgement).
const calmRisk = 0.8

// costs returns the expected loss of a day's work by what is known of it.
func (m *Model) costs(t *table, c *cell) [4]float64 {
	f := m.Prepared
	var by [2]float64 // by rain in the day, on the choosing half
	for r := range by {
		if n := t.count[0][r]; n > 0 {
			by[r] = (f.padDay*c.lost[0][r] + repourDays*c.any[0][r]) / n
		}
	}
	now := (f.padDay*(c.lost[0][0]+c.lost[0][1]) + repourDays*(c.any[0][0]+c.any[0][1])) / (t.count[0][0] +
		t.count[0][1])
	out := [4]float64{by[0] + m.perPour, now + m.perPour, by[1] + m.perPour, now + m.perPour}
	spare := f.Risk
	if t.day > m.First {
		spare *= calmRisk
	}
	limits := [...]float64{f.Risk, f.Risk, f.Risk, spare}
	for q, w := range [...]float64{c.worstOf[0], c.Worst, c.worstOf[1], c.Worst} {
		if w > limits[q]+1e-9 {
			out[q] = math.Inf(1)
		}
	}
	return out
}
