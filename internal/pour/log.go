package pour

import "time"

// EntryKind is what a log entry tells.
type EntryKind string

// The kinds of log entry.
const (
	EntryPlaced   EntryKind = "placed"
	EntryFinished EntryKind = "finished"
	EntryStripped EntryKind = "stripped"
	EntryRainedOn EntryKind = "rained_on"
	EntryLost     EntryKind = "lost"
	EntrySkipped  EntryKind = "skipped" // a planned pour or pad that was not begun
	EntryNote     EntryKind = "note"
)

// LogEntry is what happened. Entries are only ever added.
type LogEntry struct {
	ID         string    `json:"id"`
	Kind       EntryKind `json:"kind"`
	Pad        string    `json:"pad"` // empty: every pad that it can be true of (rained_on, skipped, note)
	At         time.Time `json:"at"`
	RecordedAt time.Time `json:"recorded_at"`
	Bags       *float64  `json:"bags"`
	WaterL     *float64  `json:"water_l"`
	Minutes    *float64  `json:"minutes"`
	RainMM     *float64  `json:"rain_mm"`
	Text       string    `json:"text"`
	Effects    []Effect  `json:"effects"` // what the service concluded from it, kept with the entry
}

// Effect is what one entry meant for one pad, concluded when it was recorded.
type Effect struct {
	Pad     string `json:"pad"`
	State   State  `json:"state"`   // the state that follows; empty: unchanged
	Inspect string `json:"inspect"` // why to look at it again; empty: no reason
	Why     string `json:"why"`
}
