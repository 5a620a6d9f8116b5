package projects

import (
	"context"
	"log/slog"
	"time"

	"dryslot/internal/daylight"
	"dryslot/internal/notify"
	"dryslot/internal/planner/job"
	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

// Plan makes a plan: planner.Make in the service, a canned one in its tests.
type Plan func(context.Context, job.Job) (*job.Result, error)

// Alerts raises the alerts of a project.
type Alerts interface {
	// Raise keeps the alerts that a plan makes due, in the transaction that ctx
	// carries, and returns when the next is; zero: none is to come.
	Raise(ctx context.Context, in notify.Situation) (next time.Time, err error)
}

// Service keeps projects, their logs and their plans. Its fields are set once,
// before use; it may be used by several goroutines.
type Service struct {
	Store  Store
	Alerts Alerts
	Plan   Plan
	Now    func() time.Time // the service's clock
	Wall   func() time.Time // the real clock, for timing; nil: Now
	Log    *slog.Logger     // nil: nothing is logged
	// MostProjects bounds the projects of one account, and MostPads the pads of
	// one project; 0: as many as can be.
	MostProjects, MostPads int
	MostPhotos             int // of one project; 0: as many as it likes

	weathers weatherCache
	workdays workdays // ready to be decided on from hour to hour
}

// days is how many mornings are scored.
const days = 10

func (s *Service) wall() time.Time {
	if s.Wall != nil {
		return s.Wall()
	}
	return s.Now()
}

func (s *Service) log() *slog.Logger {
	if s.Log != nil {
		return s.Log
	}
	return slog.New(slog.DiscardHandler)
}

// daysFrom returns the light of n dates from one on.
func daysFrom(p pour.Project, zone *time.Location, from unit.Date, n int) ([]daylight.Day, error) {
	out := make([]daylight.Day, 0, n)
	for i := range n {
		d, err := daylight.Quick(from.AddDays(i), p.Latitude, p.Longitude, zone)
		if err != nil {
			return nil, err
		}
		out = append(out, d)
	}
	return out, nil
}
