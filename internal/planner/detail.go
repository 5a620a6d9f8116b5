package planner

import (
	"maps"
	"math"
	"slices"

	"dryslot/internal/planner/crewday"
	"dryslot/internal/planner/job"
	"dryslot/internal/planner/slabs"
)

// threat is what spoils a pad in some members.
type threat uint8

const (
	noThreat threat = iota
	rainOnSoft
	lightRain
	frost
	unfinishable
	unknownRain
	frozenBase
)

// tally is one pad's day counted over the members.
type tally struct {
	slab           slabs.Slab // in the middle track
	lost           float64
	unharmed       float64 // as stated
	dry, inspect   float64
	by             [frozenBase + 1]int // members, by what most threatens it
	firstHour      int                 // of the rain that reaches it
	place0, place1 float64
	from, until    float64
	fin0, fin1     float64
}

// dayDetail is a day's work in all its times and chances.
type dayDetail struct {
	day      int
	start    float64
	end      float64
	pads     []int
	tally    []tally
	unharmed float64 // none of them lost, as stated
	anyDry   float64 // all of them dry
	puddles  int     // members with puddles on the base
	thunder  int     // members with thunder over the work
	unknown  bool
	carry    []crewday.Soft
	rule     crewday.Rule
}

// detail works out a day's pads in order, begun at a start. The day is one
// that a table found feasible.
func (f *frame) detail(day int, start float64, pads []int, r crewday.Rule) *dayDetail {
	d := &f.days[day]
	order := make([]*crewday.Work, len(pads))
	for i, p := range pads {
		order[i] = f.pads[p].kind
	}
	n := f.line.LayOut(f.crew, d.hours, start, order, d.ref, d.carry, f.clearing(start), r)
	out := &dayDetail{day: day, start: start, pads: pads[:n], tally: make([]tally, n), rule: r, carry: d.carry}
	if n == 0 {
		return out
	}
	out.end = f.line.End[n-1]
	for j := range out.tally {
		t := &out.tally[j]
		t.place0, t.place1, t.from, t.until = f.line.Place0[j], f.line.Place1[j], f.line.From[j], f.line.Until[j]
		t.fin0, t.fin1 = f.line.Fin0[n-1][j], f.line.Fin1[n-1][j]
		t.slab = order[j].Slabs.Whole(d.ref, t.place0)
		out.unknown = out.unknown || t.slab.Unknown
	}
	f.overMembers(out, d, order[:n], start, r)
	return out
}

