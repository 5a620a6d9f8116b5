package policy

import (
	"context"
	"math"
	"time"

	"dryslot/internal/daylight"
	"dryslot/internal/fault"
	"dryslot/internal/forecast"
	"dryslot/internal/message"
	"dryslot/internal/planner/crewday"
	"dryslot/internal/planner/harm"
	"dryslot/internal/planner/job"
	"dryslot/internal/planner/slabs"
	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

// startStep is the grid of start times that are tried.
const startStep = 30.0 // minutes

// coarseFrom is how far ahead a morning lies from which on every other start
// is enough: the plan will be made again before it comes.
const coarseFrom = 60 * 60.0 // minutes

// ThunderShare is the share of members with thunder over the work from which
// on thunder counts as forecast (judgement).
const ThunderShare = 0.1

// Prepared is a job made ready for planning: times are minutes from the start of
// the scenarios, pads and mornings are numbers.
type Prepared struct {
	Job     *job.Job
	Spec    pour.Spec
	Zone    *time.Location
	Weather *forecast.Scenarios
	Start   time.Time
	Now     float64
	Crew    crewday.Crew
	kinds   []*crewday.Work
	Pads    []slot
	byName  map[string]int
	Days    []Day
	memberIndex
	Risk   float64 // of losing one pad
	padDay float64 // days that a lost pad counts as
	line   *crewday.Timeline
	tabs   map[string]*table
	most   int        // pads that one day's covers reach for; 0: no such bound
	Cover  slabs.Kind // what applies to all pads: covers, water, what is done against drying
	Spent  Spending
	nodes  map[slabs.Kind]*slabs.Nodes
	budget *budget
	rows   map[rowKey][]cell    // of this plan and those made with it
	works  map[crewday.Work]int // numbered, for the keys of rows
}

// memberIndex is the scenarios' members made ready for counting.
type memberIndex struct {
	Skies     []sky
	wetAt     []bool // by hour: whether most members have puddles
	halfOf    []uint8
	halves    int     // 2: chosen on one half of the members, stated from the other; 1: too few members for that
	MembersOf [][]int // members of each track
}

// slot is one pad of the project.
type slot struct {
	pour.Pad
	Kind   *crewday.Work
	Class  int // pads of one class are the same to the crew
	Form   int // -1: forms of its own
	After  []edge
	litres float64 // of concrete, without waste
	Record pour.PadRecord
	Left   bool // still to be poured
	// Of pads that are placed: when it can be stripped and when it is cured.
	Strip, Cured float64
}

// edge is an order between two pads.
type edge struct {
	Pad   int
	Until pour.State
}

// Day is one coming date.
type Day struct {
	Date   unit.Date
	Light  daylight.Day
	Hours  crewday.Hours
	open   float64         // no start before
	Off    message.Message // why nobody can work; zero: they can
	Starts []float64
	Track  int     // the track with the middling temperature: times shown are its own
	bad    []bool  // members with rain in the crew's hours
	rainy  float64 // their share
	Noon   float64
	Skip   map[int]bool   // pads called off
	carry  []crewday.Soft // pads placed already that wait for their finish
	Bags   int            // on hand or delivered by this morning
}

func (f *Prepared) Minute(t time.Time) float64 { return t.Sub(f.Start).Minutes() }

func (f *Prepared) Clock(min float64) time.Time {
	return f.Start.Add(time.Duration(math.Round(min*60)) * time.Second).In(f.Zone)
}

func (f *Prepared) ClockPtr(min float64) *time.Time {
	if math.IsInf(min, 0) || math.IsNaN(min) {
		return nil
	}
	t := f.Clock(min)
	return &t
}

// Prepare checks a job and makes it ready. The job has weather.
func Prepare(ctx context.Context, in *job.Job) (*Prepared, error) {
	return PrepareLike(in, &Prepared{budget: &budget{ctx: ctx}}, Owned{})
}

// PrepareLike makes a job ready that differs from another's in what is tried
// only: members, slabs and budget are shared.
func PrepareLike(in *job.Job, like *Prepared, o Owned) (*Prepared, error) {
	if err := CheckJob(in); err != nil {
		return nil, err
	}
	f := &Prepared{Job: in, Spec: in.Spec, Zone: in.Zone, Weather: in.Weather, Start: in.Weather.Start,
		tabs: map[string]*table{}, byName: map[string]int{}}
	f.Now = f.Minute(in.Now)
	f.Risk, f.padDay = f.Spec.Limits.RainRisk, f.Spec.Limits.LostPadDays
	f.whatIf(o)
	f.Crew = crewday.Crew{People: f.Spec.Crew.People, SetUp: f.Spec.Crew.SetUpMin, CleanUp: f.Spec.Crew.CleanUpMin}
	f.line, f.budget = crewday.NewTimeline(f.Crew.People), like.budget
	if like.Skies != nil {
		f.memberIndex, f.nodes, f.rows, f.works = like.memberIndex, like.nodes, like.rows, like.works
	} else {
		f.nodes, f.rows, f.works = map[slabs.Kind]*slabs.Nodes{}, map[rowKey][]cell{}, map[crewday.Work]int{}
		f.index()
	}
	if err := f.slots(); err != nil {
		return nil, err
	}
	f.mornings()
	return f, nil
}

func CheckJob(j *job.Job) error {
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

// whatIf applies the change that is tried: a changed project.
func (f *Prepared) whatIf(o Owned) {
	w := f.Job.WhatIf
	if w != nil {
		f.Spec = w.Apply(f.Spec)
	}
	f.Cover = slabs.PracticeOf(f.Spec)
	if o.kind != "" {
		f.lay(o)
	}
}

// index makes the members ready.
func (f *Prepared) index() {
	limits := harm.Rain(f.Spec.Limits.Harm)
	x := slabs.Shared(f.Job.Slabs, membersKey{f.Weather, limits}, func() members { return f.ready(limits) })
	f.Skies, f.MembersOf, f.wetAt = x.skies, x.byTrk, x.wetAt
	f.halves = 2
	if len(f.Skies) < fewMembers {
		f.halves = 1
	}
	f.split()
	stating := 0
	for m := range f.Skies {
		stating += f.half(m)
	}
	least := (len(f.Skies) + leastShare - 1) / leastShare
	if f.halves == 2 && (stating < least || len(f.Skies)-stating < least) {
		f.halves, f.halfOf = 1, make([]uint8, len(f.Skies))
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

func (f *Prepared) ready(limits harm.RainLimits) members {
	x := members{skies: make([]sky, len(f.Weather.Members)), byTrk: make([][]int, f.Weather.Tracks),
		wetAt: make([]bool, f.Weather.Hours+harm.PuddleHours)}
	for m := range f.Weather.Members {
		x.skies[m] = index(&f.Weather.Members[m], f.Weather.Hours, f.Weather.WetMM, limits)
		k := f.Weather.Members[m].Track
		x.byTrk[k] = append(x.byTrk[k], m)
	}
	for h := range x.wetAt {
		n := 0
		for m := range x.skies {
			n += Flag(harm.Puddled(x.skies[m].rain, h))
		}
		x.wetAt[h] = 2*n >= len(x.skies) && n > 0
	}
	return x
}

// fewMembers are too few to be halved: the half of 31 gives a chance in steps of
// 7 %, so that one member more or less turns a plan round. Such chances are
// chosen by and stated from all members (judgement).
const fewMembers = 40

// leastShare: with fewer than one in so many of the members in a half, as where
// all bring the same rain or lack the same hours, nothing can be stated from it
// and all are counted (judgement).
const leastShare = 4

// nodesFor returns the slabs of a kind.
func (f *Prepared) nodesFor(k slabs.Kind) *slabs.Nodes {
	n, ok := f.nodes[k]
	if !ok {
		n = slabs.NodesOf(f.Job.Slabs, slabs.Grid{Start: f.Start, Hours: f.Weather.Hours, Tracks: f.Weather.Tracks}, k)
		f.nodes[k] = n
	}
	return n
}

// Of more than mostThicknesses different thicknesses, each slab is worked out as
// that of the nearest multiple of thicknessStep. Between two of those the times
// of finishing differ by less than the hours' grid leaves open (measured).
const (
	mostThicknesses = 12
	thicknessStep   = 0.005 // m
)

// finishShare is how long one pad's finishing may take before more people
// share it (common practice: a surface is finished in one go).
const finishShare = 45.0 // minutes

// middleTrack returns the middle track of the date that a minute lies in.
func (f *Prepared) middleTrack(at float64) int {
	return f.Weather.MiddleTrack(unit.DateOf(f.Start.Add(time.Duration(at*float64(time.Minute))), f.Zone), f.Zone)
}
