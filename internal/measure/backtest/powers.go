package backtest

import (
	"math"

	"dryslot/internal/measure/emulate"
	"dryslot/internal/planner/crewday"
)

// Powers are what everybody has in one table of the back-test.
type Powers struct {
	Nowcast  emulate.NowcastKind
	Covers   int  // pads that plastic sheets cover at a time while they are soft
	Harsh    bool // the harsh reading of what covers save
	Blankets bool // laid over every pad once it is finished
}

// coverMin is what laying a propped sheet over a pad and lifting it for the
// finishing takes, in minutes of one person.
const coverMin = crewday.CoverMin

// Action is what the crew does next.
type Action uint8

// The actions. Whoever waits is asked again at the next whole hour.
const (
	Place Action = iota // set up, or place the next pad
	Wait
	Stop // no more pads today
)

// dayPlan is what is wanted of a day, as known at 05:00.
type dayPlan struct {
	start   float64 // of setting up at the earliest, minute of the record
	pads    []int   // in the order of placing; none: no pour
	stated  []float64
	expect  []planned // the day as it was planned, for the checker; nil: not planned
	end     float64   // of the planned day
	changed bool      // another decision than the evening's
}

// player decides, with the newest information.
type player interface {
	Name() string
	// Morning says what is wanted of day d with a job in a state.
	Morning(s *Site, d int, st *state) (dayPlan, error)
	// Next is asked before setting up, before each pad that could be placed, and
	// at each whole hour of waiting.
	Next(m *moment) Action
	// Cover is asked at each whole hour, when rain begins and after each pad, while
	// sheets are free and soft pads lie open: which of these, as indices of the
	// moment's placed, to lay them over now.
	Cover(m *moment, soft []int) []int
}

// moment is what is known when a decision is made.
type moment struct {
	site   *Site
	day    int
	now    float64 // minute of the record
	powers Powers
	state  *state   // of the job in the morning
	placed []padRun // today's pads so far
	next   []int    // pads still wanted today, in order
	setUp  bool     // the crew has set up
	open   []int    // indices of placed that wait for their finish
	seen   emulate.Seen
	until  float64 // latest finish of the crew's day
}

// hold reports whether rain is seen, or foreseen for the rest of this hour or for
// the next.
func (m *moment) hold() bool {
	return m.seen.Raining || !m.seen.None && (m.seen.Wet(0) || m.seen.Wet(1))
}

// coverWhenHeld lays sheets over all when rain is seen or foreseen within the next hour.
type coverWhenHeld struct{}

func (coverWhenHeld) Cover(m *moment, soft []int) []int {
	if m.hold() {
		return soft
	}
	return nil
}

// nextHour returns the minute at which the next whole hour begins.
func nextHour(now float64) float64 { return (math.Floor(now/60) + 1) * 60 }
