package watch

import (
	"context"
	"io"
	"log/slog"
	"time"

	"dryslot/internal/daylight"
	"dryslot/internal/fault"
	"dryslot/internal/planner/job"
	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

// Plan makes a plan: planner.Make in the service, a canned one in its tests.
type Plan func(context.Context, job.Job) (*job.Result, error)

// Service does what the service does. Its fields are set once, before use; it
// may be used by several goroutines.
type Service struct {
	Store    Store
	Plan     Plan
	Channels map[string]Channel // by kind
	Now      func() time.Time   // the service's clock
	Wall     func() time.Time   // the wall's clock, for feeds' limits and timing; nil: Now
	Random   io.Reader          // of secrets: crypto/rand.Reader
	Log      *slog.Logger
	BaseURL  string // of the pages, put in alerts; without a slash at the end
	SetClock bool   // Now was set to something else than the wall's time

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

// zoneOf returns a project's zone. A project is kept with one that is known.
func zoneOf(p pour.Project) (*time.Location, error) {
	z, err := time.LoadLocation(p.TimeZone)
	if err != nil {
		var bad fault.List
		bad.Break("time_zone", p.TimeZone, fault.RuleOf(fault.ZoneUnknown))
		return nil, fault.Wrap(fault.Invalid, "the project's time zone is not known", bad.Err(err.Error()))
	}
	return z, nil
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

func later(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}
