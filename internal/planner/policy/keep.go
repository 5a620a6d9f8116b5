package policy

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

// HabitOf reads the last plan. A plan under way today is a commitment.
func (f *Prepared) HabitOf(last *pour.Plan) *habit {
	if last == nil || len(last.Pours) == 0 {
		return nil
	}
	h := &habit{pours: map[unit.Date]*pour.Pour{}, today: unit.DateOf(f.Job.Now, f.Zone), left: keepAll}
	for i := range last.Pours {
		p := &last.Pours[i]
		h.pours[p.Date] = p
		if h.until.Before(p.Date) {
			h.until = p.Date
		}
		for _, name := range p.Pads {
			k, ok := f.byName[name]
			if ok && p.Date == h.today && Poured(f.Pads[k].Record.State) && f.Pads[k].Record.PlacedAt != nil &&
				unit.DateOf(*f.Pads[k].Record.PlacedAt, f.Zone) == h.today {
				h.underWay = true
			}
		}
	}
	return h
}

// prefer returns what the last plan would do on a morning where that costs
// little more than the best there is; else the best.
func (m *Model) prefer(day int, s State, best *Action, h *habit) *Action {
	date := m.Prepared.Days[day].Date
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
	var kept *Action
	cost := math.Inf(1)
	m.each(day, s, func(a *Action) {
		if a.N != *want || math.IsInf(a.cost[asNow], 1) {
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
func (m *Model) countsOf(p *pour.Pour, s *State) *[MostGroups]uint8 {
	var n [MostGroups]uint8
	var pads []int
	for _, name := range p.Pads {
		k, ok := m.Prepared.byName[name]
		if !ok {
			return nil
		}
		if m.Prepared.Pads[k].Left {
			pads = append(pads, k)
		}
	}
	for _, k := range pads {
		g, _ := m.Place(k)
		n[g]++
	}
	for _, k := range pads {
		g, i := m.Place(k)
		if i < int(s.Pos[g]) || i >= int(s.Pos[g]+uint16(n[g])) {
			return nil
		}
	}
	if n == [MostGroups]uint8{} {
		return nil
	}
	return &n
}

// keptStart returns the start of an action, the last plan's where it is about
// as good.
func (m *Model) keptStart(day int, a *Action, h *habit) int {
	i := a.Option.Start
	if h == nil || m.Prepared.Job.Begun && m.Prepared.Days[day].Date == h.today { // the crew is there
		return i
	}
	p := h.pours[m.Prepared.Days[day].Date]
	if p == nil {
		return i
	}
	was := m.Prepared.Minute(p.Start.Round(time.Minute))
	k := slices.Index(m.Prepared.Days[day].Starts, was)
	if k < 0 || len(a.Table.Cells[k]) < a.Total {
		return i
	}
	c := &a.Table.Cells[k][a.Total-1]
	cost := m.costs(a.Table, c)[asNow]
	if c.Why != Feasible || cost > a.cost[asNow]+keepStart || m.readyFor(day, c.strip) != a.Option.strip ||
		m.Curing && m.readyFor(day, c.cured) != a.Option.cured || k < a.from || m.pending(day) {
		return i
	}
	return k
}
