package backtest

import (
	"fmt"
	"math"

	"dryslot/internal/measure/emulate"
	"dryslot/internal/planner/harm"
)

// source is the chance of rain that a rule goes by.
type source uint8

const (
	ofEvening source = iota // the evening before, of 0.25 mm or more in some hour between 07 and 19 o'clock
	ofDawn                  // the same as of 05:00
	ofHours                 // of 0.25 mm or more in some of the next five hours, with all that is known then
)

// rule is a rule of thumb: pour everything possible, from the earliest start
// on, while a chance of rain is below a limit.
type rule struct {
	coverWhenHeld
	name   string
	source source
	below  float64
	old    bool // never stops, waits or starts later
	waits  bool // goes on after rain; else work that has begun stops for the day
}

// rules returns the old rules, which never stop, and the rules with the powers
// that the planner has.
func rules() []player {
	var out []player
	for _, p := range []int{20, 30, 50} {
		out = append(out, rule{name: fmt.Sprintf("old_%d", p), below: float64(p) / 100, old: true})
	}
	for src, name := range []string{"evening", "dawn", "hours"} {
		for p := 10; p <= 80; p += 10 {
			r := rule{name: fmt.Sprintf("%s_%d_stop", name, p), source: source(src), below: float64(p) / 100}
			out = append(out, r)
			r.name, r.waits = fmt.Sprintf("%s_%d_wait", name, p), true
			out = append(out, r)
		}
	}
	return out
}

func (r rule) Name() string { return r.name }

func (r rule) Morning(s *Site, d int, st *state) (dayPlan, error) {
	switch {
	case r.source == ofEvening && s.wetDay(d, false) >= r.below, r.source == ofDawn && s.wetDay(d, true) >= r.below:
		return dayPlan{}, nil
	}
	return dayPlan{start: s.days[d].open, pads: st.open(s.days[d].shut)}, nil
}

func (r rule) Next(m *moment) Action {
	switch {
	case r.old:
		return Place
	case r.source == ofHours && !m.seen.Raining && m.site.wetHours(m) < r.below:
		return Place
	case r.source != ofHours && !m.hold():
		return Place
	case r.waits || !m.setUp:
		return Wait
	}
	return Stop
}

// wetDay returns the chance, the evening before or at 05:00, of 0.25 mm or more
// in some hour between 07 and 19 o'clock of day d; 1 where nothing is foreseen.
func (s *Site) wetDay(d int, dawn bool) float64 {
	k := 2 * d
	at := s.Station.Evening(d - 1)
	if dawn {
		k++
		at = s.Station.Dawn(d)
	}
	p, ok := s.wetDays[k]
	if ok {
		return p
	}
	days := s.Station.Analogues(&s.region.Noise, at, d)
	p = 0
	for i := range days {
		for h := 7; h < 19; h++ {
			if days[i].Rain(h) >= harm.LightMM {
				p += days[i].Weight
				break
			}
		}
	}
	if len(days) == 0 {
		p = 1
	}
	s.wetDays[k] = p
	return p
}

// hourKey is what the chance of the next hours follows from.
type hourKey struct {
	hour    int
	raining bool
	nowcast emulate.NowcastKind
}

// wetHours returns the chance of 0.25 mm or more in this hour or one of the
// four after it: of the newest forecast's days, those count more that have
// rained when it rained here, and that the nowcast suits.
func (s *Site) wetHours(m *moment) float64 {
	hour := int(math.Floor(m.now / 60))
	k := hourKey{hour, m.seen.Raining, m.powers.Nowcast}
	if p, ok := s.wetNext[k]; ok {
		return p
	}
	midnight := s.Station.Midnight(m.day)
	days := s.Station.Analogues(&s.region.Noise, s.clock(float64(hour)*60), m.day)
	if m.powers.Nowcast == emulate.NoNowcast {
		days = s.Station.Analogues(&s.region.Noise, s.Station.Dawn(m.day), m.day)
	}
	wet, all := 0.0, 0.0
	for i := range days {
		for _, x := range moved {
			first := hour - midnight + x.by
			w := days[i].Weight * x.share * s.suits(&days[i], first, hour, m)
			all += w
			for h := first; h < first+hoursAhead; h++ {
				if days[i].Rain(h) >= harm.LightMM {
					wet += w
					break
				}
			}
		}
	}
	p := 1.0
	if all > 0 {
		p = wet / all
	}
	s.wetNext[k] = p
	return p
}

const hoursAhead = 5

// moved are the hours by which each of the forecast's days is also looked at, and
// the share of its weight (judgement): of the days as they are, few suit what is
// seen, and their chance is too sure.
var moved = [...]struct {
	by    int
	share float64
}{{-2, 0.1}, {-1, 0.2}, {0, 0.4}, {1, 0.2}, {2, 0.1}}

// suits returns how likely what is seen is on a day like one of the forecast's.
func (s *Site) suits(a *emulate.Analogue, hod, hour int, m *moment) float64 {
	like := 1.0
	// A day whose last hours were wet or dry as they were here (judgement).
	for k, missed := range [3]float64{0.2, 0.4, 0.6} {
		if (a.Rain(hod-1-k) >= harm.LightMM) != (s.rain(float64(hour-1-k)*60) >= harm.LightMM) {
			like *= missed
		}
	}
	wet := a.Rain(hod) >= harm.LightMM
	passed := m.now/60 - float64(hour)
	switch {
	case m.seen.Raining && !wet:
		like *= 0.15 // judgement: rain of a little before or after
	case !m.seen.Raining && wet && s.rain(float64(hour-1)*60) >= harm.LightMM:
		like *= 0.02 // rain that went on would be seen
	case !m.seen.Raining && wet:
		like *= 1 - passed
	}
	return like * s.nowcasts[m.powers.Nowcast].Likelihood(&m.seen, func(ahead int) float64 {
		return a.Rain(hod + ahead)
	})
}
