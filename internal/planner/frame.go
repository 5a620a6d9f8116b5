package planner

import (
	"context"
	"math"
	"slices"
	"time"

	"dryslot/internal/concrete"
	"dryslot/internal/daylight"
	"dryslot/internal/fault"
	"dryslot/internal/forecast"
	"dryslot/internal/message"
	"dryslot/internal/planner/crewday"
	"dryslot/internal/planner/harm"
	"dryslot/internal/planner/job"
	"dryslot/internal/planner/slabs"
	"dryslot/internal/pour"
	"dryslot/internal/takeoff"
	"dryslot/internal/unit"
)

// startStep is the grid of start times that are tried.
const startStep = 30.0 // minutes

// coarseFrom is how far ahead a morning lies from which on every other start
// is enough: the plan will be made again before it comes.
const coarseFrom = 60 * 60.0 // minutes

// thunderShare is the share of members with thunder over the work from which
// on thunder counts as forecast (judgement).
const thunderShare = 0.1

// frame is a job made ready for planning: times are minutes from the start of
// the scenarios, pads and mornings are numbers.
type frame struct {
	job    *job.Job
	spec   pour.Spec
	zone   *time.Location
	wx     *forecast.Scenarios
	start  time.Time
	now    float64
	crew   crewday.Crew
	kinds  []*crewday.Work
	pads   []slot
	byName map[string]int
	days   []morning
	skies  []sky
	wetAt  []bool // by hour: whether most members have puddles
	halfOf []uint8
	halves int     // 2: chosen on one half of the members, stated from the other; 1: too few members for that
	byTrk  [][]int // members of each track
	risk   float64 // of losing one pad
	padDay float64 // days that a lost pad counts as
	line   *crewday.Timeline
	tabs   map[string]*table
	most   int        // pads that one day's covers reach for; 0: no such bound
	cover  slabs.Kind // cover and water temperature that apply to all pads
	spent  spending
	nodes  map[slabs.Kind]*slabs.Nodes
	budget *budget
}

// slot is one pad of the project.
type slot struct {
	pour.Pad
	kind   *crewday.Work
	class  int // pads of one class are the same to the crew
	form   int // -1: forms of its own
	after  []edge
	litres float64 // of concrete, without waste
	rec    pour.PadRecord
	left   bool // still to be poured
	// Of pads that are placed: when it can be stripped and when it is cured.
	strip, cured float64
}

// edge is an order between two pads.
type edge struct {
	pad   int
	until pour.State
}

// morning is one coming date.
type morning struct {
	date   unit.Date
	light  daylight.Day
	hours  crewday.Hours
	open   float64         // no start before
	off    message.Message // why nobody can work; zero: they can
	starts []float64
	ref    int    // the track with the middling temperature: times shown are its own
	bad    []bool // members with rain in the crew's hours
	noon   float64
	skip   map[int]bool   // pads called off
	carry  []crewday.Soft // pads placed already that wait for their finish
	bags   int            // on hand or delivered by this morning
}

func (f *frame) minute(t time.Time) float64 { return t.Sub(f.start).Minutes() }

func (f *frame) clock(min float64) time.Time {
	return f.start.Add(time.Duration(math.Round(min*60)) * time.Second).In(f.zone)
}

func (f *frame) clockPtr(min float64) *time.Time {
	if math.IsInf(min, 0) || math.IsNaN(min) {
		return nil
	}
	t := f.clock(min)
	return &t
}

// newFrame checks a job and makes it ready. The job has weather.
func newFrame(ctx context.Context, in *job.Job) (*frame, error) {
	return newFrameLike(in, &frame{budget: &budget{ctx: ctx}}, owned{})
}

// newFrameLike makes a job ready that differs from another's in what is tried
// only: members, slabs and budget are shared.
func newFrameLike(in *job.Job, like *frame, o owned) (*frame, error) {
	if err := checkJob(in); err != nil {
		return nil, err
	}
	f := &frame{job: in, spec: in.Spec, zone: in.Zone, wx: in.Weather, start: in.Weather.Start,
		tabs: map[string]*table{}, byName: map[string]int{}}
	f.now = f.minute(in.Now)
	f.risk, f.padDay = f.spec.Limits.RainRisk, f.spec.Limits.LostPadDays
	f.whatIf()
	f.lay(o)
	f.crew = crewday.Crew{People: f.spec.Crew.People, SetUp: f.spec.Crew.SetUpMin, CleanUp: f.spec.Crew.CleanUpMin}
	f.line, f.budget = crewday.NewTimeline(f.crew.People), like.budget
	if like.skies != nil {
		f.skies, f.wetAt, f.byTrk, f.halves, f.halfOf, f.nodes = like.skies, like.wetAt, like.byTrk, like.halves, like.halfOf, like.nodes
	} else {
		f.nodes = map[slabs.Kind]*slabs.Nodes{}
		f.index()
	}
	if err := f.slots(); err != nil {
		return nil, err
	}
	f.mornings()
	return f, nil
}

