package policy

import (
	"maps"
	"math"
	"slices"

	"dryslot/internal/planner/crewday"
	"dryslot/internal/planner/harm"
	"dryslot/internal/planner/slabs"
)

// threat is what spoils a pad in some members.
type threat uint8

const (
	NoThreat threat = iota
	RainOnSoft
	LightRain
	Frost
	Unfinishable
	UnknownRain
	FrozenBase
)

// tally is one pad's day counted over the members.
type tally struct {
	Slab           slabs.Slab // in the middle track
	Lost           float64
	Unharmed       float64 // as stated
	Dry, Inspect   float64
	InspectRain    float64 // of Inspect, for rain; the two overlap
	InspectDrying  float64
	By             [FrozenBase + 1]int // members, by what most threatens it
	FirstHour      int                 // of the rain that reaches it
	Place0, Place1 float64
	From, Until    float64
	Fin0, Fin1     float64
}

// DayWork is a day's work in all its times and chances.
type DayWork struct {
	Day      int
	Start    float64
	End      float64
	Pads     []int
	Tally    []tally
	Unharmed float64 // none of them lost, as stated
	AnyDry   float64 // all of them dry
	Puddles  int     // members with puddles on the base
	Thunder  int     // members with thunder over the work
	Unknown  bool
	carry    []crewday.Soft
	rule     crewday.Rule
}

// Detail works out a day's pads in order, begun at a start. The day is one
// that a table found feasible.
func (f *Prepared) Detail(day int, start float64, pads []int, r crewday.Rule) *DayWork {
	d := &f.Days[day]
	order := make([]*crewday.Work, len(pads))
	for i, p := range pads {
		order[i] = f.Pads[p].Kind
	}
	n := f.line.LayOut(f.Crew, d.Hours, start, order, d.Track, d.carry, f.clearing(start), r)
	out := &DayWork{Day: day, Start: start, Pads: pads[:n], Tally: make([]tally, n), rule: r, carry: d.carry}
	if n == 0 {
		return out
	}
	out.End = f.line.End[n-1]
	for j := range out.Tally {
		t := &out.Tally[j]
		t.Place0, t.Place1, t.From, t.Until = f.line.Place0[j], f.line.Place1[j], f.line.From[j], f.line.Until[j]
		t.Fin0, t.Fin1 = f.line.Fin0[n-1][j], f.line.Fin1[n-1][j]
		t.Slab = order[j].Slabs.Whole(d.Track, t.Place0)
		out.Unknown = out.Unknown || t.Slab.Unknown
	}
	f.overMembers(out, d, order[:n], start, r)
	return out
}

// memberSums are counts over the members on the way to a day's chances.
type memberSums struct {
	hours             []map[int]int // by pad: members by the hour of the rain that reaches it
	lost              []float64     // by pad, over the stating members
	anyLost           float64       // chance that any pad is lost, summed over the stating members
	stating, dryToAll float64       // members
}

// overMembers counts a day's harm over the members.
func (f *Prepared) overMembers(out *DayWork, d *Day, order []*crewday.Work, start float64, r crewday.Rule) {
	n := len(order)
	sums := memberSums{hours: make([]map[int]int, n), lost: make([]float64, n)}
	for j := range sums.hours {
		sums.hours[j] = map[int]int{}
	}
	var exp []exposed
	for k, members := range f.MembersOf {
		if len(members) == 0 {
			continue
		}
		reach := f.line.LayOut(f.Crew, d.Hours, start, order, k, d.carry, f.clearing(start), r)
		exp = f.expose(k, order, reach, exp)
		ice := f.Frozen(k, start+f.Crew.SetUp)
		for _, m := range members {
			s := &f.Skies[m]
			if harm.Puddled(s.rain, HourOf(start)) && f.baseCover() == "" {
				out.Puddles++
			}
			if s.Thunder.Before(HourOf(start), min(HourAfter(out.End), f.Weather.Hours)) {
				out.Thunder++
			}
			f.addMember(out, &sums, m, exp, reach, ice)
		}
	}
	for j := range n {
		t := &out.Tally[j]
		t.Unharmed = 1 - sums.lost[j]/sums.stating
		t.FirstHour = firstOf(sums.hours[j])
	}
	out.Unharmed = 1 - sums.anyLost/sums.stating
	out.AnyDry = sums.dryToAll / float64(len(f.Skies))
}

