package pour

import (
	"slices"
	"time"

	"dryslot/internal/message"
)

// EntryKind is what a log entry reports.
type EntryKind string

// The kinds of log entry.
const (
	EntryStarted   EntryKind = "started"    // the crew has begun to set up
	EntryFormed    EntryKind = "formed"     // forms are set and the base is ready
	EntryPlacing   EntryKind = "placing"    // mixing for one pad has begun
	EntryPlaced    EntryKind = "placed"     // struck off and floated
	EntryFinished  EntryKind = "finished"   // broomed or trowelled
	EntryStripped  EntryKind = "stripped"   // forms taken off
	EntryLost      EntryKind = "lost"       // to be broken out and placed again
	EntrySkipped   EntryKind = "skipped"    // a planned pour or pad that was not begun
	EntryNote      EntryKind = "note"       // text only
	EntryCovered   EntryKind = "covered"    // no pads: all that lie open
	EntryUncovered EntryKind = "uncovered"  // no pads: all that are covered
	EntryRainBegan EntryKind = "rain_began" // seen at the place
	EntryRainEnded EntryKind = "rain_ended" // seen at the place
	EntryRainedOn  EntryKind = "rained_on"  // logged after the fact; no pads: all that had not set
	EntryInspected EntryKind = "inspected"  // with a result
	EntryRated     EntryKind = "rated"      // how a pad looks, weeks later
	EntryUndone    EntryKind = "undone"     // voids another entry
)

// Results of an inspection.
const (
	ResultSound     = "sound"
	ResultBlemished = "blemished"
	ResultLost      = "lost"
)

// LogEntry is what happened. Entries are only ever added.
type LogEntry struct {
	ID         string    `json:"id"` // the sender's, or the service's where the sender gave none
	Kind       EntryKind `json:"kind"`
	Pads       []string  `json:"pads"` // empty: what the kind says
	Pad        string    `json:"pad"`  // the only one of Pads; empty: none or several
	At         time.Time `json:"at"`   // when it happened; of rained_on when the rain began
	RecordedAt time.Time `json:"recorded_at"`
	Bags       *float64  `json:"bags"`    // of all pads together
	WaterL     *float64  `json:"water_l"` // of all pads together
	Minutes    *float64  `json:"minutes"` // that it took, all pads together; of rained_on how long it rained
	RainMM     *float64  `json:"rain_mm"` // that fell in all; null: unknown
	Cover      string    `json:"cover"`   // plastic, burlap or blanket; empty: unknown
	Covered    *bool     `json:"covered"` // of rained_on: whether the pads lay covered; null: unknown
	Result     string    `json:"result"`  // of inspected: sound, blemished or lost
	Entry      string    `json:"entry"`   // of undone: the id of the entry that it voids
	Ratings    *Ratings  `json:"ratings"` // of rated
	Text       string    `json:"text"`
	By         string    `json:"by"` // the member that sent it; empty: the account of the project
	// Confirmed says that the builder confirmed afterwards what the plan took to
	// have been done: At is the planned time, which teaches nothing of the pace.
	Confirmed bool     `json:"confirmed"`
	Photos    []string `json:"photos"`
	// SetTimes are what the weather known when it was recorded gave for each pad
	// placed. They are kept, so that a replay needs no forecast, and forecasts
	// can be pruned.
	SetTimes []SetTime `json:"set_times"`
	// Effects are what followed from the entry when it was recorded. A replay
	// works them out again, but for entries of before codes were kept.
	Effects []Effect `json:"effects"`
}

// Ratings are how a finished pad looks: each none, some or bad; empty: not given.
type Ratings struct {
	Cracks       string `json:"cracks"`
	ChippedEdges string `json:"chipped_edges"`
	Scaling      string `json:"scaling"`
	Colour       string `json:"colour"`
}

// SetTime is when one placed pad sets, in minutes from its placing.
type SetTime struct {
	Pad        string  `json:"pad"`
	InitialMin float64 `json:"initial_min"`
	FinalMin   float64 `json:"final_min"`
	Known      bool    `json:"known"` // from the weather; false: a cautious guess
}

// Effect is what one entry meant for one pad.
type Effect struct {
	Pad     string `json:"pad"`
	Code    string `json:"code"`    // a code of package history; empty in entries from before codes were kept
	State   State  `json:"state"`   // the state that follows; empty: unchanged
	Inspect string `json:"inspect"` // why to look at it again; empty: no reason
	Why     string `json:"why"`
	// Data is Why as codes with their figures, one for each sentence; Inspect is
	// the first of them. Rows from before codes were kept have none.
	Data []message.Message `json:"why_data"`
}

// Messages are Why before it is worded, one a sentence: of a row of before codes
// were kept, its text.
func (f Effect) Messages() []message.Message {
	if len(f.Data) == 0 {
		return []message.Message{message.Stored(f.Pad + ": " + f.Why)}
	}
	return f.Data
}

// Names returns the pads that an entry names, in its order; none where it is
// about the whole site.
func (e *LogEntry) Names() []string {
	if len(e.Pads) == 0 && e.Pad != "" {
		return []string{e.Pad}
	}
	return e.Pads
}

// Normalize brings an entry, also one stored before it could name several
// pads, to the one form that it is answered in: Pads lists the pads, Pad names
// the only one, and no list is null.
func (e *LogEntry) Normalize() {
	e.Pads = append([]string{}, e.Names()...)
	e.Pad = ""
	if len(e.Pads) == 1 {
		e.Pad = e.Pads[0]
	}
	if e.Photos == nil {
		e.Photos = []string{}
	}
	if e.SetTimes == nil {
		e.SetTimes = []SetTime{}
	}
	if e.Effects == nil {
		e.Effects = []Effect{}
	}
	for i := range e.Effects {
		e.Effects[i].Data = e.Effects[i].Messages()
	}
}

// MostPhotos is how many photos one entry shows at most.
const MostPhotos = 4

// RunsAhead is how far a sender's clock may be ahead of the service's
// (judgement: a phone's clock errs by less).
const RunsAhead = 5 * time.Minute

// TakeAsNow takes an entry from a clock that runs ahead by RunsAhead or less as
// having happened now.
func (e *LogEntry) TakeAsNow(now time.Time) {
	if e.At.After(now) && !e.At.After(now.Add(RunsAhead)) {
		e.At = now.In(e.At.Location())
	}
}

// SameAs reports whether an entry that is kept is what a sender sends again
// under the same id. What the service added is left out, and so is a time that
// was taken as now.
func (e LogEntry) SameAs(sent LogEntry) bool {
	e.Normalize()
	sent.Normalize()
	taken := e.At.Equal(e.RecordedAt) && sent.At.After(e.At) && !sent.At.After(e.At.Add(RunsAhead))
	return e.Kind == sent.Kind && slices.Equal(e.Pads, sent.Pads) &&
		(taken || e.At.Equal(sent.At.Truncate(time.Microsecond))) &&
		equal(e.Bags, sent.Bags) && equal(e.WaterL, sent.WaterL) && equal(e.Minutes, sent.Minutes) &&
		equal(e.RainMM, sent.RainMM) && e.Cover == sent.Cover && equal(e.Covered, sent.Covered) &&
		e.Result == sent.Result && e.Entry == sent.Entry && equal(e.Ratings, sent.Ratings) &&
		e.Text == sent.Text && slices.Equal(e.Photos, sent.Photos)
}

func equal[T comparable](a, b *T) bool {
	return a == b || a != nil && b != nil && *a == *b
}
