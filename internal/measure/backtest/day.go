package backtest

import "math"

// state is where a job stands in the morning.
type state struct {
	done  uint16            // pads placed and not lost, by bit
	strip [columns]float64  // when each first bay that is done can be stripped
	lost  int               // pads lost so far
	when  [padCount]float64 // when each pad that is done was placed
}

const allDone = 1<<padCount - 1

func (s *state) has(pad int) bool { return s.done&(1<<pad) != 0 }

// readyAt returns from when a pad can be placed; +Inf where it must wait for
// pads that are not poured.
func (s *state) readyAt(pad int) float64 {
	if s.has(pad) {
		return math.Inf(1)
	}
	if firstBay(pad) {
		return math.Inf(-1)
	}
	ready := math.Inf(-1)
	from, to := waitsFor(pad)
	for c := from; c <= to; c++ {
		if !s.has(c) {
			return math.Inf(1)
		}
		ready = max(ready, s.strip[c])
	}
	return ready
}

// open returns the pads that can be placed some time on a day that ends at a
// minute: first bays by column, then infill by column, which frees the infill
// soonest.
func (s *state) open(shut float64) []int {
	var out []int
	for pad := range padCount {
		if s.readyAt(pad) < shut {
			out = append(out, pad)
		}
	}
	return out
}

// padRun is one pad of a day as it went; minutes of the record.
type padRun struct {
	pad            int
	place0, place1 float64
	fin0, fin1     float64
	slab           slab
	harm           float64 // chance that it is lost: 0, marsChance or 1
	rained         bool    // lost or marred by rain rather than frost
}

// workOrder is the order in which a free person turns to placing and finishing.
type workOrder uint8

const (
	finishFirst workOrder = iota // a pad is finished as soon as its window opens
	placeFirst                   // the next pad is placed while all can still be finished
)

// dayRun is a day's work.
type dayRun struct {
	start, end float64
	pads       []padRun
	stopped    bool // for rain, with pads left to place
}

// crewDay works through a list of pads from a start, one person, under the
// weather as it was. keep is asked before each pad; nil: always. It does as
// many pads as can be finished in their windows, in the light and in the
// crew's hours; the rest is left.
func (s *Site) crewDay(d int, start float64, pads []int, from *state, order workOrder, keep func(minute float64) bool) dayRun {
	day := &s.days[d]
	c := s.Spec.Crew
	clear, frozen := s.base(start)
	run := dayRun{start: start}
	if frozen || !day.usable {
		return run
	}
	w := worker{site: s, day: day, now: start + c.SetUpMin, place: s.place + clear, run: &run}
	next := 0
	for {
		if order == finishFirst && w.finishOne() {
			continue
		}
		if next < len(pads) && w.now >= day.first && from.readyAt(pads[next]) <= w.now {
			if keep != nil && !keep(w.now) {
				run.stopped = true
				next = len(pads)
				continue
			}
			if w.placeOne(pads[next]) {
				next++
				continue
			}
		}
		if w.finishOne() {
			continue
		}
		wait := w.nextWindow()
		if next < len(pads) {
			if r := max(from.readyAt(pads[next]), day.first); r > w.now {
				wait = min(wait, r)
			}
		}
		if math.IsInf(wait, 1) || wait >= day.shut {
			break
		}
		w.now = wait
	}
	run.end = w.now + c.CleanUpMin
	for i := range run.pads {
		s.judge(&run.pads[i])
	}
	return run
}

// worker is the one person at work.
type worker struct {
	site  *Site
	day   *workday
	now   float64
	place float64
	open  []int // indices of run.pads that wait for their finish
	run   *dayRun
}

// soonest returns which of the open pads closes first among those open by a
// minute, -1 for none.
func (w *worker) soonest(open []int, by float64) int {
	best := -1
	for i, k := range open {
		p := &w.run.pads[k]
		if p.opens() <= by && (best < 0 || p.closes() < w.run.pads[open[best]].closes()) {
			best = i
		}
	}
	return best
}

func (p *padRun) opens() float64  { return max(p.place1, p.place0+p.slab.from) }
func (p *padRun) closes() float64 { return p.place0 + p.slab.until }

func (w *worker) finishOne() bool {
	i := w.soonest(w.open, w.now)
	if i < 0 {
		return false
	}
	p := &w.run.pads[w.open[i]]
	w.open = append(w.open[:i:i], w.open[i+1:]...)
	p.fin0, p.fin1 = w.now, w.now+w.site.finish
	w.now = p.fin1
	return true
}

func (w *worker) nextWindow() float64 {
	next := math.Inf(1)
	for _, k := range w.open {
		if o := w.run.pads[k].opens(); o > w.now {
			next = min(next, o)
		}
	}
	return next
}

// placeOne places a pad if all that is open can still be finished then.
func (w *worker) placeOne(pad int) bool {
	p := padRun{pad: pad, place0: w.now, place1: w.now + w.place, slab: w.site.at(w.now)}
	if p.slab.bad {
		return false
	}
	w.run.pads = append(w.run.pads, p)
	open := append(append([]int(nil), w.open...), len(w.run.pads)-1)
	if !w.allFinish(open, p.place1) {
		w.run.pads = w.run.pads[:len(w.run.pads)-1]
		return false
	}
	w.open, w.now = open, p.place1
	return true
}

// allFinish tells whether pads can all be finished one after the other from a
// minute on, in the order in which their windows close.
func (w *worker) allFinish(open []int, now float64) bool {
	left := append([]int(nil), open...)
	for len(left) > 0 {
		i := w.soonest(left, now)
		if i < 0 {
			i = w.soonest(left, math.Inf(1))
		}
		p := &w.run.pads[left[i]]
		now = max(now, p.opens()) + w.site.finish
		if now > p.closes() || now > w.day.last {
			return false
		}
		left = append(left[:i], left[i+1:]...)
	}
	return now+w.site.Spec.Crew.CleanUpMin <= w.day.shut
}

// judge finds what the weather did to a pad.
func (s *Site) judge(p *padRun) {
	set := p.place0 + p.slab.initial
	most := s.mostRain(p.place0, set)
	switch {
	case p.slab.freezes:
		p.harm = 1
	case !(most < rainLoses): // unknown counts against it
		p.harm, p.rained = 1, true
	case s.mostRain(p.place0, min(set, p.fin1)) >= rainMars:
		p.harm, p.rained = marsChance, true
	}
}

// longest works a list through in the order of work that does more pads.
func (s *Site) longest(d int, start float64, pads []int, from *state, keep func(float64) bool) dayRun {
	a := s.crewDay(d, start, pads, from, finishFirst, keep)
	if len(a.pads) == len(pads) || a.stopped {
		return a
	}
	if b := s.crewDay(d, start, pads, from, placeFirst, keep); len(b.pads) > len(a.pads) {
		return b
	}
	return a
}

// settle applies a day to the state. spoiled tells of each pad with a chance
// whether it was lost.
func (s *state) settle(run *dayRun, spoiled func(p *padRun) bool) {
	for i := range run.pads {
		p := &run.pads[i]
		if p.harm == 1 || p.harm > 0 && spoiled(p) {
			s.lost++
			continue
		}
		s.done |= 1 << p.pad
		s.when[p.pad] = p.place0
		if firstBay(p.pad) {
			s.strip[p.pad] = p.place0 + p.slab.strip
		}
	}
}
