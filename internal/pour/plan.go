package pour

import (
	"time"

	"dryslot/internal/unit"
)

// PlanState is whether there is anything left to pour.
type PlanState string

// The states of a plan.
const (
	AwaitingForecast PlanState = "awaiting-forecast"
	Open             PlanState = "open"
	Done             PlanState = "finished"
)

// Plan is the pours that finish a project. Plans are never altered, only added to.
type Plan struct {
	Version  *int       `json:"version"` // null: an answer that is not kept; 0: none yet
	MadeAt   time.Time  `json:"made_at"`
	Because  string     `json:"because"`
	State    PlanState  `json:"state"`
	Pours    []Pour     `json:"pours"`
	Unplaced []Unplaced `json:"unplaced"`
	Finish   Finish     `json:"finish"`
	Solver   Solver     `json:"solver"`
}

// Pour is one day's work.
type Pour struct {
	Date           unit.Date `json:"date"`
	Start          time.Time `json:"start"`           // of setting up
	End            time.Time `json:"end"`             // of cleaning up
	Pads           []string  `json:"pads"`            // in the order of placing
	ChanceUnharmed float64   `json:"chance_unharmed"` // that none of them is lost
	Bags           int       `json:"bags"`
	WaterL         float64   `json:"water_l"`
	Covers         []string  `json:"covers"` // pads to cover, with what, as words
	Why            string    `json:"why"`
}

// Unplaced is a pad that no morning within sight can take.
type Unplaced struct {
	Pad    string  `json:"pad"`
	Why    string  `json:"why"`
	Better *Option `json:"better"` // what would place it; null: nothing that was tried
}

// Option is the nearest better thing to do, worked out as the plan itself is.
type Option struct {
	Date           unit.Date `json:"date"`            // of the morning that it is about
	Change         string    `json:"change"`          // what to do
	Verdict        string    `json:"verdict"`         // pour, care or hold: what that morning then is
	Score          *int      `json:"score"`           // of that morning; null where a pad alone was looked at
	ChanceUnharmed *float64  `json:"chance_unharmed"` // that no pad, or the pad that it is about, is lost
}

// Finish is when the last pad is placed for good.
type Finish struct {
	Likely    *unit.Date `json:"likely"`
	NineInTen *unit.Date `json:"nine_in_ten"`
}

// Solver says how the plan was found.
type Solver struct {
	Method        string  `json:"method"`
	ProvedOptimal bool    `json:"proved_optimal"`
	Gap           float64 `json:"gap"` // bound on the relative distance from the optimum, 0 when proved
	ElapsedMS     float64 `json:"elapsed_ms"`
}