// overMembers counts a day's harm over the members.
func (f *frame) overMembers(out *dayDetail, d *morning, order []*crewday.Work, start float64, r crewday.Rule) {
	n := len(order)
	total := float64(len(f.skies))
	hours := make([]map[int]int, n)
	for j := range hours {
		hours[j] = map[int]int{}
	}
	var statedAny, statedN, dryAll float64
	statedPad := make([]float64, n)
	var exp []exposed
	covered := f.cover.Cover != ""
	for k, members := range f.byTrk {
		if len(members) == 0 {
			continue
		}
		reach := f.line.LayOut(f.crew, d.hours, start, order, k, d.carry, f.clearing(start), r)
		exp = f.expose(k, order, reach, exp)
		ice := f.frozen(k, start+f.crew.SetUp)
		for _, m := range members {
			s := &f.skies[m]
			if s.puddled(hourOf(start)) {
				out.puddles++
			}
			if s.thunder.before(hourOf(start), min(hourAfter(out.end), f.wx.Hours)) {
				out.thunder++
			}
			none, dry := 1.0, true
			for j := range n {
				t := &out.tally[j]
				l, why, hour, wet, inspect := f.harm(s, exp, j, reach, ice, covered)
				t.lost += l / total
				none *= 1 - l
				if f.halves == 1 || f.half(m) == 1 {
					statedPad[j] += l
				}
				if why != noThreat {
					t.by[why]++
				}
				if hour >= 0 {
					hours[j][hour]++
				}
				if wet {
					dry = false
				} else {
					t.dry += 1 / total
				}
				if inspect && l < 1 {
					t.inspect += (1 - l) / total
				}
			}
			if dry {
				dryAll++
			}
			if f.halves == 1 || f.half(m) == 1 {
				statedN++
				statedAny += 1 - none
			}
		}
	}
	for j := range n {
		t := &out.tally[j]
		t.unharmed = 1 - statedPad[j]/statedN
		t.firstHour = firstOf(hours[j])
	}
	out.unharmed = 1 - statedAny/statedN
	out.anyDry = dryAll / total
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

// harm returns what one member does to a day's pad j: the chance that it is
// lost (what can't be finished, or would lie on a frozen base, is not begun), the main reason, the hour of the rain that reaches it first (-1: none),
// whether the feed's wet event comes before it sets, and whether it is to be
// looked at again.
func (f *frame) harm(s *sky, exp []exposed, j, reach int, ice, covered bool) (lost float64, why threat, hour int, wet, inspect bool) {
	switch {
	case ice:
		return 0, frozenBase, -1, true, false
	case j >= reach:
		return 0, unfinishable, -1, true, false
	}
	e := &exp[j]
	finished := f.line.Fin1[reach-1][j]
	lost = f.loss(s, e, finished, covered)
	wet = s.wet.before(e.from, e.initial)
	hour = -1
	switch {
	case e.gone:
		return lost, frost, -1, wet, false
	case lost == 1 && s.unknown.before(e.from, e.initial):
		return lost, unknownRain, -1, wet, false
	case lost == 1:
		why = rainOnSoft
		if e.from < len(s.harm) {
			hour = int(s.harm[e.from])
		}
	case lost > 0:
		why = lightRain
		hour = int(s.light[e.from])
	}
	inspect = e.inspect || s.light.before(e.from, e.initial) && !covered ||
		s.heavy.before(e.initial, min(e.final, f.wx.Hours))
	return lost, why, hour, wet, inspect
}

// padTimes writes a tally in the public form.
func (f *frame) padTimes(d *dayDetail) []job.PadTimes {
	out := make([]job.PadTimes, len(d.tally))
	for j := range d.tally {
		t := &d.tally[j]
		at := func(after float64) float64 { return t.place0 + after }
		out[j] = job.PadTimes{Pad: f.pads[d.pads[j]].Name, PlaceStart: f.clock(t.place0), PlaceEnd: f.clock(t.place1),
			FinishStart: f.clock(t.fin0), FinishEnd: f.clock(t.fin1), FinishFrom: f.clockPtr(t.from), FinishUntil: f.clockPtr(t.until),
			InitialSet: f.clockPtr(at(t.slab.Initial)), FinalSet: f.clockPtr(at(t.slab.Final)), StripFrom: f.clockPtr(at(t.slab.Strip)),
			WalkFrom: f.clockPtr(at(t.slab.Walk)), CuredBy: f.clockPtr(at(t.slab.Cured)), Cover: f.cover.Cover,
			ChanceUnharmed: round4(t.unharmed), ChanceDry: round4(t.dry), ChanceInspect: round4(t.inspect), ReasonData: f.threatTo(d, j)}
	}
	return out
}

func round4(x float64) float64 { return math.Round(x*1e4) / 1e4 }

// binding returns the pad of a day that is most at risk, the last to set where
// none is; -1 when there is none.
func (d *dayDetail) binding() int {
	best := -1
	for j := range d.tally {
		if best < 0 || d.tally[j].lost > d.tally[best].lost+1e-12 || d.tally[best].lost == 0 && d.tally[j].lost == 0 {
			best = j
		}
	}
	return best
}

func (f *frame) names(pads []int) []string {
	out := make([]string, len(pads))
	for i, p := range pads {
		out[i] = f.pads[p].Name
	}
	return out
}
