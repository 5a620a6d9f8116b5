package planner

import (
	"slices"

	"dryslot/internal/pour"
)

// provedOrder is up to how many pads every order of a day is tried.
const provedOrder = 8

// reorder puts a day's pads, where they differ, in the order that ends the day
// first: the work is the same, so it has the fewest idle minutes. Up to
// provedOrder pads every order is tried, so that none is better; beyond that
// the order stays. An order that would cost more or be stripped later is no
// gain and is passed over.
func (m *model) reorder(p *planned) {
	f, n := m.f, len(p.pads)
	if m.uniform || n < 2 || n > provedOrder {
		return
	}
	d := &f.days[p.day]
	best, end := []int(nil), p.cell.end-1 // worth a minute
	var at *cell
	tried := map[string]bool{}
	f.orders(p.pads, func(pads []int) {
		order := m.orderOf(pads)
		key := f.tableKey(p.day, order)
		if tried[key] {
			return
		}
		tried[key] = true
		for _, r := range [...]rule{finishFirst, placeFirst} {
			if f.line.lay(f.crew, d.hours, p.start, order, d.ref, d.carry, f.clearing(p.start), r) < n || f.line.end[n-1] >= end {
				continue
			}
			cells := f.judgeStart(d, p.start, order, f.clearing(p.start), r)
			c := &cells[n-1]
			if c.why != feasible || c.worst > max(p.cell.worst, f.risk*calmRisk) || c.strip > p.cell.strip || c.cured > p.cell.cured ||
				m.costs(p.table, c)[asNow] > m.costs(p.table, p.cell)[asNow]+1e-9 {
				continue
			}
			best, end, at = slices.Clone(pads), c.end, c
		}
	})
	if best != nil {
		p.pads, p.cell = best, at
	}
}

// orders calls fn with every order of pads that keeps each after those that
// must be placed before it.
func (f *frame) orders(pads []int, fn func([]int)) {
	order := slices.Clone(pads)
	var place func(int)
	place = func(k int) {
		if k == len(order) {
			fn(order)
			return
		}
		for i := k; i < len(order); i++ {
			order[k], order[i] = order[i], order[k]
			if !slices.ContainsFunc(f.pads[order[k]].after, func(a edge) bool {
				return a.until == pour.Placed && slices.Contains(order[k+1:], a.pad)
			}) {
				place(k + 1)
			}
			order[k], order[i] = order[i], order[k]
		}
	}
	place(0)
}
