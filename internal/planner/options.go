package planner

import (
	"math"
	"slices"
)

// optionsOf returns the options to pour the first n pads of a table's order
// from a start on: those that none other betters in every way.
func (m *model) optionsOf(t *table, n, from int) []option {
	key := optionKey{t.day, n, from, t}
	if o, ok := m.options[key]; ok {
		return o
	}
	var out []option
	wet := t.count[0][1]
	for i := from; i < len(t.cells); i++ {
		if len(t.cells[i]) < n || t.cells[i][n-1].why != feasible {
			continue
		}
		c := &t.cells[i][n-1]
		o := option{strip: m.readyFor(t.day, c.strip), start: i, cost: m.costs(t, c), rain: wet / (wet + t.count[0][0])}
		if m.curing {
			o.cured = m.readyFor(t.day, c.cured)
		}
		for r, n := range t.count[0] {
			if n > 0 && c.stop[r] != nil {
				o.stop[r] = make([]float64, len(c.stop[r]))
				for k, x := range c.stop[r] {
					o.stop[r][k] = x / n
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
	for r := range x.stop {
		a, b := 0.0, 0.0
		for k := range x.stop[r] {
			a, b = a+o.stop[r][k], b+x.stop[r][k]
			if a > b+1e-12 {
				return false // it is stopped earlier more often
			}
		}
	}
	return true
}

// readyFor returns the first start at which a minute has passed.
func (m *model) readyFor(day int, at float64) ready {
	for d := day + 1; d < m.days; d++ {
		if i := m.startFrom(d, at); i < len(m.f.days[d].starts) {
			if i == 0 {
				// Ready before the first start of any later morning is all one.
				return readyAt(d, 0)
			}
			return readyAt(d, i)
		}
	}
	return notInSight
}

// calmRisk is the share of the risk limit up to which a later morning is newly
// planned. The rest is left so that the next forecast, a little worse, does not
// undo it at once (judgement).
const calmRisk = 0.8

// costs returns the expected loss of a day's work by what is known of it.
func (m *model) costs(t *table, c *cell) [4]float64 {
	f := m.f
	var by [2]float64 // by rain in the day, on the choosing half
	for r := range by {
		if n := t.count[0][r]; n > 0 {
			by[r] = (f.padDay*c.lost[0][r] + repourDays*c.any[0][r]) / n
		}
	}
	now := (f.padDay*(c.lost[0][0]+c.lost[0][1]) + repourDays*(c.any[0][0]+c.any[0][1])) / (t.count[0][0] + t.count[0][1])
	out := [4]float64{by[0] + m.perPour, now + m.perPour, by[1] + m.perPour, now + m.perPour}
	spare := f.risk
	if t.day > m.first {
		spare *= calmRisk
	}
	limits := [...]float64{f.risk, f.risk, f.risk, spare}
	for q, w := range [...]float64{c.worstOf[0], c.worst, c.worstOf[1], c.worst} {
		if w > limits[q]+1e-9 {
			out[q] = math.Inf(1)
		}
	}
	return out
}
