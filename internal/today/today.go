// Package today owns the answer for one minute of a day: what to do now, what
// to do next and by when, what rain is to be expected, and what the log leaves
// open. It is a pure function of what it is given: it has no clock, does no I/O
// and keeps nothing. What to do with the pads not begun is decided by the
// planner, from hour to hour, through Decider.
//
//	now, err := today.Of(ctx, today.Given{Spec: spec, State: state, Now: at,
//
// Zone: zone, Steps: steps, Decider: workday})
package today

import (
	"context"
	"time"

	"dryslot/internal/forecast/belief"
	"dryslot/internal/history"
	"dryslot/internal/message"
	"dryslot/internal/planner/hourly"
	"dryslot/internal/pour"
)

// Given is all that an answer follows from.
type Given struct {
	Spec  pour.Spec
	State history.State // at Now, with the steps that are taken to have been done
	Now   time.Time
	Zone  *time.Location
	Steps []Step // planned for the date of Now and for the next
	// LastLight is the end of civil light on the date of Now; zero: there is none.
	LastLight time.Time
	// Slab is how a pad behaves that is placed at an instant; false: not known.
	Slab    func(pad string, placed time.Time) (Slab, bool)
	Nowcast belief.Nowcast // what the short-range forecast says; zero: there is none
	Decider Decider        // nil: there is no forecast to decide by
	Air     []Air          // hour by hour from before Now; empty: not known
	// ThunderFrom is the chance of thunder in an hour from which work stops.
	ThunderFrom float64
}

// Step is one pad's part of a planned day.
type Step struct {
	Pad         string    `json:"pad"`
	PlaceFrom   time.Time `json:"place_from"`
	PlaceUntil  time.Time `json:"place_until"`
	FinishFrom  time.Time `json:"finish_from"` // the crew's turn at it; zero: not known
	FinishUntil time.Time `json:"finish_until"`
	// Opens is when the last plan said that the pad's finishing window opens; zero: none said.
	Opens time.Time `json:"opens"`
}

// Slab is how one pad behaves from its placing on. A zero time is not known.
type Slab struct {
	PlacedFrom time.Time // placing began

	InitialSet, FinalSet, FinishFrom, FinishUntil, StripFrom, CuredBy, FrostSafe time.Time
	// UncoverFrom is when the blanket that lies on it may come off: it is safe from
	// frost, in cold weather the protection period is over, and the air is near
	// enough; zero: no blanket, or not within the weather known.
	UncoverFrom time.Time
	// Freezes is the chance, 0 to 1, that it freezes before it is frost-safe as
	// it lies.
	Freezes float64
	// Evaporation is in kg/m2/h at each whole hour after PlacedFrom, until initial set.
	Evaporation []float64
}

// Moment is what is known when something is decided.
type Moment struct {
	Now     time.Time
	SetUp   bool // the crew has set up
	Placed  []Placed
	Raining bool
	Before  [3]float64 // mm in the hour before and the two before that; NaN: not seen
	Nowcast belief.Nowcast
}

// Placed is a pad whose placing has begun on the date.
type Placed struct {
	Pad               string
	At                time.Time
	Finished, Covered bool
}

// Decision is what to do with the pads not begun, and the next of them.
type Decision struct {
	hourly.Decision
	Pad string
}

// Decider decides from hour to hour: the planner's in the service.
type Decider interface {
	// Decide says whether to place the next pad, to wait or to stop.
	Decide(ctx context.Context, at Moment) (Decision, error)
	// Cover says of the soft pads that lie open what covering them now is worth;
	// CoverNow.Pad counts at.Placed.
	Cover(ctx context.Context, at Moment) ([]hourly.CoverNow, error)
	// Rain returns the rain of the coming hours, and for each of some instants
	// the chance that rain reaches open concrete by then.
	Rain(ctx context.Context, at Moment, until []time.Time) ([]Hour, []float64, error)
}

// Hour is the rain of one hour: the chance of 0.25 mm or more, and the mean in mm.
type Hour struct {
	Time   time.Time
	Chance float64
	MM     float64
}

// Phase is how far the day has come.
type Phase string

// The phases of a day.
const (
	Off      Phase = "off"
	Planned  Phase = "planned"
	UnderWay Phase = "under_way"
	Done     Phase = "done"
)

// Do is something to do.
type Do string

// What is advised, and what comes next.
const (
	GoOn       Do = "go_on"
	StartLater Do = "start_later"
	Wait       Do = "wait"
	Cover      Do = "cover" // advice and step
	Stop       Do = "stop"
	None       Do = "none"

	SetUp   Do = "set_up"
	Form    Do = "form"
	Place   Do = "place"
	Finish  Do = "finish"
	Uncover Do = "uncover"
	Damp    Do = "damp"
	Strip   Do = "strip"
	CleanUp Do = "clean_up"
)

// Now is the answer.
type Now struct {
	At        time.Time
	Day       Phase
	Advice    Advice
	Next      []Next // in the order of From, all that begins within Ahead
	Rain      Rain
	Hazards   []Hazard
	Questions []history.Question
	Pads      []history.Pad
	// Begins is when setting up was planned to begin on the date; zero: no start was.
	Begins time.Time
	Logged bool            // the log says that the day has begun, or was called off
	Slabs  map[string]Slab // of the pads placed and not cured, where known
}

// Advice is what to do at this minute.
type Advice struct {
	Do        Do
	Pads      []string  // that it is about
	Until     time.Time // zero: until something happens
	Why       message.Message
	RecheckAt time.Time // when to ask again; zero: nothing is to be expected
}

// Next is one thing to be done. A pad that lies soft is in a finish, a cover or
// both; what is due already has begun to be.
type Next struct {
	Do    Do
	Pads  []string
	From  time.Time
	Until time.Time     // zero: no end
	Late  bool          // Until has passed
	Work  time.Duration // of a finish: how long the crew is at it; 0: not known
	Why   message.Message
}

// Rain is what rain was seen and is to be expected.
type Rain struct {
	Seen    bool // it rains at the place, as was last seen
	Hours   []Hour
	Reaches []Reach
}

// Reach is the chance that rain reaches a pad before it has set, if it lies open.
type Reach struct {
	Pad    string
	Chance float64
}

// Ahead is how far Next reaches: a phone without signal can count down from it.
const Ahead = 36 * time.Hour

// Of answers for one minute. An error is the decider's or the context's.
func Of(ctx context.Context, g Given) (Now, error) {
	d := newDay(&g)
	out := Now{At: g.Now, Day: d.phase(), Questions: g.State.Questions, Pads: g.State.Pads, Slabs: d.slabs}
	out.Rain.Seen = g.State.Day.RainSince != nil
	if err := d.expect(ctx, &out.Rain); err != nil {
		return Now{}, err
	}
	covers, err := d.covers(ctx)
	if err != nil {
		return Now{}, err
	}
	if out.Advice, err = d.advise(ctx, covers); err != nil {
		return Now{}, err
	}
	out.Next = d.next(covers, out.Rain)
	out.Hazards = d.hazards()
	out.Begins, out.Logged = d.begins(), g.State.Day.StartedAt != nil || g.State.Day.Skipped
	return out, nil
}
