package backtest

import "math"

// Foresight is the least expected loss of anyone who knows the weather, with
// the same crew and rules, by dynamic programming over the days and the state
// of the job: which pads are done, and when the first bays can be stripped.
// Start times lie on the planner's grid; on each start the longest run of pads
// that rain and frost leave alone is tried in both orders of work, and that
// run with one pad more that light rain may spoil, where it rains lightly. A
// run shorter than the longest safe one is never better: a pad done is never a
// hindrance to the pads left. What is known is the weather, not the luck of a
// pad in light rain.
type foresight struct {
	site *Site
	lost float64 // days that a lost pad counts as
	memo []map[key]answer
}

// key is a state as far as it matters from a day on: times in half-hours after
// its midnight, 0 when past.
type key struct {
	done  uint16
	strip [columns]uint8
}

// answer is the least loss from a state on, and how it is made up.
type answer struct {
	days, lost float64
}

func (a answer) loss(lostDays float64) float64 { return a.days + lostDays*a.lost }

const (
	startStep = 30.0 // minutes, as the planner tries them
	halfHour  = 30.0
)

func newForesight(s *Site) *foresight {
	f := &foresight{site: s, lost: s.Spec.Limits.LostPadDays, memo: make([]map[key]answer, len(s.days))}
	for d := range f.memo {
		f.memo[d] = map[key]answer{}
	}
	return f
}

// best returns the least loss of a job begun on a day; days count that day.
func (f *foresight) best(d int) answer { return f.from(d, state{}) }

func (f *foresight) keyOf(d int, st *state) key {
	k := key{done: st.done}
	midnight := f.site.days[d].open
	for c := range k.strip {
		if st.has(c) && st.strip[c] > midnight {
			k.strip[c] = uint8(min(255, math.Ceil((st.strip[c]-midnight)/halfHour)))
		}
	}
	return k
}

func (f *foresight) from(d int, st state) answer {
	if st.done == allDone {
		return answer{}
	}
	if d >= len(f.site.days)-1 {
		return answer{days: math.Inf(1)}
	}
	k := f.keyOf(d, &st)
	if a, ok := f.memo[d][k]; ok {
		return a
	}
	best := f.from(d+1, st)
	best.days++
	f.tryAll(d, &st, func(a answer) {
		if a.loss(f.lost) < best.loss(f.lost)-1e-9 {
			best = a
		}
	})
	f.memo[d][k] = best
	return best
}

// tryAll offers what every start makes of a day.
func (f *foresight) tryAll(d int, st *state, offer func(answer)) {
	s := f.site
	day := &s.days[d]
	pads := st.open(day.shut)
	if !day.usable || len(pads) == 0 {
		return
	}
	seen := map[key]bool{}
	for start := day.open; start < day.shut; start += startStep {
		for _, order := range []workOrder{finishFirst, placeFirst} {
			run := s.crewDay(d, start, pads, st, order, nil)
			for n := range run.pads {
				if run.pads[n].harm > 0 {
					run = s.crewDay(d, start, pads[:n], st, order, nil)
					f.offer(d, st, &run, seen, offer)
					run = s.crewDay(d, start, pads[:n+1], st, order, nil)
					break
				}
			}
			f.offer(d, st, &run, seen, offer)
		}
	}
}

// offer works out the loss after a day whose last pad may be marred.
func (f *foresight) offer(d int, st *state, run *dayRun, seen map[key]bool, offer func(answer)) {
	n := len(run.pads)
	if n == 0 {
		return
	}
	chance := 0.0
	for i := range run.pads {
		switch h := run.pads[i].harm; {
		case h == 1:
			return
		case h > 0 && i < n-1:
			return // an earlier one is marred too: the shorter run is offered
		case h > 0:
			chance = h
		}
	}
	well := *st
	well.settle(run, func(*padRun) bool { return false })
	if k := f.keyOf(d+1, &well); chance == 0 {
		if seen[k] {
			return
		}
		seen[k] = true
	}
	a := f.from(d+1, well)
	a.days++
	if chance > 0 {
		ill := *st
		ill.settle(run, func(*padRun) bool { return true })
		b := f.from(d+1, ill)
		b.days, b.lost = b.days+1, b.lost+1
		a.days, a.lost = (1-chance)*a.days+chance*b.days, (1-chance)*a.lost+chance*b.lost
	}
	offer(a)
}
