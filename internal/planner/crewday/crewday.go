// Package crewday lays out one crew's day: when each pad of an order is placed
// and finished from a given start, and how many of them the day takes.
package crewday

import (
	"math"

	"dryslot/internal/planner/slabs"
)

// CoverMin is how long one person takes to lay a cover over a pad and weigh
// its edges down (common practice).
const CoverMin = 5.0

// Crew is who works, in minutes and person-minutes.
type Crew struct {
	People  int
	SetUp   float64
	CleanUp float64
}

// Work is what one kind of pad asks of the crew.
type Work struct {
	Place     float64 // person-minutes of mixing, placing, striking off and bull-floating
	Finish    float64 // person-minutes
	Finishers int     // people who finish one such pad together
	Cover     float64 // minutes of covering after finishing
	ML        int     // millilitres of its concrete, to be counted against the bags there are
	Slabs     *slabs.Nodes
}

// Soft is a pad that is placed and waits for its finish.
type Soft struct {
	From, Until float64 // its window
	Finish      float64 // person-minutes
	Cover       float64 // minutes
	Finishers   int
	Pad         int // its place in the order; below 0: placed before this plan
}

// Hours is when work may be done, in minutes from the start of the scenarios.
type Hours struct {
	Light, Dark float64 // first and last light
	CleanedUp   float64 // when everything must be cleaned up
}

// Rule is what a free person does first.
type Rule uint8

// The rules. PlaceFirst goes on placing while everything placed can still be
// finished in time: the day ends earliest. FinishFirst finishes a pad as soon
// as its window opens: less lies open to light rain.
const (
	FinishFirst Rule = iota
	PlaceFirst
)

// Timeline is a crew's day for an order of pads, and for each first part of that
// order: row n is the day on which only the first n pads are poured. One
// Timeline is reused for many days; it is not safe for several goroutines.
type Timeline struct {
	N              int  // pads that can be done
	stuck          bool // something placed before can't be finished
	Place0, Place1 []float64
	From, Until    []float64   // finishing windows
	Fin0, Fin1     [][]float64 // row n-1: the finishing of each pad when n are poured
	End            []float64   // cleaned up, when n are poured

	avail, avail2  []float64
	open, open2    []Soft
	done0, done1   []float64
	carry0, carry1 []float64 // finishing of the pads placed before
}

// MostPads is the greatest number of pads that one day is laid out for.
const MostPads = 64

func NewTimeline(people int) *Timeline {
	t := &Timeline{avail: make([]float64, people), avail2: make([]float64, people)}
	for _, p := range []*[]float64{&t.Place0, &t.Place1, &t.From, &t.Until, &t.End, &t.done0, &t.done1} {
		*p = make([]float64, MostPads)
	}
	t.Fin0, t.Fin1 = make([][]float64, MostPads), make([][]float64, MostPads)
	for i := range MostPads {
		t.Fin0[i], t.Fin1[i] = make([]float64, i+1), make([]float64, i+1)
	}
	return t
}

// LayOut lays out the crew's day that begins with setting up at start, for the
// pads of an order under one track. It returns how many of them can be done;
// the rest would break a window, the light or the crew's hours. carry are pads
// placed already that must be finished too; clear is minutes spent on each pad
// before it is placed. Nobody waits while something useful can be done.
func (t *Timeline) LayOut(c Crew, h Hours, start float64, order []*Work, track int, carry []Soft, clear float64,
	r Rule) int {
	if clear > 0 {
		// A delay that happens to fit the windows better must not look like time won.
		order = order[:t.LayOut(c, h, start, order, track, carry, 0, r)]
	}
	t.N, t.stuck = 0, false
	begin := start + c.SetUp
	for i := range t.avail {
		t.avail[i] = begin
	}
	t.open = append(t.open[:0], carry...)
	t.carry0, t.carry1 = grow(t.carry0, len(carry)), grow(t.carry1, len(carry))
	gang := max(begin, h.Light) // when the last placing ends: one pad is placed at a time
	for n := 0; n < len(order) && n < MostPads; n++ {
		for !t.step(c, h, order[n], track, clear, r, &gang, n) {
			if gang < 0 || t.stuck {
				return t.N
			}
		}
		t.N = n + 1
	}
	return t.N
}

