package policy

import "math"

// worth returns the expected loss from a morning on when an action is taken,
// by what is known of the morning. Rain may stop it early.
func (m *Model) worth(day int, s *State, a *Action) [4]float64 {
	dry, rain := m.then(day, s, a, 0), m.then(day, s, a, 1)
	now := (1-a.Option.rain)*dry + a.Option.rain*rain
	return [4]float64{
		1 + a.cost[ifDry] + dry,
		1 + a.cost[asNow] + now,
		1 + a.cost[ifRain] + rain,
		1 + a.cost[decided] + now,
	}
}

// then returns the expected loss after an action's day, without or with rain.
func (m *Model) then(day int, s *State, a *Action, rain int) float64 {
	stop := a.Option.stop[rain]
	if len(stop) == 0 {
		return m.afterPads(day, s, a, a.Total)
	}
	v := 0.0
	for _, at := range stop {
		v += at.chance * m.afterPads(day, s, a, min(at.pads, a.Total))
	}
	return v
}

// afterPads returns the expected loss after an action's day when the first k of
// its pads are placed.
func (m *Model) afterPads(day int, s *State, a *Action, k int) float64 {
	shared := a.ahead != nil && a.ahead.m == m
	if shared && !math.IsNaN(a.ahead.loss[k]) {
		return a.ahead.loss[k]
	}
	next := a.next
	if k < a.Total {
		next = m.partly(s, a, k)
	}
	v := m.value(day+1, next)
	if shared {
		a.ahead.loss[k] = v
	}
	return v
}

// partly returns the state when only the first k pads of an action are placed.
func (m *Model) partly(s *State, a *Action, k int) State {
	next := *s
	if k == 0 {
		return next
	}
	var n [MostGroups]uint8
	for g := range m.Seqs {
		n[g] = uint8(min(int(a.N[g]), k))
		k -= int(n[g])
		next.Pos[g] += uint16(n[g])
	}
	m.push(&next, batch{Strip: a.Option.strip, Cured: a.Option.cured, n: n})
	return next
}

// signalsOf returns what may be known of a morning when it comes.
func (m *Model) signalsOf(day int) [3]signal {
	p := m.Prepared.Days[day].rainy
	g := 0.0
	if m.Signals && day > m.First {
		g = gain(float64(day-m.First) + 1) // the morning after next is two days ahead of tonight
	}
	return [3]signal{{g * (1 - p), 0}, {1 - g, p}, {g * p, 1}}
}
