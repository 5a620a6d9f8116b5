package projects

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/notify"
	"dryslot/internal/pour"
	"dryslot/internal/unit"
	"dryslot/internal/work"
)

// RaiseAlerts keeps the alerts of one project that have come due, and says in
// its row when the next is. On a new day, and where what was logged last is not
// planned from yet, it asks for a plan: planning takes its turn, and holds up no
// alert. A project that has gone meanwhile needs nothing.
func (s *Service) RaiseAlerts(ctx context.Context, account, project string) error {
	return s.Store.InAccount(ctx, account, func(ctx context.Context, tx Tx) error {
		p, err := tx.LockProject(ctx, project)
		if errors.Is(err, fault.NotFound) {
			return nil
		}
		if err != nil {
			return err
		}
		st, err := s.read(ctx, tx, p)
		if err != nil {
			return err
		}
		if st.last == nil && st.forecast != nil {
			return s.askForFirstPlan(ctx, tx, st)
		}
		k, err := s.current(ctx, st)
		if err != nil {
			return err
		}
		if because := st.behind(); because != "" && st.last != nil {
			// Alerts that are due are raised meanwhile, by the plan before.
			if err := st.askForPlan(ctx, tx, because); err != nil {
				return err
			}
		}
		if st.last != nil && st.pouring(st.last.Plan) && st.scored().Before(st.now.Add(-pourAgain)) {
			if err := st.askForPlan(ctx, tx, "the day goes on"); err != nil {
				return err
			}
		}
		return s.raise(ctx, tx, st, k, byWeather)
	})
}

// askForPlan asks for a turn in the queue for plans.
func (st *knowledge) askForPlan(ctx context.Context, tx Tx, because string) error {
	err := tx.Enqueue(ctx, work.Replan{Account: st.project.Account, Project: st.project.ID, Because: because})
	if err != nil {
		return fmt.Errorf("projects: ask for a plan: %w", err)
	}
	return nil
}

// curingPads reports whether a pad is placed that is neither cured nor lost.
func (st *knowledge) curingPads() bool {
	return slices.ContainsFunc(st.records, func(r pour.PadRecord) bool {
		return r.PlacedAt != nil && r.State != pour.Cured && r.State != pour.Lost
	})
}

// pouring reports whether a plan has a pour today that is not over.
func (st *knowledge) pouring(p pour.Plan) bool {
	today := p.On(st.today())
	return today != nil && st.now.Before(today.End)
}

// scored is when the plan in force was looked at last, at the latest: it was
// made, or stayed under a newer forecast.
func (st *knowledge) scored() time.Time {
	at := st.last.Plan.MadeAt
	for _, m := range st.last.Mornings {
		if m.Forecast != nil && m.Forecast.FetchedAt.After(at) {
			at = m.Forecast.FetchedAt
		}
	}
	return at
}

// askForFirstPlan asks for a turn in the queue for plans: a project that has a
// forecast and no plan yet needs no alert, and does not go before others.
func (s *Service) askForFirstPlan(ctx context.Context, tx Tx, st *knowledge) error {
	if err := st.askForPlan(ctx, tx, "a new day"); err != nil {
		return err
	}
	if err := tx.SetDue(ctx, st.project.ID, Due{NextPlanAt: st.now.Add(lookAgain)}); err != nil {
		return fmt.Errorf("projects: set what is due: %w", err)
	}
	return nil
}

// behind says why the plan in force has been overtaken; empty: it has not.
func (st *knowledge) behind() string {
	if st.last == nil {
		return "a new day"
	}
	made := st.last.Plan.MadeAt
	if st.last.Plan.State == pour.Done { // it stays, and its mornings are scored anew
		made = st.scored()
	}
	if unit.DateOf(made, st.zone).Before(st.today()) {
		return "a new day"
	}
	if e := st.unplanned(st.last.Plan); e != nil {
		return because(*e)
	}
	return ""
}

// unplanned is an entry that was logged after a plan was made, which each entry
// makes anew; nil: there is none.
func (st *knowledge) unplanned(p pour.Plan) *pour.LogEntry {
	for i := range st.log {
		if e := &st.log[i]; e.RecordedAt.After(p.MadeAt) {
			return e
		}
	}
	return nil
}

// When to look at a project without new weather.
const (
	lookAgain     = 5 * time.Minute  // while it has no forecast, or no plan from what was logged last
	pourAgain     = 70 * time.Minute // on the day of a pour, while no newer forecast has come
	midnightSlack = 10 * time.Minute // by which projects differ after midnight, so that they spread
)