// addMember adds what one member does to a day's pads.
func (f *Prepared) addMember(out *DayWork, sums *memberSums, m int, exp []exposed, reach int, ice bool) {
	total := float64(len(f.Skies))
	stating := f.halves == 1 || f.half(m) == 1
	none, dry := 1.0, true
	for j := range sums.lost {
		t := &out.Tally[j]
		h := f.harm(&f.Skies[m], exp, j, reach, ice, f.Cover.Cover != "")
		t.Lost += h.lost / total
		none *= 1 - h.lost
		if stating {
			sums.lost[j] += h.lost
		}
		if h.why != NoThreat {
			t.By[h.why]++
		}
		if h.hour >= 0 {
			sums.hours[j][h.hour]++
		}
		if h.wet {
			dry = false
		} else {
			t.Dry += 1 / total
		}
		left := (1 - h.lost) / total
		if h.rained || h.dried {
			t.Inspect += left
		}
		if h.rained {
			t.InspectRain += left
		}
		if h.dried {
			t.InspectDrying += left
		}
	}
	if dry {
		sums.dryToAll++
	}
	if stating {
		sums.stating++
		sums.anyLost += 1 - none
	}
}

// firstOf returns the hour by which a tenth of what was counted has begun, so
// that one early shower does not stand for all (judgement); -1: nothing was.
func firstOf(count map[int]int) int {
	total := 0
	for _, n := range count {
		total += n
	}
	seen := 0
	for _, h := range slices.Sorted(maps.Keys(count)) {
		if seen += count[h]; 10*seen >= total {
			return h
		}
	}
	return -1
}

// harmed is what one member does to a pad.
type harmed struct {
	lost   float64 // chance that it is lost; on a frozen base 1
	why    threat  // the main reason
	hour   int     // of the rain that reaches it first; -1: none
	wet    bool    // the feed's wet event comes before it sets
	rained bool    // to be looked at again for rain
	dried  bool    // the same for drying
}

// harm returns what one member does to a day's pad j. What can't be finished is
// not begun.
func (f *Prepared) harm(s *sky, exp []exposed, j, reach int, ice, covered bool) harmed {
	switch {
	case ice:
		return harmed{lost: 1, why: FrozenBase, hour: -1, wet: true}
	case j >= reach:
		return harmed{why: Unfinishable, hour: -1, wet: true}
	}
	e := &exp[j]
	finished := f.line.Fin1[reach-1][j]
	h := harmed{lost: f.loss(s, e, finished, covered), wet: s.wet.Before(e.from, e.initial), hour: -1}
	switch {
	case e.gone:
		h.why = Frost
		return h
	case h.lost == 1 && s.Unknown.Before(e.from, e.initial):
		h.why = UnknownRain
		return h
	case h.lost == 1:
		h.why = RainOnSoft
		if e.from < len(s.harm) {
			h.hour = int(s.harm[e.from])
		}
	case h.lost > 0:
		h.why = LightRain
		h.hour = int(s.Light[e.from])
	}
	h.dried = e.inspect
	h.rained = s.Light.Before(e.from, e.initial) && !covered || s.heavy.Before(e.initial, min(e.final, f.Weather.Hours))
	return h
}

func Round4(x float64) float64 { return math.Round(x*1e4) / 1e4 }

// Binding returns the pad of a day that is most at risk, the last to set where
// none is; -1 when there is none.
func (d *DayWork) Binding() int {
	best := -1
	for j := range d.Tally {
		if best < 0 || d.Tally[j].Lost > d.Tally[best].Lost+1e-12 || d.Tally[best].Lost == 0 && d.Tally[j].Lost == 0 {
			best = j
		}
	}
	return best
}

// Worst returns what threatens a pad in the most members, and in how many.
func (t *tally) Worst() (threat, int) {
	worst, most := NoThreat, 0
	for w := RainOnSoft; w <= FrozenBase; w++ {
		if t.By[w] > most {
			worst, most = w, t.By[w]
		}
	}
	if (worst == RainOnSoft || worst == LightRain) && t.By[RainOnSoft] > 0 {
		return RainOnSoft, t.By[RainOnSoft] + t.By[LightRain]
	}
	return worst, most
}
