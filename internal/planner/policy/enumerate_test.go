package policy

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"dryslot/internal/planner/crewday"
	"dryslot/internal/planner/job"
	"dryslot/internal/planner/jobtest"
	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

// brute is the same problem as a policy solves, by trying everything: every
// set of pads on every morning from every start, every signal, with harm
// counted hour by hour. It shares the crew's day with the planner, nothing else.
type brute struct {
	f       *Prepared
	signals bool
	first   int
	seen    map[string]float64
	harm    map[[3]int][3]float64
	rows    map[[2]int]int
	strips  map[[3]int]float64
	stops   map[[3]int][2][]float64 // without and with rain in the day: the chance that only so many are placed
	rank    []int
	beyond  func(left []int) float64
}

// poured1 is where one pad stands: the minute it was stripped, or +Inf.
type poured1 struct {
	done  bool
	strip float64
}

func (b *brute) value(day int, pads []poured1) float64 {
	left := b.left(pads)
	if len(left) == 0 {
		return 0
	}
	if day == len(b.f.Days) {
		return b.beyond(left)
	}
	key := b.key(day, pads)
	if v, ok := b.seen[key]; ok {
		return v
	}
	wait := 1 + b.value(day+1, pads)
	best := [3]float64{wait, wait, wait}
	for i := range b.f.Days[day].Starts {
		for set := 1; set < 1<<len(left); set++ {
			chosen := b.chosen(left, set)
			if len(chosen) > b.row(day, i) || !b.allowed(day, i, chosen, pads) {
				continue
			}
			for q, v := range b.pour(day, i, chosen, pads) {
				best[q] = min(best[q], v)
			}
		}
	}
	rain := b.rainShare(day)
	g := 0.0
	if b.signals && day > b.first {
		lead := float64(day-b.first) + 1
		g = (skill(0) - skill(lead)) / (1 - skill(lead))
	}
	v := g*(1-rain)*best[0] + (1-g)*best[1] + g*rain*best[2]
	b.seen[key] = v
	return v
}

// left lists the pads that are still to be poured.
func (b *brute) left(pads []poured1) (out []int) {
	for i, p := range pads {
		if !p.done && b.f.Pads[i].Left {
			out = append(out, i)
		}
	}
	return out
}

// key is the same for states from which the same can be done: stripped before the
// morning's first work is all one.
func (b *brute) key(day int, pads []poured1) string {
	key := []byte{byte(day)}
	for _, p := range pads {
		if !p.done {
			key = append(key, 255)
			continue
		}
		k := 0
		for _, d := range b.f.Days[day:] {
			for _, s := range d.Starts {
				if s+b.f.Crew.SetUp < p.strip {
					k++
				}
			}
		}
		key = append(key, byte(k))
	}
	return string(key)
}

// chosen lists the pads of a set in the planner's order.
func (b *brute) chosen(left []int, set int) (order []int) {
	for k, pad := range left {
		if set&(1<<k) != 0 {
			order = append(order, pad)
		}
	}
	slices.SortFunc(order, func(x, y int) int { return b.rank[x] - b.rank[y] })
	return order
}

// allowed reports whether what comes before the pads has been stripped by a start,
// and whether their forms are free.
func (b *brute) allowed(day, i int, order []int, pads []poured1) bool {
	begin := b.f.Days[day].Starts[i] + b.f.Crew.SetUp
	used := make([]int, len(b.f.Spec.FormSets))
	for k, p := range pads {
		if p.done && p.strip > begin && b.f.Pads[k].Form >= 0 {
			used[b.f.Pads[k].Form]++
		}
	}
	for _, pad := range order {
		for _, a := range b.f.Pads[pad].After {
			if !pads[a.Pad].done || pads[a.Pad].strip > begin {
				return false
			}
		}
		if fs := b.f.Pads[pad].Form; fs >= 0 {
			used[fs]++
			if used[fs] > b.f.Spec.FormSets[fs].Count {
				return false
			}
		}
	}
	return true
}

// pour is the value of pouring pads on a morning from a start: known dry, as now,
// known wet. Rain may stop the placing after any of them.
func (b *brute) pour(day, i int, order []int, pads []poured1) [3]float64 {
	n := len(order)
	cost, stop := b.cost(day, i, n), b.stops[[3]int{day, i, n}]
	if math.IsInf(cost[0], 1) && math.IsInf(cost[1], 1) && math.IsInf(cost[2], 1) {
		return cost
	}
	after := func(k int) float64 {
		next := append([]poured1(nil), pads...)
		for _, pad := range order[:k] {
			next[pad] = poured1{true, b.strip(day, i, n)}
		}
		return b.value(day+1, next)
	}
	var then [2]float64
	for r := range then {
		for k, p := range stop[r] {
			if p > 0 {
				then[r] += p * after(k)
			}
		}
	}
	dry, rainy := then[0], then[1]
	share := b.rainShare(day)
	return [3]float64{1 + cost[0] + dry, 1 + cost[1] + (1-share)*dry + share*rainy, 1 + cost[2] + rainy}
}

