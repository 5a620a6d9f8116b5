package planner

import (
	"math"
	"slices"
	"time"

	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

// How far a plan is held to when a newer forecast would have it otherwise, in
// days of expected loss (judgement): a change is made where it gains more.
const (
	keepDay   = 0.4  // for one morning's decision
	keepAll   = 0.5  // over the whole plan
	keepStart = 0.05 // for the start of a pour
)

// habit is the last plan as the builder knows it.
type habit struct {
	pours    map[unit.Date]*pour.Pour
	until    unit.Date // the last date that it speaks of
	underWay bool      // today's pour is begun: it goes on unless unsafe
	today    unit.Date
	left     float64 // of keepAll
}

// habitOf reads the last plan. A plan under way today is a commitment.
func (f *frame) habitOf(last *pour.Plan) *habit {
	if last == nil || len(last.Pours) == 0 || f.job.WhatIf != nil {
		return nil
	}
	h := &habit{pours: map[unit.Date]*pour.Pour{}, today: unit.DateOf(f.job.Now, f.zone), left: keepAll}
	for i := range last.Pours {
		p := &last.Pours[i]
		h.pours[p.Date] = p
		if h.until.Before(p.Date) {
			h.until = p.Date
		}
		for _, name := range p.Pads {
			k, ok := f.byName[name]
			if ok && p.Date == h.today && poured(f.pads[k].rec.State) && f.pads[k].rec.PlacedAt != nil && unit.DateOf(*f.pads[k].rec.PlacedAt, f.zone) == h.today {
				h.underWay = true
			}
		}
	}
	return h
}

// prefer returns what the last plan would do on a morning where that costs
// little more than the best there is; else the best.
func (m *model) prefer(day int, s state, best *action, h *habit) *action {
	date := m.f.days[day].date
	if h == nil || h.until.Before(date) {
		return best
	}
	least := 1 + m.value(day+1, s)
	wait := least
	if best != nil {
		least = m.worth(day, &s, best)[decided]
	}
	margin := min(keepDay, h.left)
	if h.underWay && date == h.today {
		margin = math.Inf(1)
	}
	p := h.pours[date]
	if p == nil {
		if best != nil && wait <= least+margin {
			h.left -= wait - least
			return nil
		}
		return best
	}
	defer m.exactly(day)()
	want := m.countsOf(p, &s)
	if want == nil {
		return best
	}
	var kept *action
	cost := math.Inf(1)
	m.each(day, s, func(a *action) {
		if a.n != *want || math.IsInf(a.cost[asNow], 1) {
			return
		}
		if v := m.worth(day, &s, a)[asNow]; v < cost {
			cost = v
			c := *a
			kept = &c
		}
	})
	if kept == nil || cost > least+margin {
		return best
	}
	if !math.IsInf(margin, 1) {
		h.left -= max(0, cost-least)
	}
	return kept
}

// countsOf returns how many pads of each sequence a pour of the last plan
// takes, those poured meanwhile left out; nil when they are not the next ones.
func (m *model) countsOf(p *pour.Pour, s *state) *[mostGroups]uint8 {
	var n [mostGroups]uint8
	var pads []int
	for _, name := range p.Pads {
		k, ok := m.f.byName[name]
		if !ok {
			return nil
		}
		if m.f.pads[k].left {
			pads = append(pads, k)
		}
	}
	for _, k := range pads {
		g, _ := m.place(k)
		n[g]++
	}
	for _, k := range pads {
		g, i := m.place(k)
		if i < int(s.pos[g]) || i >= int(s.pos[g]+uint16(n[g])) {
			return nil
		}
	}
	if n == [mostGroups]uint8{} {
		return nil
	}
	return &n
}

// keptStart returns the start of an action, the last plan's where it is about
// as good.
func (m *model) keptStart(day int, a *action, h *habit) int {
	i := a.option.start
	if h == nil || m.f.job.Begun && m.f.days[day].date == h.today { // the crew is there
		return i
	}
	p := h.pours[m.f.days[day].date]
	if p == nil {
		return i
	}
	was := m.f.minute(p.Start.Round(time.Minute))
	k := slices.Index(m.f.days[day].starts, was)
	if k < 0 || len(a.table.cells[k]) < a.total {
		return i
	}
	c := &a.table.cells[k][a.total-1]
	cost := m.costs(a.table, c)[asNow]
	if c.why != feasible || cost > a.cost[asNow]+keepStart || m.readyFor(day, c.strip) != a.option.strip ||
		m.curing && m.readyFor(day, c.cured) != a.option.cured || k < a.from || m.pending(day) {
		return i
	}
	return k
}
