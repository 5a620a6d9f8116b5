package hourly

import (
	"fmt"
	"math"

	"dryslot/internal/fault"
	"dryslot/internal/forecast/belief"
	"dryslot/internal/planner/harm"
)

// Placed is a pad laid out in a crew's day; minutes from the day's first hour.
type Placed struct {
	Place  float64 // placing begins
	Finish float64 // finishing ends
	Set    float64 // initial set: until then it is soft
	// Chance that frost spoils it before it is frost-safe: as it lies, and
	// under a blanket, 0 to 1.
	Frost, FrostBlanket float64
}

// Run is the pads not begun, in their order, laid out from a minute on: as
// many as can be finished in their windows, the light and the crew's hours.
type Run struct {
	Begin float64
	Pads  []Placed
	More  bool // more could be done than Pads once they are ready (Day.Ready)
}

// Soft is a pad that has been placed and has not set.
type Soft struct {
	Finish, Set float64
	Covered     bool
}

// Member is one of the weathers believed in, hour by hour.
type Member struct {
	Weight  float64
	RainMM  []float64 // NaN is unknown and counts as rain that spoils
	Thunder []bool    // nil: none
}

// Costs are what an hour's decision is weighed by, in days.
type Costs struct {
	LostPad    float64 // besides what is left to do
	InspectPad float64
	WaitedHour float64 // once a pad has been placed
	CoverHour  float64 // an hour of one person's work at covering
	LeastGain  float64 // what waiting must gain over placing now: less is not worth standing about
}

// WaitedDays is what an hour of waiting with the crew there counts as, in days
// (judgement, so that it is not free).
const WaitedDays = 0.1

// Covers are what the crew has to lay over soft pads.
type Covers struct {
	Pads       int     // that it can lay over at a time; 0: none owned
	MinutesPad float64 // of work
}

// Day is what there is to decide on. Hours count from the day's first hour,
// which is the members' first.
type Day struct {
	Now     float64     // minutes
	Seen    belief.Seen // what has been seen at the place; its Hour is that of Now
	Runs    []Run       // the first begins now, the others at the whole hours after; begins ascend
	Placed  int         // pads placed today already
	Soft    []Soft
	Members []Member // weighted by what is known now
	Channel *belief.Channel
	// Ready is the minute from which each pad of the order may be placed: what
	// it waits for is stripped; nil: all may be now.
	Ready []float64
	// Left is the expected loss from tomorrow on: by the hour in which the last
	// pad is placed, counted from the present one, the last row for all later
	// hours; then by how many pads of the runs stand tonight, none to all. Pads
	// placed later are stripped later, and hold up tomorrow's. Ascending losses
	// are allowed.
	Left     [][]float64
	Costs    Costs
	Harm     harm.SoftPad
	Covers   Covers  // plastic on props, against rain
	Blankets Covers  // against frost
	RainRisk float64 // most chance of being lost at which a pad is placed; 1: no limit
}

// Most that a day may hold, so that work is bounded.
const (
	mostMembers = 1000
	mostHours   = 72
	mostRuns    = 24
	mostPads    = 64
)

func (d *Day) check() error {
	const refused = "this day can't be decided on"
	var bad fault.List
	if n := len(d.Members); n < 1 || n > mostMembers {
		bad.Add("Members", fmt.Sprint(n), fmt.Sprintf("must be between 1 and %d", mostMembers))
		return bad.Err(refused)
	}
	d.checkMembers(&bad)
	if d.Channel == nil {
		bad.Add("Channel", "none", "must be given")
	}
	d.checkRuns(&bad)
	d.checkLeft(&bad)
	if !(d.RainRisk > 0 && d.RainRisk <= 1) {
		bad.Add("RainRisk", fmt.Sprint(d.RainRisk), "must be above 0 and not above 1")
	}
	return bad.Err(refused)
}

