package backtest

import (
	"math"
	"slices"

	"dryslot/internal/planner/harm"
	"dryslot/internal/planner/hourly"
)

// Foresight is the least expected loss of anyone who knows the weather, with
// the same crew and powers, by dynamic programming over the days and the state
// of the job: which pads are done, and when the first bays can be stripped.
// Start times lie on a grid of half-hours; on each start the longest run of
// pads that the weather leaves alone is tried in both orders of work, with and
// without waiting for showers to pass, and that run with one pad more that rain
// may spoil. A run shorter than the longest safe one is never better: a pad
// done is never a hindrance to the pads left. What is known is the weather, not
// the luck of a pad in light rain.
type foresight struct {
	site   *Site
	powers Powers
	cost   costs
	memo   []map[key]answer
}

// key is a state as far as it matters from a day on: times in half-hours after
// its earliest start, 0 when past.
type key struct {
	done  uint16
	strip [columns]uint8
}

// answer is the least loss from a state on, and how it is made up.
type answer struct {
	days, lost, inspect, waited float64
}

// costs are what things count as, in days.
type costs struct{ lost, inspect, waited float64 }

// fullCosts are those of the loss that is minimised.
func (s *Site) fullCosts() costs {
	return costs{s.Spec.Limits.LostPadDays, harm.InspectDays, hourly.WaitedDays}
}

func (c costs) loss(a answer) float64 {
	return a.days + c.lost*a.lost + c.inspect*a.inspect + c.waited*a.waited
}

// mix returns the mean of two answers, the second with a chance.
func (a answer) mix(b answer, chance float64) answer {
	m := func(x, y float64) float64 { return (1-chance)*x + chance*y }
	return answer{m(a.days, b.days), m(a.lost, b.lost), m(a.inspect, b.inspect), m(a.waited, b.waited)}
}

const (
	startStep = 30.0 // minutes, as the planner tries them
	halfHour  = 30.0
)

func newForesight(s *Site, p Powers) *foresight {
	f := &foresight{site: s, powers: p, cost: s.fullCosts(), memo: make([]map[key]answer, len(s.days))}
	for d := range f.memo {
		f.memo[d] = map[key]answer{}
	}
	return f
}

// best returns the least loss of a job begun on a day; days count that day.
func (f *foresight) best(d int) answer { return f.from(d, state{}) }

// bestWithin is best for who gives a job up after longestJob days, as every policy
// does: one that no weather lets finish counts as that long.
func (f *foresight) bestWithin(d int) answer {
	given := answer{days: longestJob}
	if a := f.best(d); f.cost.loss(a) < f.cost.loss(given) {
		return a
	}
	return given
}

// keyAt is a state as far as it matters on a day.
func (s *Site) keyAt(d int, st *state) key {
	k := key{done: st.done}
	midnight := s.days[d].open
	for c := range k.strip {
		if st.has(c) && st.strip[c] > midnight {
			k.strip[c] = uint8(min(255, math.Ceil((st.strip[c]-midnight)/halfHour)))
		}
	}
	return k
}

// leastAfterWaiting is the least loss of who waits a day with pads left to do: that
// day, and one to do them.
const leastAfterWaiting = 2.0

func (f *foresight) from(d int, st state) answer {
	if st.done == allDone {
		return answer{}
	}
	if d >= len(f.site.days)-1 {
		return answer{days: math.Inf(1)}
	}
	k := f.site.keyAt(d, &st)
	if a, ok := f.memo[d][k]; ok {
		return a
	}
	best := answer{days: math.Inf(1)}
	f.tryAll(d, &st, func(a answer) {
		if f.cost.loss(a) < f.cost.loss(best)-1e-9 {
			best = a
		}
	})
	if f.cost.loss(best) > leastAfterWaiting {
		wait := f.from(d+1, st)
		wait.days++
		if f.cost.loss(wait) < f.cost.loss(best)-1e-9 {
			best = wait
		}
	}
	f.memo[d][k] = best
	return best
}

// oracle knows the weather.
type oracle struct{ careful bool } // waits where the next pad would come to harm

func (o oracle) Name() string { return "oracle" }

func (o oracle) Morning(*Site, int, *state) (dayPlan, error) { return dayPlan{}, nil }

func (o oracle) Next(m *moment) Action {
	if !o.careful {
		return Place
	}
	at := m.now
	if !m.setUp {
		at += m.site.Spec.Crew.SetUpMin
	}
	p := padRun{place0: at, coverOn: math.Inf(1), slab: m.site.at(at)}
	if m.site.judge(&p, m.powers) != (fate{}) {
		return Wait
	}
	return Place
}

// Cover lays sheets where rain comes before a soft pad sets.
func (o oracle) Cover(m *moment, soft []int) []int {
	var out []int
	for _, i := range soft {
		if harm.Touches(m.site.mostRain(m.now, m.placed[i].sets())) {
			out = append(out, i)
		}
	}
	return out
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
	var bold player // nil places whatever can be placed
	if f.powers.Covers > 0 {
		bold = oracle{}
	}
	for start := day.open; start < day.shut; start += startStep {
		want := dayPlan{start: start, pads: pads}
		whole := false
		for _, order := range []workOrder{finishFirst, placeFirst} {
			run := s.play(d, st, want, bold, f.powers, order)
			n := harmless(&run)
			whole = whole || len(run.pads) == len(pads) && run.spotless()
			if n < len(run.pads) {
				for _, cut := range []int{n, n + 1} {
					want.pads = pads[:cut]
					part := s.play(d, st, want, bold, f.powers, order)
					f.offer(d, st, &part, seen, offer)
				}
				want.pads = pads
				run = s.play(d, st, want, oracle{careful: true}, f.powers, order)
			}
			f.offer(d, st, &run, seen, offer)
		}
		if whole {
			return // a later start does no more, and what it places sets later
		}
	}
}

// spotless reports whether the weather does nothing to a day's pads, and nobody waits.
func (r *dayRun) spotless() bool {
	return r.waited() == 0 && len(r.covers) == 0 &&
		!slices.ContainsFunc(r.pads, func(p padRun) bool { return p.fate != (fate{}) })
}

// harmless returns how many pads come before the first that the weather harms.
func harmless(run *dayRun) int {
	for i := range run.pads {
		if run.pads[i].fate.lost > 0 {
			return i
		}
	}
	return len(run.pads)
}

// offer works out the loss after a day of which one pad at most may be lost.
func (f *foresight) offer(d int, st *state, run *dayRun, seen map[key]bool, offer func(answer)) {
	if len(run.pads) == 0 {
		return
	}
	chance, inspect := 0.0, 0.0
	for i := range run.pads {
		x := run.pads[i].fate
		if x.lost == 1 || x.lost > 0 && chance > 0 {
			return
		}
		chance = max(chance, x.lost)
		inspect += x.inspect * (1 - x.lost)
	}
	well := *st
	well.settle(run, func(int) float64 { return 1 })
	waited := run.waited()
	if k := f.site.keyAt(d+1, &well); chance == 0 && inspect == 0 && waited == 0 {
		if seen[k] {
			return
		}
		seen[k] = true
	}
	a := f.from(d+1, well)
	if chance > 0 {
		ill := *st
		ill.settle(run, func(int) float64 { return 0 })
		b := f.from(d+1, ill)
		b.lost++
		a = a.mix(b, chance)
	}
	a.days, a.inspect, a.waited = a.days+1, a.inspect+inspect, a.waited+waited
	offer(a)
}