// raise raises the alerts that the current plan makes due, and sets when the
// project is next looked at. It runs in the transaction that keeps the plan.
func (s *Service) raise(ctx context.Context, tx Tx, st *knowledge, k KeptPlan, by cause) (err error) {
	midnight := st.today().AddDays(1).At(0, st.zone).Add(work.Jitter(midnightSlack, st.project.ID, 0))
	due := Due{NextPlanAt: midnight, Finished: k.Plan.State == pour.Done && !st.curingPads()}
	if again := st.now.Add(pourAgain); st.pouring(k.Plan) && again.Before(midnight) {
		due.NextPlanAt = again
	}
	behind := k.Plan.MadeAt.Before(st.today().At(0, st.zone)) || st.unplanned(k.Plan) != nil
	if st.forecast == nil || behind {
		due.NextPlanAt = st.now.Add(lookAgain)
	}
	if k.Plan.State == pour.Done {
		due.NextPlanAt = midnight // its coming dates move on
	}
	in := s.situation(st, k, by)
	day, err := s.look(ctx, st)
	if err != nil {
		return err
	}
	if err := st.holdBack(ctx, tx, day.now); err != nil {
		return err
	}
	in.Behind, in.Day, due.LiveUntil = behind && st.last != nil, day.now, day.liveUntil
	if due.NextAlertAt, err = s.Alerts.Raise(ctx, in); err != nil {
		return fmt.Errorf("projects: raise alerts: %w", err)
	}
	due.NextAlertAt = sooner(due.NextAlertAt, day.next)
	if err := tx.SetDue(ctx, st.project.ID, due); err != nil {
		return fmt.Errorf("projects: set what is due: %w", err)
	}
	return nil
}

// situation is what alerts are raised from, by a plan.
func (s *Service) situation(st *knowledge, k KeptPlan, by cause) notify.Situation {
	in := notify.Situation{Project: st.project, Zone: st.zone, Now: st.now,
		Planned: notify.Planned{Plan: k.Plan, Mornings: aged(st, k)},
		Records: st.records, Skipped: st.skipped(), ByBuilder: by == byBuilder}
	if st.last != nil {
		in.Before = &notify.Planned{Plan: st.last.Plan, Mornings: st.last.Mornings}
	}
	for _, e := range st.log {
		if e.RecordedAt.After(in.LastEntryAt) {
			in.LastEntryAt = e.RecordedAt
		}
	}
	if st.forecast != nil {
		in.Sample = trustIn(st.forecast.Forecast, st.now).Sample
	}
	in.PlanFrom = func(ctx context.Context, d unit.Date, start time.Time, pads []string) (notify.Planned, error) {
		then := *st
		then.now = start
		if err := then.replay(ctx); err != nil {
			return notify.Planned{}, err
		}
		// The steps are those that the crew has seen, not what the clock has made of them since.
		then.last = &KeptPlan{Plan: pour.Plan{Pours: []pour.Pour{{Date: d, Start: start, Pads: pads}}}}
		res, err := s.make(ctx, &then, "a pour under way", nil)
		if err != nil {
			return notify.Planned{}, err
		}
		return notify.Planned{Plan: res.Plan, Mornings: res.Mornings}, nil
	}
	return in
}

// Situation returns what alerts are raised from, by the plan in force.
func (s *Service) Situation(ctx context.Context, account, project string) (in notify.Situation, err error) {
	err = s.Store.InAccount(ctx, account, func(ctx context.Context, tx Tx) error {
		p, err := tx.Project(ctx, project)
		if err != nil {
			return err
		}
		st, err := s.read(ctx, tx, p)
		if err != nil {
			return err
		}
		k, err := s.current(ctx, st)
		if err != nil {
			return err
		}
		in = s.situation(st, k, byBuilder)
		return nil
	})
	return in, err
}

// RaiseDue raises what the plan in force makes due, without planning again, and
// sets when the project is next looked at.
func (s *Service) RaiseDue(ctx context.Context, account, project string) error {
	return s.Store.InAccount(ctx, account, func(ctx context.Context, tx Tx) error {
		p, err := tx.LockProject(ctx, project)
		if err != nil {
			return err
		}
		st, err := s.read(ctx, tx, p)
		if err != nil {
			return err
		}
		k, err := s.current(ctx, st)
		if err != nil {
			return err
		}
		return s.raise(ctx, tx, st, k, byBuilder)
	})
}