func checkJob(j *job.Job) error {
	var bad fault.List
	if j.Zone == nil {
		bad.Add("zone", "", "must be given")
	}
	if len(j.Days) < 2 {
		bad.Add("days", "", "must be today and at least one more")
	}
	if j.Now.IsZero() {
		bad.Add("now", "", "must be given")
	}
	if len(j.Spec.Pads) == 0 {
		bad.Add("pads", "[]", "must hold at least one pad")
	}
	if j.Weather != nil {
		if j.Slabs == nil {
			bad.Add("slabs", "", "must be given with the weather")
		}
		if len(j.Weather.Members) == 0 || j.Weather.Hours <= 0 {
			bad.Add("weather", "", "must have members and hours")
		}
	}
	return bad.Err("this job can't be planned")
}

// whatIf applies the change that is tried.
func (f *frame) whatIf() {
	w := f.job.WhatIf
	if w == nil {
		return
	}
	if w.People != nil {
		f.spec.Crew.People = *w.People
	}
	if w.EarliestStart != nil {
		f.spec.Crew.EarliestStart = *w.EarliestStart
	}
	if w.WaterTemperatureC != nil {
		f.cover.WaterC = unit.Some(*w.WaterTemperatureC)
	}
	if w.Cover != nil && *w.Cover != "none" {
		f.cover.Cover = *w.Cover
		f.cover.CoverR = f.coverResistance(*w.Cover)
	}
}

func (f *frame) coverResistance(kind string) float64 {
	for _, c := range f.spec.Stock.Covers {
		if c.Kind == kind && c.ResistanceM2KW != nil {
			return *c.ResistanceM2KW
		}
	}
	if kind == "blanket" {
		return concrete.BlanketM2KW
	}
	return 0
}

// index makes the members ready.
func (f *frame) index() {
	limits := harm.Rain(f.spec.Limits.Harm)
	x := slabs.Shared(f.job.Slabs, membersKey{f.wx, limits}, func() members { return f.ready(limits) })
	f.skies, f.byTrk, f.wetAt = x.skies, x.byTrk, x.wetAt
	f.halves = 2
	if len(f.skies) < fewMembers {
		f.halves = 1
	}
	f.split()
	stating := 0
	for m := range f.skies {
		stating += f.half(m)
	}
	if least := (len(f.skies) + leastShare - 1) / leastShare; f.halves == 2 && (stating < least || len(f.skies)-stating < least) {
		f.halves, f.halfOf = 1, make([]uint8, len(f.skies))
	}
}

// members is what is made ready of a weather's members, once for all plans.
type members struct {
	skies []sky
	byTrk [][]int
	wetAt []bool
}

type membersKey struct {
	wx     *forecast.Scenarios
	limits harm.RainLimits
}

func (f *frame) ready(limits harm.RainLimits) members {
	x := members{skies: make([]sky, len(f.wx.Members)), byTrk: make([][]int, f.wx.Tracks), wetAt: make([]bool, f.wx.Hours+puddleHours)}
	for m := range f.wx.Members {
		x.skies[m] = index(&f.wx.Members[m], f.wx.Hours, f.wx.WetMM, limits)
		k := f.wx.Members[m].Track
		x.byTrk[k] = append(x.byTrk[k], m)
	}
	for h := range x.wetAt {
		n := 0
		for m := range x.skies {
			n += flag(x.skies[m].puddled(h))
		}
		x.wetAt[h] = 2*n >= len(x.skies) && n > 0
	}
	return x
}

// fewMembers are too few to be halved: the half of 31 tells a chance in steps of
// 7 %, so that one member more or less turns a plan round. Such chances are
// chosen by and stated from all members (judgement).
const fewMembers = 40

// leastShare: with fewer than one in so many of the members in a half, as where
// all bring the same rain or lack the same hours, nothing can be stated from it
// and all are counted (judgement).
const leastShare = 4

// nodesFor returns the slabs of a kind.
func (f *frame) nodesFor(k slabs.Kind) *slabs.Nodes {
	n, ok := f.nodes[k]
	if !ok {
		n = slabs.NodesOf(f.job.Slabs, slabs.Grid{Start: f.start, Hours: f.wx.Hours, Tracks: f.wx.Tracks}, k)
		f.nodes[k] = n
	}
	return n
}

