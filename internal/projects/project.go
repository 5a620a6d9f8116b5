package projects

import (
	"context"
	"fmt"
	"strconv"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/message"
	"dryslot/internal/place"
	"dryslot/internal/pour"
	"dryslot/internal/unit"
	"dryslot/internal/work"
)

// soon is when a project without a plan is looked at, should the work that its
// creation asked for be overtaken by a fetch under way.
const soon = time.Minute

// CreateProject keeps a new project, with its zone and units found where they
// are not given, and asks for its forecast and plan. The spec has been checked
// for form; what breaks a rule is fault.Invalid.
func (s *Service) CreateProject(ctx context.Context, account string, spec pour.Spec) (p pour.Project, err error) {
	spec.Normalize()
	if err := locate(&spec); err != nil {
		return pour.Project{}, err
	}
	if err := spec.Validate(); err != nil {
		return pour.Project{}, err
	}
	now := s.Now()
	if err := counted(&spec, nil, now); err != nil {
		return pour.Project{}, err
	}
	if err := s.withinPads(len(spec.Pads), 0); err != nil {
		return pour.Project{}, err
	}
	err = s.Store.InAccount(ctx, account, func(ctx context.Context, tx Tx) error {
		if err := s.withinProjects(ctx, tx, spec.Name); err != nil {
			return err
		}
		if p, err = tx.CreateProject(ctx, pour.Project{Account: account, Spec: spec}, now); err != nil {
			return fmt.Errorf("projects: create the project: %w", err)
		}
		return s.watchPlace(ctx, tx, p, now, "project created")
	})
	return p, err
}

// withinProjects refuses one project too many of an account.
func (s *Service) withinProjects(ctx context.Context, tx Tx, name string) error {
	if s.MostProjects == 0 {
		return nil
	}
	have, err := tx.CountProjects(ctx)
	if err != nil {
		return fmt.Errorf("projects: count the account's: %w", err)
	}
	if have < s.MostProjects {
		return nil
	}
	return fault.Of(fault.Invalid, pour.ProjectBreaksRule).At("name", name,
		fault.RuleOf(ProjectsFull, message.Count("max", s.MostProjects)))
}

// withinPads refuses more pads than a project may have. One that has more, from
// before there was that limit, may keep as many.
func (s *Service) withinPads(pads, had int) error {
	if s.MostPads == 0 || pads <= max(s.MostPads, had) {
		return nil
	}
	return fault.Of(fault.Invalid, pour.ProjectBreaksRule).At("pads", strconv.Itoa(pads),
		fault.RuleOf(fault.MostItems, message.Count("max", s.MostPads)))
}

// watchPlace makes sure that the place of a project is watched, and asks for
// its plan.
func (s *Service) watchPlace(ctx context.Context, tx Tx, p pour.Project, now time.Time, because string) error {
	cell := place.CellOf(p.Latitude, p.Longitude)
	if err := tx.WatchCell(ctx, cell, p.ID, now); err != nil {
		return fmt.Errorf("projects: watch %s: %w", cell.Key(), err)
	}
	for _, w := range [...]work.Work{work.FetchCell{Cell: cell},
		work.Replan{Account: p.Account, Project: p.ID, Because: because}} {
		if err := tx.Enqueue(ctx, w); err != nil {
			return fmt.Errorf("projects: enqueue %s: %w", w.Kind(), err)
		}
	}
	if err := tx.SetDue(ctx, p.ID, Due{NextPlanAt: now.Add(soon)}); err != nil {
		return fmt.Errorf("projects: set what is due: %w", err)
	}
	return nil
}

// locate finds the zone and the units where they are not given. Bad
// coordinates are left to Validate.
func locate(spec *pour.Spec) error {
	if spec.TimeZone == "" && spec.Latitude >= -90 && spec.Latitude <= 90 && spec.Longitude >= -180 &&
		spec.Longitude <= 180 {
		zone, err := place.Zone(spec.Latitude, spec.Longitude)
		if err != nil {
			return err
		}
		spec.TimeZone = zone
	}
	if spec.Units == "" && spec.TimeZone != "" {
		spec.Units = place.UnitsOf(spec.TimeZone)
	}
	return nil
}

// counted says when the bags on hand were counted, where the builder does not.
// A new project's count is taken as made before that day's work and
// deliveries; a new count of one that runs, as made now, with all that has come
// and gone. A count is new when its number differs or its moment is left out.
func counted(spec *pour.Spec, old *pour.Stock, now time.Time) error {
	k := &spec.Stock
	if k.BagsOnHand == nil {
		k.CountedAt = nil
		return nil
	}
	if old == nil && k.CountedAt == nil {
		zone, err := time.LoadLocation(spec.TimeZone)
		if err != nil {
			return fmt.Errorf("projects: zone of the count: %w", err)
		}
		dawn := unit.DateOf(now, zone).At(0, zone).UTC()
		k.CountedAt = &dawn
	}
	if old != nil {
		same := old.BagsOnHand != nil && *old.BagsOnHand == *k.BagsOnHand
		kept := k.CountedAt == nil && old.CountedAt == nil || k.CountedAt != nil && old.CountedAt != nil &&
			k.CountedAt.Equal(*old.CountedAt)
		if kept && !same || !kept && k.CountedAt == nil {
			t := now.UTC()
			k.CountedAt = &t
		}
	}
	if t := k.CountedAt; t != nil && t.After(now) {
		return fault.Of(fault.Invalid, pour.ProjectBreaksRule).At("stock.counted_at", t.Format(time.RFC3339),
			fault.RuleOf(fault.InTheFuture, message.At("now", now.UTC())))
	}
	return nil
}

// ChangeProject puts a spec in place of the one at a revision, and asks for a
// forecast of its place and a new plan. Errors: fault.NotFound, fault.Invalid,
// fault.Stale when it was changed since, and fault.Conflict when a pad with
// log entries would go.
func (s *Service) ChangeProject(ctx context.Context, account, project string, revision int64,
	spec pour.Spec) (p pour.Project, err error) {
	spec.Normalize()
	if err := locate(&spec); err != nil {
		return pour.Project{}, err
	}
	if err := spec.Validate(); err != nil {
		return pour.Project{}, err
	}
	err = s.Store.InAccount(ctx, account, func(ctx context.Context, tx Tx) error {
		old, err := tx.LockProject(ctx, project)
		if err != nil {
			return err
		}
		changed := old
		if err := counted(&spec, &old.Spec.Stock, s.Now()); err != nil {
			return err
		}
		if err := s.withinPads(len(spec.Pads), len(old.Pads)); err != nil {
			return err
		}
		changed.Spec = spec
		if p, err = tx.UpdateProject(ctx, changed, revision); err != nil {
			return err
		}
		return s.watchPlace(ctx, tx, p, s.Now(), "project changed")
	})
	return p, err
}

// DeleteProject forgets a project with its pads, log, plans and recipients.
func (s *Service) DeleteProject(ctx context.Context, account, project string) error {
	return s.Store.InAccount(ctx, account, func(ctx context.Context, tx Tx) error {
		return tx.DeleteProject(ctx, project)
	})
}
