// Package history owns the replay of a project's log: from the set of entries
// to the state of each pad and of the day. It is a pure function of that set:
// entries count in the order of when they happened, of their kind and of their
// id, never in that of their arrival. It has no clock and does no I/O, and says
// everything as codes and figures.
//
//	state := history.Replay(history.Given{Spec: spec, Log: log, Now: now, Zone: zone, Rain: limits})
//	refused := history.Check(given, entry).Refused
//
// An entry that voids another (undone) takes it out of the replay wherever it
// stands, also when it arrives first. What was built on the voided entry is
// neither dropped nor guessed: it waits, is named, and is asked about. An entry
// whose predecessor is missing (finished, and nothing placed yet) implies it.
// One that contradicts the others changes nothing, and Check refuses it.
package history

import (
	"time"

	"dryslot/internal/message"
	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

// Given is all that a state follows from.
type Given struct {
	Spec  pour.Spec
	Log   []pour.LogEntry // in any order
	Steps []Step          // planned, taken to have been done unless the log says otherwise
	Now   time.Time       // entries and steps after it are passed over
	Zone  *time.Location
	Rain  RainLimits
	// SetTime is when a pad placed at an instant sets, asked where no entry keeps
	// it: of placings that are implied or assumed, and of entries of before set
	// times were kept. nil: not known, and such a pad counts as soft.
	SetTime func(pad string, placed time.Time) pour.SetTime
	// CuredAt is when a pad placed at an instant has cured, the zero time where
	// that is not known. nil: nothing is cured.
	CuredAt func(pad string, placed time.Time) time.Time
}

// RainLimits are the depths of rain within an hour that matter, in mm.
type RainLimits struct {
	TellsMM  float64 // less than this marks nothing
	SpoilsMM float64 // this or more loses a soft pad
	MarksMM  float64 // this or more may mark a setting pad
}

// Step is one planned step of a pad: placed or finished.
type Step struct {
	Pad  string
	Kind pour.EntryKind
	At   time.Time
}

// Phase is how far a pad's concrete has come.
type Phase string

// The phases. Soft is before initial set, setting before final set.
const (
	Waiting  Phase = "waiting"
	Formed   Phase = "formed"
	Placing  Phase = "placing"
	Soft     Phase = "soft"
	Setting  Phase = "setting"
	Hard     Phase = "hard"
	Stripped Phase = "stripped"
	Cured    Phase = "cured"
	Lost     Phase = "lost"
)

// State is what the log comes to.
type State struct {
	Pads      []Pad // in the order of the spec's pads
	Day       Day
	Outcomes  []Outcome // what became of each entry of the log handed in, in its order
	Rain      []Spell   // seen at the place, in the order that it ended
	Effects   []Effect  // of rain, in the order that it fell
	Questions []Question
	// Counted are the entries that count, one for each pad that they name, with
	// its share of the totals, in the order that they happened.
	Counted []pour.LogEntry
}

// Pad is one pad's state.
type Pad struct {
	pour.PadRecord
	Phase      Phase
	Covered    bool
	Cover      string     // plastic, burlap or blanket; empty: none, or not known
	CoveredAt  *time.Time // nil: not covered
	Inspect    *Effect    // why to look at it again; nil: no reason
	Assumed    bool       // its placing or finishing was not logged
	FormedAt   *time.Time
	PlacingAt  *time.Time
	InitialSet *time.Time // nil: not placed, or not known
	FinalSet   *time.Time
	SetKnown   bool           // from the weather; false: a cautious guess, or not known
	Result     string         // of the last inspection
	RatedAt    *time.Time     // last
	Ratings    []pour.Ratings // in the order given
}

// Day is the state of the date of Given.Now.
type Day struct {
	Date      unit.Date
	StartedAt *time.Time // setting up, or the first work logged; nil: not begun
	Skipped   bool       // the whole morning was called off
	RainSince *time.Time // it is raining at the place, as was last seen
	Rain      []Spell    // seen on the date, in order
}

// Spell is rain that was seen at the place.
type Spell struct {
	Entry    string // that reported it
	From, To time.Time
	Minutes  *float64 // nil: not known how long
	RainMM   *float64 // nil: not known how much
	Open     bool     // it has not ended
}

// Fate is what became of an entry.
type Fate string

// The fates of an entry.
const (
	Counts      Fate = "counts"
	Later       Fate = "later"  // after Given.Now
	Undone      Fate = "undone" // voided by another
	Waits       Fate = "waits"  // built on one that is undone
	Contradicts Fate = "contradicts"
)

// Outcome is what became of an entry and why.
type Outcome struct {
	Fate    Fate
	Refused []Refusal // of a contradiction: one a pad
}

// Code names why an entry is refused.
type Code string

// Why an entry can't be true.
const (
	AlreadyPlaced    Code = "already_placed"
	AlreadyFinished  Code = "already_finished"
	AlreadyStripped  Code = "already_stripped"
	AlreadyLost      Code = "already_lost"
	BeforeInitialSet Code = "before_initial_set" // forms come off hard concrete only
	UndoOfUndo       Code = "undo_of_undo"       // to take an undo back, log again
)

// Refusal is why an entry can't be true beside the others.
type Refusal struct {
	Code  Code
	Pad   string
	Kind  pour.EntryKind // of the entry refused
	Entry string         // that it contradicts; empty: none in particular
	At    time.Time      // of what it contradicts; the initial set
}

// Codes of what is asked of the builder: pads, and at but in built_on_undone.
const (
	WasPlaced     message.Code = "was_placed"   // implied by a later entry, or planned
	WasFinished   message.Code = "was_finished" // planned
	BuiltOnUndone message.Code = "built_on_undone"
	WasCovered    message.Code = "was_covered"   // when it rained
	HowMuchRain   message.Code = "how_much_rain" // and for how long
	HalfPlaced    message.Code = "half_placed"   // rain came while it was being placed
	WasLost       message.Code = "was_lost"      // rain should have spoilt it, and work on it went on
	StrippedEarly message.Code = "stripped_early"
)

// Question is something that the log leaves open.
type Question struct {
	Ask     message.Code
	Pads    []string
	Entries []string  // that it is about
	Undone  string    // that they were built on; empty: none
	At      time.Time // assumed, or of final set; zero: none
}

// Codes of what rain did to a pad: pad.
const (
	RainLost         message.Code = "rain_lost"
	RainSoft         message.Code = "rain_soft"         // light, on soft concrete
	RainSoftUnsure   message.Code = "rain_soft_unsure"  // how much fell within an hour, or the cover, is not known
	RainSoftCovered  message.Code = "rain_soft_covered" // under a cover
	RainHalfPlaced   message.Code = "rain_half_placed"
	RainSetting      message.Code = "rain_setting"
	RainSettingAsked message.Code = "rain_setting_unsure"
	RainTooLittle    message.Code = "rain_too_little"
	RainAfterSet     message.Code = "rain_after_set" // no harm
	InspectedBad     message.Code = "inspected_blemished"
)

// Effect is what one spell of rain, or an inspection, meant for one pad.
type Effect struct {
	Entry   string
	Pad     string
	Code    message.Code // message.StoredText: concluded before codes were kept
	Lost    bool
	Inspect bool
	Figures Figures
	Stored  pour.Effect // of message.StoredText
}

// Figures are those that an effect was concluded from.
type Figures struct {
	At         time.Time
	RainMM     *float64 // in all; nil: unknown
	LeastMM    *float64 // within an hour, surely; nil: unknown
	MostMM     *float64 // within an hour, at most
	LimitMM    float64
	PlacedAt   time.Time
	InitialSet time.Time
	FinalSet   time.Time
	SetKnown   bool
	Covered    Known
	Finished   bool
}

// Known is a yes or no that may be unknown.
type Known int8

// The values of Known.
const (
	No      Known = -1
	Unknown Known = 0
	Yes     Known = 1
)