// row returns how many pads a start takes.
func (b *brute) row(day, i int) int {
	k := [2]int{day, i}
	n, ok := b.rows[k]
	if !ok {
		d := &b.f.Days[day]
		order := make([]*crewday.Work, len(b.f.Pads))
		for j := range order {
			order[j] = b.f.kinds[0]
		}
		n = max(
			b.f.line.LayOut(b.f.Crew, d.Hours, d.Starts[i], order, d.Track, nil, b.f.clearing(d.Starts[i]),
				crewday.FinishFirst),
			b.f.line.LayOut(b.f.Crew, d.Hours, d.Starts[i], order, d.Track, nil, b.f.clearing(d.Starts[i]),
				crewday.PlaceFirst),
		)
		b.rows[k] = n
	}
	return n
}

func (b *brute) rainShare(day int) float64 {
	n := 0
	for m := range b.f.Weather.Members {
		if b.rains(day, m) {
			n++
		}
	}
	return float64(n) / float64(len(b.f.Weather.Members))
}

// rains reports rain of 0.25 mm or more between 06 and 20 of a morning.
func (b *brute) rains(day, m int) bool {
	for h := 24*day + 6; h < 24*day+20; h++ {
		if b.f.Weather.Members[m].RainMM[h] >= 0.25 {
			return true
		}
	}
	return false
}

func (b *brute) strip(day, i, n int) float64 {
	b.cost(day, i, n)
	return b.strips[[3]int{day, i, n}]
}

// smallJob draws a random weather for a small job: few starts, mornings that
// are warm or so cool that stripping takes longer than a night.
func smallJob(spec pour.Spec, r *rand.Rand) job.Job {
	days := 2 + r.IntN(3)
	seed, share := r.Uint64(), 0.05+0.3*r.Float64()
	cool := 18 - 12*r.Float64()*r.Float64()
	spec.Crew.EarliestStart = unit.Clock(60 * (6 + r.IntN(2)))
	spec.Crew.LatestFinish = spec.Crew.EarliestStart + unit.Clock(60*(6+r.IntN(6)))
	spec.Limits.RainRisk = []float64{0.1, 0.3, 1}[r.IntN(3)]
	wx := jobtest.Weather(
		days+5,
		5,
		1,
		func(k, h int) float64 { return jobtest.Mild(k, h) - 18 + cool },
		jobtest.Showers(seed, share),
	)
	return jobtest.JobFor(spec, wx, days)
}

func TestPolicyEqualsEnumeration(t *testing.T) {
	for _, c := range []struct {
		name    string
		spec    pour.Spec
		signals bool
		tries   int
	}{{"J4", jobtest.JobJ4(), true, 1000}, {"J4", jobtest.JobJ4(), false, 200}, {"J12 cut to 6 pads", jobtest.JobJ6(),
		true, 1000}, {"J12 cut to 6 pads", jobtest.JobJ6(), false, 200}} {
		t.Run(fmt.Sprintf("%s, signals %v", c.name, c.signals), func(t *testing.T) {
			t.Parallel()
			r := rand.New(rand.NewPCG(7, 11))
			waited := 0
			for i := range c.tries {
				in := smallJob(c.spec, r)
				f, err := Prepare(t.Context(), &in)
				if err != nil {
					t.Fatal(err)
				}
				m := NewModel(f, 0, c.signals, nil)
				if !m.proved {
					t.Fatalf("%s is not solved exactly", c.name)
				}
				rank := make([]int, len(f.Pads))
				for i, p := range m.Flat() {
					rank[p] = i
				}
				b := &brute{
					rank:    rank,
					stops:   map[[3]int][2][]float64{},
					f:       f,
					signals: c.signals,
					seen:    map[string]float64{},
					harm:    map[[3]int][3]float64{},
					rows:    map[[2]int]int{},
					strips:  map[[3]int]float64{},
					beyond:  func(left []int) float64 { return m.after(stateOf(m, left)) },
				}
				got, want := m.value(0, State{}), b.value(0, make([]poured1, len(f.Pads)))
				if math.Abs(got-want) > 1e-9 {
					t.Fatalf("%s, signals %v, weather %d: policy %.12f, enumeration %.12f", c.name, c.signals, i, got,
						want)
				}
				if m.Path(nil) == nil {
					waited++
				}
			}
			if waited == 0 || waited == c.tries {
				t.Errorf("%s: of %d weathers %d waited throughout: no test of deciding", c.name, c.tries, waited)
			}
		})
	}
}

// stateOf counts what is left of each sequence.
func stateOf(m *Model, left []int) *State {
	var s State
	for g, seq := range m.Seqs {
		s.Pos[g] = uint16(len(seq))
		for _, p := range left {
			for _, q := range seq {
				if p == q {
					s.Pos[g]--
				}
			}
		}
	}
	return &s
}
