package policy

import (
	"math"
	"time"

	"dryslot/internal/concrete"
	"dryslot/internal/forecast"
	"dryslot/internal/planner/crewday"
	"dryslot/internal/planner/harm"
	"dryslot/internal/planner/slabs"
	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

// counted is what comes of a day's pads over the members, those without rain in
// the day and those with.
type counted struct {
	members, lost, any [2]float64
	pads               [2][]float64 // lost, of each pad
}

// part is the expected loss of those members whose rain is k, and whole that of
// all. A pad that is lost more often than it may be makes it infinite.
func (c *counted) part(k int, limits pour.Limits) float64 {
	return expected(c.members[k], c.lost[k], c.any[k], c.pads[k], limits)
}

func (c *counted) whole(limits pour.Limits) float64 {
	both := make([]float64, len(c.pads[0]))
	for j := range both {
		both[j] = c.pads[0][j] + c.pads[1][j]
	}
	return expected(c.members[0]+c.members[1], c.lost[0]+c.lost[1], c.any[0]+c.any[1], both, limits)
}

func expected(members, lost, any float64, pads []float64, limits pour.Limits) float64 {
	if members == 0 {
		return 0
	}
	for _, l := range pads {
		if l/members > limits.RainRisk+1e-9 {
			return math.Inf(1)
		}
	}
	return (limits.LostPadDays*lost + repourDays*any) / members
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
	c := counted{pads: [2][]float64{make([]float64, n), make([]float64, n)}}
	stop := [2][]float64{make([]float64, n+1), make([]float64, n+1)}
	strip := 0.0
	for m := range b.f.Weather.Members {
		w := &b.f.Weather.Members[m]
		reach := b.f.line.LayOut(b.f.Crew, d.Hours, d.Starts[i], order, w.Track, nil, b.f.clearing(d.Starts[i]), r)
		k := 0
		if b.rains(day, m) {
			k = 1
		}
		c.members[k]++
		placed := b.placed(w, min(n, reach))
		none := 1.0
		for j := range min(n, reach) {
			lost, stripped := b.loses(w, reach, j)
			if m == 0 || w.Track == d.Track {
				strip = max(strip, stripped)
			}
			c.pads[k][j] += lost
			if j < placed {
				c.lost[k] += lost
				none *= 1 - lost
			}
		}
		c.any[k] += 1 - none
		stop[k][placed]++
	}
	for r := range stop {
		for k := range stop[r] {
			stop[r][k] /= max(1, c.members[r])
		}
		if c.members[r] == 0 {
			stop[r][n] = 1
		}
	}
	b.stops[key], b.strips[key] = stop, strip
	limits := b.f.Spec.Limits
	b.harm[key] = [3]float64{c.part(0, limits) + pourDays, c.whole(limits) + pourDays, c.part(1, limits) + pourDays}
	return b.harm[key]
}

// placed is how many of n pads are placed in a member before it rains, or will
// within the hour.
func (b *brute) placed(w *forecast.Weather, n int) int {
	for j := range n {
		if h := int(b.f.line.Place0[j] / 60); w.RainMM[h] >= 0.25 || w.RainMM[h+1] >= 0.25 {
			return j
		}
	}
	return n
}

// loses is how much of the j-th of reach pads a member loses, and when it is
// stripped. A slab between two hours lies between those placed in them.
func (b *brute) loses(w *forecast.Weather, reach, j int) (lost, strip float64) {
	from := b.f.line.Place0[j]
	behave := func(hour int) *concrete.Behaviour {
		return b.f.Job.Slabs.Behave(slabs.Query{
			Track:  w.Track,
			Kind:   slabs.Kind{Thickness: unit.Metres(b.f.Pads[0].ThicknessM)},
			Placed: b.f.Start.Add(time.Duration(hour) * time.Hour),
		})
	}
	slab, next := behave(int(from/60)), behave(int(from/60)+1)
	part := from/60 - math.Floor(from/60)
	set := from + slab.InitialSet.Minutes()*(1-part) + next.InitialSet.Minutes()*part
	for h := int(from / 60); float64(h)*60 < set; h++ {
		switch rain := w.RainMM[h]; {
		case rain >= 2.5:
			lost = 1
		case rain >= 0.25 && float64(h)*60 < b.f.line.Fin1[reach-1][j]:
			lost = max(lost, harm.LightLoses)
		}
	}
	if slab.Freezes || part > 0 && next.Freezes {
		lost = 1
	}
	return lost, from + slab.StripFrom.Minutes()*(1-part) + next.StripFrom.Minutes()*part
}
