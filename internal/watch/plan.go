package watch

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/forecast"
	"dryslot/internal/learn"
	"dryslot/internal/place"
	"dryslot/internal/planner"
	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

// sampleFeed is the feed whose weather is invented.
const sampleFeed = "replay"

// standing is all that is known of a project within one transaction.
type standing struct {
	project  pour.Project
	zone     *time.Location
	now      time.Time
	log      []pour.LogEntry
	records  []pour.PadRecord
	last     *KeptPlan
	forecast *KeptForecast // nil: none yet
	cache    *weatherCache
	drawn    *weather // nil: not drawn yet
	failed   error    // why it can't be drawn
	learned  learn.Corrections
}

// today is the date at the project.
func (st *standing) today() unit.Date { return unit.DateOf(st.now, st.zone) }

// Replan makes one project's plan again and keeps it, with its forecast and
// what is due from it, in one transaction. Before the first forecast it
// answers the plan that awaits one, and keeps nothing. It returns
// fault.NotFound when there is no such project.
func (s *Service) Replan(ctx context.Context, account, project, because string) (kept KeptPlan, err error) {
	err = s.Store.InAccount(ctx, account, func(ctx context.Context, tx Tx) error {
		kept, err = s.replan(ctx, tx, project, because, byWeather)
		return err
	})
	return kept, err
}

// cause is who moved: the builder sees the new plan in the answer, and is not
// told of it by an alert as well.
type cause bool

const (
	byWeather cause = false
	byBuilder cause = true
)

func (s *Service) replan(ctx context.Context, tx Tx, project, because string, by cause) (KeptPlan, error) {
	p, err := tx.LockProject(ctx, project)
	if err != nil {
		return KeptPlan{}, err
	}
	st, err := s.stand(ctx, tx, p)
	if err != nil {
		return KeptPlan{}, err
	}
	return s.replanFrom(ctx, tx, st, because, by)
}

// replanFrom plans from what is known, keeps the plan, and sets what is due.
func (s *Service) replanFrom(ctx context.Context, tx Tx, st *standing, because string, by cause) (KeptPlan, error) {
	res, err := s.make(ctx, st, because, nil)
	if err != nil {
		return KeptPlan{}, err
	}
	kept := KeptPlan{Plan: res.Plan, Mornings: res.Mornings}
	if st.forecast != nil {
		kept.ForecastID = st.forecast.ID
		if st.last != nil {
			kept.Changes = planner.Changes(st.last.Plan, res.Plan, st.zone)
		}
		if kept, err = tx.AddPlan(ctx, st.project.ID, kept); err != nil {
			return KeptPlan{}, fmt.Errorf("watch: keep the plan: %w", err)
		}
	}
	if err := s.raise(ctx, tx, st, kept, by); err != nil {
		return KeptPlan{}, err
	}
	return kept, nil
}

// stand gathers what is known of a project.
func (s *Service) stand(ctx context.Context, tx Tx, p pour.Project) (*standing, error) {
	zone, err := zoneOf(p)
	if err != nil {
		return nil, err
	}
	st := &standing{project: p, zone: zone, now: s.Now(), cache: &s.weathers}
	if st.log, err = tx.WholeLog(ctx, p.ID); err != nil {
		return nil, fmt.Errorf("watch: log: %w", err)
	}
	last, err := tx.CurrentPlan(ctx, p.ID)
	switch {
	case err == nil:
		st.last = &last
	case !errors.Is(err, fault.NotFound):
		return nil, fmt.Errorf("watch: current plan: %w", err)
	}
	fc, err := tx.Forecast(ctx, place.CellOf(p.Latitude, p.Longitude))
	switch {
	case errors.Is(err, fault.NotFound):
	case err != nil:
		return nil, fmt.Errorf("watch: forecast: %w", err)
	default:
		st.forecast = &fc
	}
	return st, st.replay()
}

// replay reduces the log to what is true of each pad now.
func (st *standing) replay() error {
	st.records = pour.Replay(st.project.Spec, st.log, st.now, st.curedAt)
	return st.failed
}

// errNoPlan marks what kept the planner from an answer, apart from what kept
// its answer from being stored.
var errNoPlan = errors.New("watch: no plan could be made")

// make asks the planner. Errors are errNoPlan.
func (s *Service) make(ctx context.Context, st *standing, because string, whatIf *planner.WhatIf) (*planner.Result, error) {
	light, err := daysFrom(st.project, st.zone, st.today(), days+1)
	if err != nil {
		return nil, fmt.Errorf("%w: light: %w", errNoPlan, err)
	}
	w, spec, err := st.corrected()
	if err != nil {
		return nil, fmt.Errorf("%w: %w", errNoPlan, err)
	}
	job := planner.Job{Spec: spec, Records: st.records, Now: st.now, Zone: st.zone, Days: light,
		Skipped: st.skipped(), Because: because, WhatIf: whatIf}
	if st.last != nil {
		job.Last = &st.last.Plan
	}
	if w != nil {
		job.Weather, job.Slabs = w.scenarios, w.slabs
		job.Trust = trustIn(st.forecast.Forecast, st.now)
	}
	begun := s.wall()
	res, err := planner.Make(job)
	if err != nil {
		return nil, fmt.Errorf("%w: %w", errNoPlan, err)
	}
	res.Plan.Solver.ElapsedMS = float64(s.wall().Sub(begun).Microseconds()) / 1000
	return res, nil
}

// skipped are the mornings that the builder has called off.
func (st *standing) skipped() []planner.Skip {
	var out []planner.Skip
	for _, e := range st.log {
		if e.Kind == pour.EntrySkipped {
			out = append(out, planner.Skip{Date: unit.DateOf(e.At, st.zone), Pad: e.Pad})
		}
	}
	return out
}

// trustIn says where a forecast comes from and how far to believe it.
func trustIn(f forecast.Forecast, now time.Time) planner.Trust {
	t := planner.Trust{Members: max(1, len(f.Members)), FetchedAt: f.FetchedAt()}
	_, t.Age = f.TrustAt(now)
	var said []string
	for i, src := range f.Sources {
		if i == 0 {
			t.Feed, t.IssuedAt = src.Feed, src.IssuedAt
		}
		t.Sample = t.Sample || src.Feed == sampleFeed
		if src.Attribution != "" && !strings.Contains(strings.Join(said, "\n"), src.Attribution) {
			said = append(said, src.Attribution)
		}
	}
	t.Attribution = strings.Join(said, "; ")
	return t
}

// WhatIf answers how the plan would be under a change, and keeps nothing: the
// plan's version is nil. Before the first forecast it is fault.Unavailable.
func (s *Service) WhatIf(ctx context.Context, account, project string, w planner.WhatIf) (res planner.Result, err error) {
	err = s.Store.InAccount(ctx, account, func(ctx context.Context, tx Tx) error {
		p, err := tx.Project(ctx, project)
		if err != nil {
			return err
		}
		st, err := s.stand(ctx, tx, p)
		if err != nil {
			return err
		}
		if st.forecast == nil {
			return fault.New(fault.Unavailable, "no forecast has come yet, so that nothing can be tried")
		}
		got, err := s.make(ctx, st, "what if", &w)
		if err != nil {
			return err
		}
		got.Plan.Version = nil
		res = *got
		return nil
	})
	return res, err
}
