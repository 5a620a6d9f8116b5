package notify

import (
	"context"
	"time"

	"dryslot/internal/planner/job"
	"dryslot/internal/pour"
	"dryslot/internal/today"
	"dryslot/internal/unit"
)

// Planned is a plan with the mornings that it was chosen from.
type Planned struct {
	Plan     pour.Plan
	Mornings []job.Morning
}

// Situation is what the alerts of one project are raised from: the plan in
// force and what is known with it at one instant.
type Situation struct {
	Project   pour.Project
	Zone      *time.Location
	Now       time.Time
	Planned            // the plan in force; its mornings begin today, with the age of their forecast at Now
	Before    *Planned // the plan in force until now, the same one where none was made; nil: none yet
	Records   []pour.PadRecord
	Skipped   []job.Skip // mornings that the builder called off
	Sample    bool       // the weather is invented
	ByBuilder bool       // the builder caused the plan, and reads it in the answer
	Day       *today.Now // the answer for this minute; nil: the day asks for nothing
	Behind    bool       // a newer plan is asked for: of a new day, or from an entry
	// LastEntryAt is when the newest entry of the log was recorded; zero: none was.
	LastEntryAt time.Time

	// PlanFrom plans a day as if it were the start of a pour whose pads are bound
	// to it, with the weather of now.
	PlanFrom func(ctx context.Context, d unit.Date, start time.Time, pads []string) (Planned, error)
}

// Today is the date at the project's place.
func (s Situation) Today() unit.Date { return unit.DateOf(s.Now, s.Zone) }
