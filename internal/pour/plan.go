package pour

import (
	"slices"
	"time"

	"dryslot/internal/message"
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

// Plan is the pours that finish a project. Plans are never altered, only added
// to. What is to be said stands as messages (fields ending in Data); the texts
// beside them are worded last, by Worded.
type Plan struct {
	Version *int      `json:"version"` // null: an answer that is not kept; 0: none yet
	MadeAt  time.Time `json:"made_at"`
	Because string    `json:"because"`

	BecauseData message.Message `json:"because_data"`

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

	CoversData []message.Message `json:"covers_data"`
	WhyData    message.Message   `json:"why_data"`
}

// Unplaced is a pad that no morning within sight can take.
type Unplaced struct {
	Pad string `json:"pad"`
	Why string `json:"why"`

	WhyData message.Message `json:"why_data"`

	Better *Option `json:"better"` // what would place it; null: nothing that was tried
}

// Option is the nearest better thing to do, worked out as the plan itself is.
type Option struct {
	Date           unit.Date `json:"date"`            // of the morning that it is about
	Change         string    `json:"change"`          // what to do
	Verdict        string    `json:"verdict"`         // pour, care or hold: what that morning then is
	Score          *int      `json:"score"`           // of that morning; null where a pad alone was looked at
	ChanceUnharmed *float64  `json:"chance_unharmed"` // that no pad, or the pad that it is about, is lost

	ChangeData message.Message `json:"change_data"`
}

// Finish is when the last pad is placed for good.
type Finish struct {
	Likely    *unit.Date `json:"likely"`
	NineInTen *unit.Date `json:"nine_in_ten"`
}

// Solver says how the plan was found.
type Solver struct {
	Method string `json:"method"`

	MethodData message.Message `json:"method_data"`

	ProvedOptimal bool    `json:"proved_optimal"`
	Gap           float64 `json:"gap"` // bound on the relative distance from the optimum, 0 when proved
	ElapsedMS     float64 `json:"elapsed_ms"`
}

// Worded returns the plan with each of its sentences worded by say. A text that
// was stored before there were codes is its own message. The plan itself stays
// as it is.
func (p Plan) Worded(say func(message.Message) string) Plan {
	message.Word(&p.Because, &p.BecauseData, say)
	message.Word(&p.Solver.Method, &p.Solver.MethodData, say)
	p.Pours = slices.Clone(p.Pours)
	for i := range p.Pours {
		message.WordEach(&p.Pours[i].Covers, &p.Pours[i].CoversData, say)
		message.Word(&p.Pours[i].Why, &p.Pours[i].WhyData, say)
	}
	p.Unplaced = slices.Clone(p.Unplaced)
	for i := range p.Unplaced {
		message.Word(&p.Unplaced[i].Why, &p.Unplaced[i].WhyData, say)
		p.Unplaced[i].Better = p.Unplaced[i].Better.Worded(say)
	}
	return p
}

// Worded returns the option worded; nil stays nil.
func (o *Option) Worded(say func(message.Message) string) *Option {
	if o == nil {
		return nil
	}
	out := *o
	message.Word(&out.Change, &out.ChangeData, say)
	return &out
}
