package planner

import "dryslot/internal/planner/slabs"

import "math"

// coverMin is how long one person takes to lay a cover over a pad and weigh
// its edges down (common practice).
const coverMin = 5.0

// crew is who works, in minutes and person-minutes.
type crew struct {
	people  int
	setUp   float64
	cleanUp float64
}

// work is what one kind of pad asks of the crew.
type work struct {
	place     float64 // person-minutes of mixing, placing, striking off and bull-floating
	finish    float64 // person-minutes
	finishers int     // people who finish one such pad together
	cover     float64 // minutes of covering after finishing
	ml        int     // its concrete: what the policy counts against the bags that there are
	slabs     *slabs.Nodes
}

// soft is a pad that waits for its finish.
type soft struct {
	from, until float64 // its window
	finish      float64 // person-minutes
	cover       float64 // minutes
	finishers   int
	pad         int // its place in the order; below 0: placed before this plan
}

// hours is when work may be done, in minutes of the frame.
type hours struct {
	light, dark float64 // first and last light
	shut        float64 // everything cleaned up
}

// rule is what a free person does first.
type rule uint8

// The rules. placeFirst goes on placing while everything placed can still be
// finished in time: the day ends earliest. finishFirst finishes a pad as soon
// as its window opens: less lies open to light rain.
const (
	finishFirst rule = iota
	placeFirst
)

// timeline is a crew's day for an order of pads and all its beginnings: row n
// is the day on which only the first n are poured. Its memory is used again.
type timeline struct {
	n              int  // pads that can be done
	stuck          bool // something placed before can't be finished
	place0, place1 []float64
	from, until    []float64   // finishing windows
	fin0, fin1     [][]float64 // row n-1: the finishing of each pad when n are poured
	end            []float64   // cleaned up, when n are poured

	avail, avail2  []float64
	open, open2    []soft
	done0, done1   []float64
	carry0, carry1 []float64 // finishing of the pads placed before
}

// most pads that one day is laid out for.
const mostPads = 64

func newTimeline(people int) *timeline {
	t := &timeline{avail: make([]float64, people), avail2: make([]float64, people)}
	for _, p := range []*[]float64{&t.place0, &t.place1, &t.from, &t.until, &t.end, &t.done0, &t.done1} {
		*p = make([]float64, mostPads)
	}
	t.fin0, t.fin1 = make([][]float64, mostPads), make([][]float64, mostPads)
	for i := range mostPads {
		t.fin0[i], t.fin1[i] = make([]float64, i+1), make([]float64, i+1)
	}
	return t
}

// lay lays out the crew's day that begins with setting up at start, for the
// pads of an order under one track. It returns how many of them can be done;
// the rest would break a window, the light or the crew's hours. carry are pads
// placed already that must be finished too; clear is minutes spent on each pad
// before it is placed. Nobody waits while something useful can be done.
func (t *timeline) lay(c crew, h hours, start float64, order []*work, track int, carry []soft, clear float64, r rule) int {
	if clear > 0 {
		// A delay that happens to fit the windows better must not look like time won.
		order = order[:t.lay(c, h, start, order, track, carry, 0, r)]
	}
	t.n, t.stuck = 0, false
	begin := start + c.setUp
	for i := range t.avail {
		t.avail[i] = begin
	}
	t.open = append(t.open[:0], carry...)
	t.carry0, t.carry1 = grow(t.carry0, len(carry)), grow(t.carry1, len(carry))
	gang := max(begin, h.light) // when the last placing ends: one pad is placed at a time
	for n := 0; n < len(order) && n < mostPads; n++ {
		for !t.step(c, h, order[n], track, clear, r, &gang, n) {
			if gang < 0 || t.stuck {
				return t.n
			}
		}
		t.n = n + 1
	}
	return t.n
}

// step takes the next decision at the first moment that somebody is free. It
// returns true when pad n was placed; gang becomes negative when it can't be.
func (t *timeline) step(c crew, h hours, k *work, track int, clear float64, r rule, gang *float64, n int) bool {
	now := math.Inf(1)
	for _, a := range t.avail {
		now = min(now, a)
	}
	if r == finishFirst && t.finishOne(now) {
		return false
	}
	if now >= *gang && t.place(c, h, k, track, clear, now, n) {
		*gang = t.place1[n]
		return true
	}
	if t.finishOne(now) {
		return false
	}
	// Nobody can do anything now: wait for a window, or for the gang.
	next := math.Inf(1)
	for i := range t.open {
		if t.open[i].from > now {
			next = min(next, t.open[i].from)
		}
	}
	for _, a := range t.avail {
		if a > now {
			next = min(next, a)
		}
	}
	if *gang > now {
		next = min(next, *gang)
	}
	if math.IsInf(next, 1) {
		*gang = -1
		return false
	}
	for i, a := range t.avail {
		if a <= now {
			t.avail[i] = next
		}
	}
	return false
}

