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
	coverOn        float64 // when a sheet lay over it; +Inf: never
	slab           slab
	fate           fate
}

func (p *padRun) opens() float64  { return max(p.place1, p.place0+p.slab.from) }
func (p *padRun) closes() float64 { return p.place0 + p.slab.until }
func (p *padRun) sets() float64   { return p.place0 + p.slab.initial }

// workOrder is the order in which a free person turns to placing and finishing.
type workOrder uint8

const (
	finishFirst workOrder = iota // a pad is finished as soon as its window opens
	placeFirst                   // the next pad is placed while all can still be finished
)

// span is a stretch of time; minutes of the record.
type span struct{ from, to float64 }

// covering is sheets laid over some pads.
type covering struct {
	span
	pads []int
}

// dayRun is a day's work.
type dayRun struct {
	start, end float64
	pads       []padRun
	waits      []span // with the crew there, no pad to finish and a pad to place
	covers     []covering
}

// waited returns the hours waited.
func (r *dayRun) waited() float64 {
	sum := 0.0
	for _, w := range r.waits {
		sum += (w.to - w.from) / 60
	}
	return sum
}

// crew is the one person at work on one day.
type crew struct {
	site  *Site
	day   *workday
	order workOrder
	now   float64
	idle  float64 // since when nothing was done
	open  []int   // indices of run.pads that wait for their finish
	sheet int     // sheets that are free
	run   *dayRun
}

// soonest returns which of the open pads closes first among those open by a
// minute, -1 for none.
func (w *crew) soonest(open []int, by float64) int {
	best := -1
	for i, k := range open {
		p := &w.run.pads[k]
		if p.opens() <= by && (best < 0 || p.closes() < w.run.pads[open[best]].closes()) {
			best = i
		}
	}
	return best
}

func (w *crew) finishOne() bool {
	i := w.soonest(w.open, w.now)
	if i < 0 {
		return false
	}
	p := &w.run.pads[w.open[i]]
	w.open = append(w.open[:i:i], w.open[i+1:]...)
	p.fin0, p.fin1 = w.now, w.now+w.site.finish
	w.did(p.fin1)
	return true
}

// did moves to the end of some work.
func (w *crew) did(until float64) { w.now, w.idle = until, until }

// nextWindow returns when the next finishing window opens; +Inf for none.
func (w *crew) nextWindow() float64 {
	next := math.Inf(1)
	for _, k := range w.open {
		if o := w.run.pads[k].opens(); o > w.now {
			next = min(next, o)
		}
	}
	return next
}

// try returns a pad placed at a minute, if it and all that is open can still
// be finished then.
func (w *crew) try(pad int, at float64) (p padRun, ok bool) {
	clear := w.site.clearing(at)
	p = padRun{pad: pad, place0: at, place1: at + w.site.place + clear, coverOn: math.Inf(1), slab: w.site.at(at)}
	if p.slab.bad {
		return p, false
	}
	n := len(w.run.pads)
	w.run.pads = append(w.run.pads, p)
	ok = w.allFinish(append(append([]int(nil), w.open...), n), p.place1)
	w.run.pads = w.run.pads[:n]
	return p, ok
}

func (w *crew) placeOne(pad int) bool {
	p, ok := w.try(pad, w.now)
	if !ok {
		return false
	}
	w.run.pads = append(w.run.pads, p)
	w.open = append(w.open, len(w.run.pads)-1)
	w.did(p.place1)
	return true
}

// allFinish reports whether pads can all be finished one after the other from a
// minute on, in the order in which their windows close.
func (w *crew) allFinish(open []int, now float64) bool {
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

// soft returns the pads of the day that lie open and have not set.
func (w *crew) soft() []int {
	var out []int
	for i := range w.run.pads {
		if p := &w.run.pads[i]; math.IsInf(p.coverOn, 1) && p.sets() > w.now {
			out = append(out, i)
		}
	}
	return out
}

// cover lays sheets over the soft pads, those placed first, as far as they go
// and as all can still be finished.
func (w *crew) cover(soft []int) bool {
	soft = soft[:min(len(soft), w.sheet)]
	until := w.now + coverMin*float64(len(soft))
	if len(soft) == 0 || !w.allFinish(w.open, until) {
		return false
	}
	c := covering{span: span{w.now, until}}
	for k, i := range soft {
		w.run.pads[i].coverOn = w.now + coverMin*float64(k+1)
		c.pads = append(c.pads, w.run.pads[i].pad)
	}
	w.run.covers = append(w.run.covers, c)
	w.sheet -= len(soft)
	w.did(until)
	return true
}

// settle applies a day to the state. luck returns a number from 0 to 1 that
// belongs to a pad: it is lost where that is below its chance.
func (s *state) settle(run *dayRun, luck func(pad int) float64) {
	for i := range run.pads {
		p := &run.pads[i]
		if p.fate.lost == 1 || p.fate.lost > 0 && luck(p.pad) < p.fate.lost {
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

// better returns the order of work in which more pads of a list are done when
// nobody stops.
func (s *Site) better(d int, st *state, want dayPlan, p Powers) workOrder {
	a := s.play(d, st, want, nil, p, finishFirst)
	if len(a.pads) == len(want.pads) {
		return finishFirst
	}
	if b := s.play(d, st, want, nil, p, placeFirst); len(b.pads) > len(a.pads) {
		return placeFirst
	}
	return finishFirst
}