func (d *Day) checkMembers(bad *fault.List) {
	hours, sum := len(d.Members[0].RainMM), 0.0
	for i := range d.Members {
		m := &d.Members[i]
		if len(m.RainMM) != hours || m.Thunder != nil && len(m.Thunder) != hours {
			bad.Add(fmt.Sprintf("Members[%d]", i), fmt.Sprint(len(m.RainMM)), "must have as many hours as the first")
		}
		if !(m.Weight >= 0) {
			bad.Add(fmt.Sprintf("Members[%d].Weight", i), fmt.Sprint(m.Weight), "must not be negative")
		}
		sum += m.Weight
	}
	if !(math.Abs(sum-1) < 1e-6) {
		bad.Add("Members.Weight", fmt.Sprint(sum), "must sum to 1")
	}
	if hours > mostHours || !(d.Now >= 0 && d.Now < float64(60*hours)) {
		bad.Add("Now", fmt.Sprint(d.Now), fmt.Sprintf("must lie within the members' hours, at most %d", mostHours))
	}
}

func (d *Day) checkRuns(bad *fault.List) {
	if len(d.Runs) > mostRuns {
		bad.Add("Runs", fmt.Sprint(len(d.Runs)), fmt.Sprintf("must be at most %d", mostRuns))
	}
	for i, r := range d.Runs {
		if i > 0 && !(r.Begin > d.Runs[i-1].Begin) {
			bad.Add(fmt.Sprintf("Runs[%d].Begin", i), fmt.Sprint(r.Begin), "must be later than the one before")
		}
		for k, p := range r.Pads {
			if !(p.Place >= r.Begin && p.Finish >= p.Place && p.Set >= p.Place) {
				bad.Add(fmt.Sprintf("Runs[%d].Pads[%d]", i, k), fmt.Sprint(p),
					"must be placed after the run begins, and finish and set after that")
			}
			if !(p.Frost >= 0 && p.Frost <= 1 && p.FrostBlanket >= 0 && p.FrostBlanket <= 1) {
				bad.Add(
					fmt.Sprintf("Runs[%d].Pads[%d].Frost", i, k),
					fmt.Sprint(p.Frost, p.FrostBlanket),
					"must be chances, 0 to 1",
				)
			}
		}
	}
}

func (d *Day) checkLeft(bad *fault.List) {
	most := 0
	for _, r := range d.Runs {
		most = max(most, len(r.Pads))
	}
	for i, row := range d.Left {
		if len(row) <= most || len(row) != len(d.Left[0]) {
			bad.Add(fmt.Sprintf("Left[%d]", i), fmt.Sprint(len(row)),
				fmt.Sprintf("must have a value for none to %d pads", min(most, mostPads)))
		}
	}
	if most > mostPads || len(d.Left) == 0 {
		bad.Add("Left", fmt.Sprint(len(d.Left)), fmt.Sprintf("must have a row, and be of at most %d pads", mostPads))
	} else if d.Ready != nil && len(d.Ready) != len(d.Left[0])-1 {
		bad.Add("Ready", fmt.Sprint(len(d.Ready)), "must have a minute for each pad of the order")
	}
}

// left returns the loss from tomorrow on when the last pad is placed so many
// hours after the present one and a number of pads stand, between whole numbers
// in a straight line: of the pads placed some are lost by chance.
func (d *Day) left(hour int, stand float64) float64 {
	row := d.Left[min(max(hour, 0), len(d.Left)-1)]
	stand = max(stand, 0)
	k := int(stand)
	if k+1 >= len(row) {
		return row[len(row)-1]
	}
	w := stand - float64(k)
	return row[k]*(1-w) + row[k+1]*w
}

// pads is how many pads the order has.
func (d *Day) pads() int { return len(d.Left[0]) - 1 }

// ready reports whether a pad of the order may be placed at a minute.
func (d *Day) ready(pad int, at float64) bool { return d.Ready == nil || d.Ready[pad] <= at }
