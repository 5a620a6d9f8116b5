package backtest

import (
	"math"

	"dryslot/internal/planner/harm"
)

// play works a day with a player's decisions, under the weather as it was. It
// does as many pads as can be finished in their windows, in the light and in
// the crew's hours; the rest is left. A nil player places whatever can be
// placed.
func (s *Site) play(d int, st *state, want dayPlan, who player, p Powers, order workOrder) dayRun {
	day := &s.days[d]
	run := dayRun{start: want.start}
	if !day.usable || len(want.pads) == 0 {
		return run
	}
	w := crew{site: s, day: day, order: order, now: want.start, idle: want.start, sheet: p.Covers, run: &run}
	g := game{crew: &w, d: d, st: st, pads: want.pads, who: who, powers: p}
	for g.step() {
	}
	run.end = w.idle + s.Spec.Crew.CleanUpMin
	for i := range run.pads {
		run.pads[i].fate = s.judge(&run.pads[i], p)
	}
	return run
}

// game is a day under way.
type game struct {
	*crew
	d      int
	st     *state
	pads   []int // left to place
	who    player
	powers Powers
	setUp  bool
	asked  coverAsked
}

func (g *game) moment() *moment {
	return &moment{
		site:   g.site,
		day:    g.d,
		now:    g.now,
		powers: g.powers,
		state:  g.st,
		placed: g.run.pads,
		next:   g.pads,
		setUp:  g.setUp,
		open:   g.open,
		seen:   g.site.nowcasts[g.powers.Nowcast].At(g.site.clock(g.now)),
		until:  g.day.shut,
	}
}

// step does the next thing; false where nothing is left to do.
func (g *game) step() bool {
	if g.order == finishFirst && g.finishOne() {
		return true
	}
	if g.coverNow() {
		return true
	}
	held := math.Inf(1)
	if len(g.pads) > 0 && g.ready() <= g.now {
		did, until := g.placeNext()
		if did {
			return true
		}
		held = until
	}
	if g.finishOne() {
		return true
	}
	next := min(held, g.nextWindow())
	if len(g.pads) > 0 && g.ready() > g.now {
		next = min(next, g.ready())
	}
	if g.sheet > 0 && len(g.soft()) > 0 {
		next = min(next, nextHour(g.now), g.rainBegins())
	}
	if math.IsInf(next, 1) || next >= g.day.shut {
		return false
	}
	if g.setUp && len(g.open) == 0 && held < math.Inf(1) && len(g.pads) > 0 {
		g.run.waits = append(g.run.waits, span{g.now, next})
	}
	g.now = next
	return true
}

// ready returns from when the next pad can be worked on: before the crew has
// set up, from when setting up would end in time for it.
func (g *game) ready() float64 {
	r := max(g.st.readyAt(g.pads[0]), g.day.first)
	if !g.setUp {
		r -= g.site.Spec.Crew.SetUpMin
	}
	return r
}

// placeNext asks about the next pad and does what is answered; where nothing is
// done it returns the minute at which to ask again.
func (g *game) placeNext() (did bool, until float64) {
	act := Place
	if g.who != nil {
		act = g.who.Next(g.moment())
	}
	if act == Place && !g.setUp {
		if g.site.frozen(g.now) {
			act = Wait
		} else if g.lastChance(g.now + g.site.Spec.Crew.SetUpMin) {
			g.setUp, g.run.start = true, g.now
			g.did(g.now + g.site.Spec.Crew.SetUpMin)
			return true, 0
		} else {
			act = Stop
		}
	}
	if act == Place {
		if g.placeOne(g.pads[0]) {
			g.pads = g.pads[1:]
			return true, 0
		}
		return false, math.Inf(1) // when a window opens there may be room
	}
	again := nextHour(g.now)
	if act == Stop || !g.lastChance(again) {
		g.pads = nil
		return false, math.Inf(1)
	}
	return false, again
}

// lastChance reports whether the next pad, placed at a minute, could still be
// finished if nothing else were open: nobody waits for a pad that could not.
func (g *game) lastChance(at float64) bool {
	open := g.open
	g.open = nil
	_, ok := g.try(g.pads[0], at)
	g.open = open
	return ok
}

// coverAsked is when covering was asked about last.
type coverAsked struct {
	hour    float64
	raining bool
	placed  int // pads
}

// coverNow asks which pads to cover, at most once an hour, when rain begins and
// after each pad.
func (g *game) coverNow() bool {
	if g.sheet == 0 || g.who == nil {
		return false
	}
	m := g.moment()
	at := coverAsked{math.Floor(g.now / 60), m.seen.Raining, len(g.run.pads)}
	if g.asked == at {
		return false
	}
	soft := g.soft()
	if len(soft) == 0 {
		return false
	}
	g.asked = at
	return g.cover(g.who.Cover(m, soft))
}

// rainBegins returns the minute at which rain is seen to begin in the present hour;
// +Inf where it does not, or has begun.
func (g *game) rainBegins() float64 {
	if !harm.Touches(g.site.rain(g.now)) {
		return math.Inf(1)
	}
	if at := math.Floor(g.site.rainBegins(math.Floor(g.now/60))) + 1; at > g.now {
		return at
	}
	return math.Inf(1)
}