// slots numbers the pads and groups them by what they ask of the crew.
func (f *frame) slots() error {
	type key struct {
		bags        int
		thick, area float64
	}
	classes := map[key]int{}
	only := map[string]bool{}
	if w := f.job.WhatIf; w != nil {
		for _, p := range w.Pads {
			only[p] = true
		}
	}
	forms := map[string]int{}
	for i, s := range f.spec.FormSets {
		forms[s.Name] = i
	}
	records := map[string]pour.PadRecord{}
	for _, r := range f.job.Records {
		records[r.Pad] = r
	}
	for i, p := range f.spec.Pads {
		f.byName[p.Name] = i
	}
	thickness := f.thicknesses()
	f.pads = make([]slot, len(f.spec.Pads))
	for i, p := range f.spec.Pads {
		s := &f.pads[i]
		litres := takeoff.PadVolumeL(f.spec, p)
		bags := takeoff.BagsFor(f.spec, litres)
		k := key{bags, thickness(p.ThicknessM), p.AreaM2()}
		c, ok := classes[k]
		if !ok {
			c = len(f.kinds)
			classes[k] = c
			f.kinds = append(f.kinds, f.workOf(p, unit.Metres(k.thick), bags, litres))
		}
		*s = slot{Pad: p, class: c, kind: f.kinds[c], litres: litres, form: -1, rec: records[p.Name], strip: math.Inf(1), cured: math.Inf(1)}
		s.left = !poured(s.rec.State) && (len(only) == 0 || only[p.Name])
		if p.FormSet != nil {
			n, ok := forms[*p.FormSet]
			if !ok {
				return &fault.Error{Kind: fault.Invalid, Message: "this job can't be planned",
					Fields: []fault.Field{{Path: "pads." + p.Name + ".form_set", Value: *p.FormSet, Rule: fault.RuleOf(pour.FormSetUnknown)}}}
			}
			s.form = n
		}
		for _, a := range p.After {
			j, ok := f.byName[a.Pad]
			if !ok {
				return &fault.Error{Kind: fault.Invalid, Message: "this job can't be planned",
					Fields: []fault.Field{{Path: "pads." + p.Name + ".after", Value: a.Pad, Rule: fault.RuleOf(pour.PadUnknown)}}}
			}
			s.after = append(s.after, edge{j, a.Until})
		}
		f.placedBefore(s)
	}
	return nil
}

// Of more than mostThicknesses different thicknesses, each slab is worked out as
// that of the nearest multiple of thicknessStep. Between two of those the times
// of finishing differ by less than the hours' grid leaves open (measured).
const (
	mostThicknesses = 12
	thicknessStep   = 0.005 // m
)

// thicknesses returns which thickness in m a pad's slab is worked out for.
func (f *frame) thicknesses() func(float64) float64 {
	seen := map[float64]bool{}
	for _, p := range f.spec.Pads {
		seen[p.ThicknessM] = true
	}
	if len(seen) <= mostThicknesses {
		return func(m float64) float64 { return m }
	}
	return func(m float64) float64 { return max(1, math.Round(m/thicknessStep)) * thicknessStep }
}

func poured(s pour.State) bool {
	return s == pour.Placed || s == pour.Finished || s == pour.Stripped || s == pour.Cured
}

// finishShare is how long one pad's finishing may take before more people
// share it (common practice: a surface is finished in one go).
const finishShare = 45.0 // minutes

func (f *frame) workOf(p pour.Pad, thickness unit.Metres, bags int, litres float64) *crewday.Work {
	c := f.spec.Crew
	kind := f.cover
	kind.Thickness = thickness
	w := &crewday.Work{ML: int(litres * 1000), Place: float64(bags)/c.BagsPerHour*60 + c.StrikeOffMinPerM2*p.AreaM2(), Finish: c.FinishMinPerM2 * p.AreaM2(),
		Slabs: f.nodesFor(kind)}
	w.Finishers = max(1, min(c.People, int(math.Ceil(w.Finish/finishShare))))
	if f.cover.Cover != "" {
		w.Cover = crewday.CoverMin
	}
	return w
}

// placedBefore sets when a pad that is placed can be stripped, and is cured.
func (f *frame) placedBefore(s *slot) {
	switch s.rec.State {
	case pour.Cured:
		s.strip, s.cured = math.Inf(-1), math.Inf(-1)
		return
	case pour.Stripped:
		s.strip = math.Inf(-1)
	case pour.Placed, pour.Finished:
	default:
		return
	}
	if s.rec.PlacedAt == nil {
		return
	}
	at := f.minute(*s.rec.PlacedAt)
	// A pad placed before the weather begins is taken to have had the weather
	// of the same hours of the first days known.
	from := at
	for from < 0 {
		from += 24 * 60
	}
	b := s.kind.Slabs.Whole(f.middleTrack(from), from)
	if s.strip > 0 {
		s.strip = at + b.Strip
	}
	s.cured = at + b.Cured
}

// middleTrack returns the track whose mean air temperature over the day from a
// minute on is the middle one.
func (f *frame) middleTrack(from float64) int {
	type warm struct {
		track int
		mean  float64
	}
	var all []warm
	a := max(0, min(hourOf(from), f.wx.Hours-1))
	for k, ms := range f.byTrk {
		if len(ms) == 0 {
			continue
		}
		air := f.wx.Members[ms[0]].AirC
		sum, n := 0.0, 0
		for h := a; h < min(a+12, len(air)); h++ {
			if !math.IsNaN(air[h]) {
				sum += air[h]
				n++
			}
		}
		if n > 0 {
			all = append(all, warm{k, sum / float64(n)})
		}
	}
	if len(all) == 0 {
		return f.wx.Members[0].Track
	}
	slices.SortStableFunc(all, func(a, b warm) int {
		if a.mean < b.mean {
			return -1
		} else if a.mean > b.mean {
			return 1
		}
		return a.track - b.track
	})
	return all[len(all)/2].track
}
