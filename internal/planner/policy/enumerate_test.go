package policy

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"dryslot/internal/planner/crewday"
	"dryslot/internal/planner/harm"
	"dryslot/internal/planner/job"
	"dryslot/internal/planner/jobtest"
	"dryslot/internal/planner/slabs"
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
	left := []int{}
	for i, p := range pads {
		if !p.done && b.f.Pads[i].Left {
			left = append(left, i)
		}
	}
	if len(left) == 0 {
		return 0
	}
	if day == len(b.f.Days) {
		return b.beyond(left)
	}
	key := []byte{byte(day)}
	for _, p := range pads {
		if !p.done {
			key = append(key, 255)
			continue
		}
		// Stripped before the morning's first work is all one.
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
	if v, ok := b.seen[string(key)]; ok {
		return v
	}
	wait := 1 + b.value(day+1, pads)
	best := [3]float64{wait, wait, wait}
	for i, s := range b.f.Days[day].Starts {
		begin := s + b.f.Crew.SetUp
		for set := 1; set < 1<<len(left); set++ {
			n, ok := 0, true
			used := make([]int, len(b.f.Spec.FormSets))
			for k, p := range pads {
				if p.done && p.strip > begin && b.f.Pads[k].Form >= 0 {
					used[b.f.Pads[k].Form]++
				}
			}
			for k, pad := range left {
				if set&(1<<k) == 0 {
					continue
				}
				n++
				for _, a := range b.f.Pads[pad].After {
					ok = ok && pads[a.Pad].done && pads[a.Pad].strip <= begin
				}
				if fs := b.f.Pads[pad].Form; fs >= 0 {
					used[fs]++
					ok = ok && used[fs] <= b.f.Spec.FormSets[fs].Count
				}
			}
			if !ok || n > b.row(day, i) {
				continue
			}
			cost, stop := b.cost(day, i, n), b.stops[[3]int{day, i, n}]
			if math.IsInf(cost[0], 1) && math.IsInf(cost[1], 1) && math.IsInf(cost[2], 1) {
				continue
			}
			// Placed in the planner's order; rain may stop it after any of them.
			var order []int
			for k, pad := range left {
				if set&(1<<k) != 0 {
					order = append(order, pad)
				}
			}
			slices.SortFunc(order, func(x, y int) int { return b.rank[x] - b.rank[y] })
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
			for q, then := range [...]float64{dry, (1-share)*dry + share*rainy, rainy} {
				best[q] = min(best[q], 1+cost[q]+then)
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
	b.seen[string(key)] = v
	return v
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
			b.f.line.LayOut(b.f.Crew, d.Hours, d.Starts[i], order, d.Track, nil, b.f.clearing(d.Starts[i]), crewday.FinishFirst),
			b.f.line.LayOut(b.f.Crew, d.Hours, d.Starts[i], order, d.Track, nil, b.f.clearing(d.Starts[i]), crewday.PlaceFirst),
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

// cost counts a day's expected loss hour by hour: known dry, as now, known wet.
func (b *brute) cost(day, i, n int) [3]float64 {
	key := [3]int{day, i, n}
	if c, ok := b.harm[key]; ok {
		return c
	}
	d := &b.f.Days[day]
	order := make([]*crewday.Work, n)
	for j := range order {
		order[j] = b.f.kinds[0]
	}
	r := crewday.FinishFirst
	if b.f.line.LayOut(b.f.Crew, d.Hours, d.Starts[i], order, d.Track, nil, b.f.clearing(d.Starts[i]), r) < n {
		r = crewday.PlaceFirst
	}
	inf := math.Inf(1)
	var lost, any, count [2]float64
	var pads [2][]float64
	pads[0], pads[1] = make([]float64, n), make([]float64, n)
	stop := [2][]float64{make([]float64, n+1), make([]float64, n+1)}
	strip := 0.0
	for m := range b.f.Weather.Members {
		w := &b.f.Weather.Members[m]
		reach := b.f.line.LayOut(b.f.Crew, d.Hours, d.Starts[i], order, w.Track, nil, b.f.clearing(d.Starts[i]), r)
		k := 0
		if b.rains(day, m) {
			k = 1
		}
		count[k]++
		none, placed := 1.0, min(n, reach) // what can't be finished is not begun
		for j := range n {
			if j < min(reach, placed) {
				if h := int(b.f.line.Place0[j] / 60); w.RainMM[h] >= 0.25 || w.RainMM[h+1] >= 0.25 {
					placed = j // it rains, or will within the hour
				}
			}
			l := 0.0
			if j < reach {
				from := b.f.line.Place0[j]
				slab := b.f.Job.Slabs.Behave(
					slabs.Query{
						Track:  w.Track,
						Kind:   slabs.Kind{Thickness: unit.Metres(b.f.Pads[0].ThicknessM)},
						Placed: b.f.Start.Add(time.Duration(from/60) * time.Hour),
					},
				)
				next := b.f.Job.Slabs.Behave(
					slabs.Query{
						Track:  w.Track,
						Kind:   slabs.Kind{Thickness: unit.Metres(b.f.Pads[0].ThicknessM)},
						Placed: b.f.Start.Add(time.Duration(from/60+1) * time.Hour),
					},
				)
				part := from/60 - math.Floor(from/60)
				set := from + slab.InitialSet.Minutes()*(1-part) + next.InitialSet.Minutes()*part
				l = 0
				for h := int(from / 60); float64(h)*60 < set; h++ {
					switch rain := w.RainMM[h]; {
					case rain >= 2.5:
						l = 1
					case rain >= 0.25 && float64(h)*60 < b.f.line.Fin1[reach-1][j]:
						l = max(l, harm.LightLoses)
					}
				}
				if slab.Freezes || part > 0 && next.Freezes {
					l = 1
				}
				if m == 0 || w.Track == d.Track {
					strip = max(strip, from+slab.StripFrom.Minutes()*(1-part)+next.StripFrom.Minutes()*part)
				}
			}
			pads[k][j] += l
			if j < placed {
				lost[k] += l
				none *= 1 - l
			}
		}
		any[k] += 1 - none
		stop[k][placed]++
	}
	for r := range stop {
		for k := range stop[r] {
			stop[r][k] /= max(1, count[r])
		}
		if count[r] == 0 {
			stop[r][n] = 1
		}
	}
	b.stops[key] = stop
	limits := b.f.Spec.Limits
	per := func(k int) float64 {
		if count[k] == 0 {
			return 0
		}
		for _, l := range pads[k] {
			if l/count[k] > limits.RainRisk+1e-9 {
				return inf
			}
		}
		return (limits.LostPadDays*lost[k] + repourDays*any[k]) / count[k]
	}
	now := (limits.LostPadDays*(lost[0]+lost[1]) + repourDays*(any[0]+any[1])) / (count[0] + count[1])
	for j := range n {
		if (pads[0][j]+pads[1][j])/(count[0]+count[1]) > limits.RainRisk+1e-9 {
			now = inf
		}
	}
	c := [3]float64{per(0) + pourDays, now + pourDays, per(1) + pourDays}
	b.harm[key] = c
	b.strips[key] = strip
	return c
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
	}{{"J4", jobtest.JobJ4(), true, 1000}, {"J4", jobtest.JobJ4(), false, 200}, {"J12 cut to 6 pads", jobtest.JobJ6(), true, 1000}, {"J12 cut to 6 pads", jobtest.JobJ6(), false, 200}} {
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
					t.Fatalf("%s, signals %v, weather %d: policy %.12f, enumeration %.12f", c.name, c.signals, i, got, want)
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