// place tries to place pad n at now with everybody free, then with one less.
func (t *timeline) place(c crew, h hours, k *work, track int, clear, now float64, n int) bool {
	free := 0
	for _, a := range t.avail {
		if a <= now {
			free++
		}
	}
	from, until := k.slabs.Window(track, now)
	if math.IsInf(from, 1) {
		return false
	}
	for gang := free; gang >= 1 && gang >= free-1; gang-- {
		end := now + (k.place+clear)/float64(gang)
		open := max(from, end)
		if open+k.finish/float64(k.finishers) > until {
			continue
		}
		copy(t.avail2, t.avail)
		for i, left := 0, gang; i < len(t.avail2) && left > 0; i++ {
			if t.avail2[i] <= now {
				t.avail2[i] = end
				left--
			}
		}
		t.open2 = append(t.open2[:0], t.open...)
		t.open2 = append(t.open2, soft{open, until, k.finish, k.cover, k.finishers, n})
		t.place0[n], t.place1[n], t.from[n], t.until[n] = now, end, open, until
		last, finished, ok := t.finishAll(n)
		if !ok {
			continue
		}
		if last+c.cleanUp > h.shut+1e-9 || finished > h.dark+1e-9 {
			// The hours and the light cut a day short and never reshape it: so
			// less light only takes pads away.
			t.stuck = true
			return false
		}
		t.end[n] = last + c.cleanUp
		for i, a := 0, gang; i < len(t.avail) && a > 0; i++ {
			if t.avail[i] <= now {
				t.avail[i] = end
				a--
			}
		}
		t.open = append(t.open, soft{open, until, k.finish, k.cover, k.finishers, n})
		return true
	}
	return false
}

// finishAll finishes everything of open2 in the order in which windows close,
// and fills row n. It returns when the last of the work ends, and when the
// last pad is finished.
func (t *timeline) finishAll(n int) (last, finished float64, ok bool) {
	copy(t.fin0[n], t.done0[:n])
	copy(t.fin1[n], t.done1[:n])
	for len(t.open2) > 0 {
		i := soonest(t.open2, math.Inf(1))
		s := t.open2[i]
		t.open2 = append(t.open2[:i], t.open2[i+1:]...)
		f0, f1, ok := finishAt(t.avail2, s)
		if !ok {
			return 0, 0, false
		}
		finished = max(finished, f1)
		if s.pad >= 0 {
			t.fin0[n][s.pad], t.fin1[n][s.pad] = f0, f1
		} else {
			t.carry0[-1-s.pad], t.carry1[-1-s.pad] = f0, f1
		}
	}
	for _, a := range t.avail2 {
		last = max(last, a)
	}
	return last, finished, true
}

// finishOne begins the finishing of the open pad whose window closes first, if
// it is open now.
func (t *timeline) finishOne(now float64) bool {
	i := soonest(t.open, now)
	if i < 0 {
		return false
	}
	s := t.open[i]
	free := 0
	for _, a := range t.avail {
		if a <= now {
			free++
		}
	}
	if free < min(s.finishers, len(t.avail)) {
		return false
	}
	f0, f1, ok := finishAt(t.avail, s)
	if !ok {
		t.stuck = true // a pad that can't be finished any more ends the day's plan
		return false
	}
	t.open = append(t.open[:i], t.open[i+1:]...)
	if s.pad >= 0 {
		t.done0[s.pad], t.done1[s.pad] = f0, f1
	} else {
		t.carry0[-1-s.pad], t.carry1[-1-s.pad] = f0, f1
	}
	return true
}

// soonest returns the pad whose window closes first among those open by a
// moment; -1 when there is none.
func soonest(open []soft, by float64) int {
	best := -1
	for i := range open {
		if open[i].from <= by && (best < 0 || open[i].until < open[best].until) {
			best = i
		}
	}
	return best
}

// finishAt has the people who are free first finish a pad, and cover it.
func finishAt(avail []float64, s soft) (f0, f1 float64, ok bool) {
	need := min(s.finishers, len(avail))
	f0 = s.from
	for range need { // the need-th to become free, by picking off the earliest
		i := earliest(avail)
		f0 = max(f0, avail[i])
		avail[i] = -1 - avail[i] // taken: kept below all that are free
	}
	f1 = f0 + s.finish/float64(need)
	for i := range avail {
		if avail[i] < 0 {
			avail[i] = f1 + s.cover
		}
	}
	return f0, f1, f1 <= s.until+1e-9
}

func earliest(avail []float64) int {
	best := -1
	for i, a := range avail {
		if a >= 0 && (best < 0 || a < avail[best]) {
			best = i
		}
	}
	return best
}

func grow(v []float64, n int) []float64 {
	if cap(v) < n {
		return make([]float64, n)
	}
	return v[:n]
}