// step takes the next decision at the first moment that somebody is free. It
// returns true when pad n was placed; gang becomes negative when it can't be.
func (t *Timeline) step(c Crew, h Hours, k *Work, track int, clear float64, r Rule, gang *float64, n int) bool {
	now := math.Inf(1)
	for _, a := range t.avail {
		now = min(now, a)
	}
	if r == FinishFirst && t.finishOne(now) {
		return false
	}
	if now >= *gang && t.place(c, h, k, track, clear, now, n) {
		*gang = t.Place1[n]
		return true
	}
	if t.finishOne(now) {
		return false
	}
	// Nobody can do anything now: wait for a window, or for the gang.
	next := math.Inf(1)
	for i := range t.open {
		if t.open[i].From > now {
			next = min(next, t.open[i].From)
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
func (t *Timeline) place(c Crew, h Hours, k *Work, track int, clear, now float64, n int) bool {
	free := 0
	for _, a := range t.avail {
		if a <= now {
			free++
		}
	}
	from, until := k.Slabs.Window(track, now)
	if math.IsInf(from, 1) {
		return false
	}
	for gang := free; gang >= 1 && gang >= free-1; gang-- {
		end := now + (k.Place+clear)/float64(gang)
		open := max(from, end)
		if open+k.Finish/float64(k.Finishers) > until {
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
		t.open2 = append(t.open2, Soft{open, until, k.Finish, k.Cover, k.Finishers, n})
		t.Place0[n], t.Place1[n], t.From[n], t.Until[n] = now, end, open, until
		last, finished, ok := t.finishAll(n)
		if !ok {
			continue
		}
		if last+c.CleanUp > h.CleanedUp+1e-9 || finished > h.Dark+1e-9 {
			// The hours and the light cut a day short and never reshape it: so
			// less light only takes pads away.
			t.stuck = true
			return false
		}
		t.End[n] = last + c.CleanUp
		for i, a := 0, gang; i < len(t.avail) && a > 0; i++ {
			if t.avail[i] <= now {
				t.avail[i] = end
				a--
			}
		}
		t.open = append(t.open, Soft{open, until, k.Finish, k.Cover, k.Finishers, n})
		return true
	}
	return false
}

// finishAll finishes everything of open2 in the order in which windows close,
// and fills row n. It returns when the last of the work ends, and when the
// last pad is finished.
func (t *Timeline) finishAll(n int) (last, finished float64, ok bool) {
	copy(t.Fin0[n], t.done0[:n])
	copy(t.Fin1[n], t.done1[:n])
	for len(t.open2) > 0 {
		i := soonest(t.open2, math.Inf(1))
		s := t.open2[i]
		t.open2 = append(t.open2[:i], t.open2[i+1:]...)
		f0, f1, ok := finishAt(t.avail2, s)
		if !ok {
			return 0, 0, false
		}
		finished = max(finished, f1)
		if s.Pad >= 0 {
			t.Fin0[n][s.Pad], t.Fin1[n][s.Pad] = f0, f1
		} else {
			t.carry0[-1-s.Pad], t.carry1[-1-s.Pad] = f0, f1
		}
	}
	for _, a := range t.avail2 {
		last = max(last, a)
	}
	return last, finished, true
}

// finishOne begins the finishing of the open pad whose window closes first, if
// it is open now.
func (t *Timeline) finishOne(now float64) bool {
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
	if free < min(s.Finishers, len(t.avail)) {
		return false
	}
	f0, f1, ok := finishAt(t.avail, s)
	if !ok {
		t.stuck = true // a pad that can't be finished any more ends the day's plan
		return false
	}
	t.open = append(t.open[:i], t.open[i+1:]...)
	if s.Pad >= 0 {
		t.done0[s.Pad], t.done1[s.Pad] = f0, f1
	} else {
		t.carry0[-1-s.Pad], t.carry1[-1-s.Pad] = f0, f1
	}
	return true
}

// soonest returns the pad whose window closes first among those open by a
// moment; -1 when there is none.
func soonest(open []Soft, by float64) int {
	best := -1
	for i := range open {
		if open[i].From <= by && (best < 0 || open[i].Until < open[best].Until) {
			best = i
		}
	}
	return best
}

// finishAt has the people who are free first finish a pad, and cover it.
func finishAt(avail []float64, s Soft) (f0, f1 float64, ok bool) {
	need := min(s.Finishers, len(avail))
	f0 = s.From
	for range need { // the need-th to become free, by picking off the earliest
		i := earliest(avail)
		f0 = max(f0, avail[i])
		avail[i] = -1 - avail[i] // taken: kept below all that are free
	}
	f1 = f0 + s.Finish/float64(need)
	for i := range avail {
		if avail[i] < 0 {
			avail[i] = f1 + s.Cover
		}
	}
	return f0, f1, f1 <= s.Until+1e-9
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
