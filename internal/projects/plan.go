package projects

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"runtime/debug"
	"slices"
	"strings"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/forecast"
	"dryslot/internal/history"
	"dryslot/internal/message"
	"dryslot/internal/place"
	"dryslot/internal/planner/advise"
	"dryslot/internal/planner/job"
	"dryslot/internal/pour"
	"dryslot/internal/say"
	"dryslot/internal/today"
	"dryslot/internal/unit"
)

// knowledge is all that is known of a project within one transaction.
type knowledge struct {
	project  pour.Project
	zone     *time.Location
	now      time.Time
	log      []pour.LogEntry
	state    history.State    // what the log comes to now
	records  []pour.PadRecord // of it, with why to look at a pad in words
	counted  []pour.LogEntry  // the entries of the log that count, one a pad
	steps    []today.Step     // of yesterday, today and tomorrow, taken to be done unless the log says otherwise
	last     *KeptPlan
	forecast *forecast.Kept       // nil: none yet
	short    *forecast.ShortRange // nil: none
	cache    *weatherCache
	drawn    *weather // nil: not drawn yet
	failed   error    // why it can't be drawn
	lessons  *lessons // nil: the log was not learned from yet
	mayStay  bool     // a plan that comes out the same stays the current one
}

// reader is who the project's texts are worded for.
func (st *knowledge) reader() say.Reader {
	r := say.For(st.project.Language, st.project.Units == place.UnitsUS)
	r.Zone, r.Today = st.zone, st.today()
	return r
}

// today is the date at the project.
func (st *knowledge) today() unit.Date { return unit.DateOf(st.now, st.zone) }

// Replan makes one project's plan again and keeps it, with its forecast and
// what is due from it, in one transaction. Before the first forecast it
// answers the plan that awaits one, and keeps nothing. It returns
// fault.NotFound when there is no such project.
func (s *Service) Replan(ctx context.Context, account, project, because string) (kept KeptPlan, err error) {
	err = s.Store.InAccount(ctx, account, func(ctx context.Context, tx Tx) error {
		kept, err = s.replan(ctx, tx, project, because, false)
		return err
	})
	return kept, err
}

// Reconsider does as Replan does, for what nobody asked for: where the plan
// comes out as the current one, made today, that version stays, and only its
// mornings and its forecast are newer. Else 24 forecasts a day would make
// 24 plans to read through, most of them the same.
func (s *Service) Reconsider(ctx context.Context, account, project, because string) (kept KeptPlan, err error) {
	err = s.Store.InAccount(ctx, account, func(ctx context.Context, tx Tx) error {
		kept, err = s.replan(ctx, tx, project, because, true)
		return err
	})
	return kept, err
}

// cause is who moved: the builder sees the new plan in the answer, and gets
// no alert of it as well.
type cause bool

const (
	byWeather cause = false
	byBuilder cause = true
)

func (s *Service) replan(ctx context.Context, tx Tx, project, because string, mayStay bool) (KeptPlan, error) {
	p, err := tx.LockProject(ctx, project)
	if err != nil {
		return KeptPlan{}, err
	}
	st, err := s.read(ctx, tx, p)
	if err != nil {
		return KeptPlan{}, err
	}
	st.mayStay = mayStay
	return s.replanFrom(ctx, tx, st, because, byWeather)
}

// replanFrom plans from what is known, keeps the plan, and sets what is due.
func (s *Service) replanFrom(ctx context.Context, tx Tx, st *knowledge, because string, by cause) (KeptPlan, error) {
	res, err := s.make(ctx, st, because, nil)
	if err != nil {
		return KeptPlan{}, err
	}
	kept := KeptPlan{Plan: res.Plan, Mornings: res.Mornings}
	if st.forecast != nil {
		kept.ForecastID = st.forecast.ID
		if kept, err = st.keep(ctx, tx, kept); err != nil {
			return KeptPlan{}, unkept(err)
		}
	}
	if err := st.keepSteps(ctx, tx, kept, by); err != nil {
		return KeptPlan{}, err
	}
	if err := st.replay(ctx); err != nil { // with the steps of now
		return KeptPlan{}, err
	}
	if err := s.raise(ctx, tx, st, kept, by); err != nil {
		return KeptPlan{}, err
	}
	return kept, nil
}

// keep keeps a plan as a new version, or lets the current one stay where it
// may.
func (st *knowledge) keep(ctx context.Context, tx Tx, k KeptPlan) (KeptPlan, error) {
	if st.last == nil {
		return tx.AddPlan(ctx, st.project.ID, k)
	}
	if st.mayStay && st.stays(k.Plan) {
		k.Plan, k.Changes, k.ChangesData = st.last.Plan, st.last.Changes, st.last.ChangesData
		return k, tx.KeepMornings(ctx, st.project.ID, k)
	}
	k.ChangesData = st.worthTelling(advise.Changes(st.last.Plan, k.Plan))
	message.WordEach(&k.Changes, &k.ChangesData, st.reader().Say)
	return tx.AddPlan(ctx, st.project.ID, k)
}

// worthTelling leaves out that the start of a day under way has moved: each pad
// placed moves the start of those that are left.
func (st *knowledge) worthTelling(changes []message.Message) []message.Message {
	if !st.begun(st.project.Spec) {
		return changes
	}
	return slices.DeleteFunc(changes, func(m message.Message) bool {
		d, ok := m.Figures.Get("date").(message.Day)
		return m.Code == job.ChangeStart && ok && unit.Date(d) == st.today()
	})
}

// What is lost in the noise of a forecast: pages and alerts give whole per
// cents, and an end is an estimate (judgement). The plan that stays is what the
// next is compared with, so that small steps do not add up.
const (
	sameChance = 0.005
	sameEnd    = 5 * time.Minute
)

// stays reports whether a new plan says nothing to a builder that the current one
// does not say. One made on a day before does not stay: each day begins with a
// plan of its own, until there is nothing left to pour.
func (st *knowledge) stays(p pour.Plan) bool {
	last := st.last.Plan
	if p.State != pour.Done && unit.DateOf(last.MadeAt, st.zone) != st.today() || len(p.Pours) != len(last.Pours) {
		return false
	}
	p.Pours = slices.Clone(p.Pours)
	for i := range p.Pours {
		is, was := &p.Pours[i], &last.Pours[i]
		if math.Abs(is.ChanceUnharmed-was.ChanceUnharmed) < sameChance {
			is.ChanceUnharmed = was.ChanceUnharmed
		}
		if is.End.Sub(was.End).Abs() < sameEnd {
			is.End = was.End
		}
	}
	said := func(p pour.Plan) string {
		p.Version, p.MadeAt, p.Solver = nil, time.Time{}, pour.Solver{} // how it came to be
		p.Because, p.BecauseData = "", message.Message{}
		b, err := json.Marshal(p)
		if err != nil {
			return err.Error() // no such plan is ever kept
		}
		return string(b)
	}
	return said(p) == said(last)
}

// read gathers what is known of a project.
func (s *Service) read(ctx context.Context, tx Tx, p pour.Project) (*knowledge, error) {
	zone, err := p.Location()
	if err != nil {
		return nil, err
	}
	st := &knowledge{project: p, zone: zone, now: s.Now(), cache: &s.weathers}
	logs, err := tx.LogsForPlans(ctx, []string{p.ID})
	if err != nil {
		return nil, fmt.Errorf("projects: log: %w", err)
	}
	st.log = logs[p.ID]
	steps, err := tx.DaySteps(ctx, []string{p.ID})
	if err != nil {
		return nil, fmt.Errorf("watch: steps of the day: %w", err)
	}
	st.steps = steps[p.ID]
	last, err := tx.CurrentPlan(ctx, p.ID)
	switch {
	case err == nil:
		st.last = &last
	case !errors.Is(err, fault.NotFound):
		return nil, fmt.Errorf("projects: current plan: %w", err)
	}
	cell := place.CellOf(p.Latitude, p.Longitude)
	if st.forecast, err = newest(ctx, tx, cell); err != nil {
		return nil, err
	}
	if st.short, err = tx.ShortRange(ctx, cell); err != nil {
		return nil, fmt.Errorf("projects: short range: %w", err)
	}
	return st, st.replay(ctx)
}

// replay reduces the log to what is true of each pad now. Where the weather
// can't be drawn, a pad has cured when it would without any being held: what
// is logged, and who gets an alert, does not wait for a better forecast. An
// error is the context's.
func (st *knowledge) replay(ctx context.Context) error {
	st.settle(history.Replay(st.given(ctx)))
	return ctx.Err()
}

// errNoPlan marks what kept the planner from an answer that can be kept, apart
// from what kept it from being stored.
var errNoPlan = errors.New("projects: no plan could be made")

// unkept marks an error of a plan that can't be stored, not of the store.
func unkept(err error) error {
	err = fmt.Errorf("projects: keep the plan: %w", err)
	if errors.Is(err, fault.Invalid) {
		return fmt.Errorf("%w: %w", errNoPlan, err)
	}
	return err
}

// make asks the planner. Errors are errNoPlan, a panic's too: a flaw in the
// planning must not take an entry or an alert with it.
func (s *Service) make(ctx context.Context, st *knowledge, because string,
	whatIf *job.WhatIf) (res *job.Result, err error) {
	defer func() {
		if p := recover(); p != nil {
			s.log().ErrorContext(ctx, "the planner panicked", "project", st.project.ID, "panic", p, "trace",
				string(debug.Stack()))
			res, err = nil, fmt.Errorf("%w: the planner panicked", errNoPlan)
		}
	}()
	in, err := st.job(ctx)
	if err != nil {
		return nil, fmt.Errorf("%w: %w", errNoPlan, err)
	}
	in.Because, in.WhatIf = message.Stored(because), whatIf
	begun := s.wall()
	if res, err = s.Plan(ctx, in); err != nil {
		return nil, fmt.Errorf("%w: %w", errNoPlan, err)
	}
	*res = res.Worded(st.reader().Say)
	res.Plan.Solver.ElapsedMS = float64(s.wall().Sub(begun).Microseconds()) / 1000
	return res, nil
}

// job is what is planned from.
func (st *knowledge) job(ctx context.Context) (job.Job, error) {
	light, err := daysFrom(st.project, st.zone, st.today(), days+1)
	if err != nil {
		return job.Job{}, fmt.Errorf("light: %w", err)
	}
	w, spec, err := st.corrected(ctx)
	if err != nil {
		return job.Job{}, err
	}
	in := job.Job{Spec: spec, Records: st.planned(), Now: st.now, Zone: st.zone, Days: light,
		Skipped: st.skipped(), Begun: st.begun(spec), Ready: st.ready()}
	if st.last != nil {
		in.Last = &st.last.Plan
	}
	if w != nil {
		in.Weather, in.Slabs = w.scenarios, w.slabs
		in.Trust = trustIn(st.forecast.Forecast, st.now)
	}
	return in, nil
}

// begun reports whether the crew has set up today, by the log or by its steps.
func (st *knowledge) begun(spec pour.Spec) bool {
	return st.state.Day.StartedAt != nil ||
		!st.state.Day.Skipped && today.Begun(st.steps, st.now, st.zone, minutes(spec.Crew.SetUpMin))
}

// ready is when the crew began the pad in hand, by the log or by its steps, or when
// it is free for the next one. Zero: it rains, and nothing is in hand.
func (st *knowledge) ready() time.Time {
	if st.state.Day.RainSince != nil {
		return time.Time{}
	}
	placed := time.Time{} // the last pad
	for _, p := range st.state.Pads {
		if p.PlacedAt == nil && p.PlacingAt != nil && !p.PlacingAt.After(st.now) {
			return *p.PlacingAt
		}
		if p.PlacedAt != nil && p.PlacedAt.After(placed) {
			placed = *p.PlacedAt
		}
	}
	for _, x := range st.steps {
		i := padIndex(st.project.Spec, x.Pad)
		if i < 0 || st.state.Pads[i].PlacedAt != nil || x.PlaceFrom.After(st.now) || !x.PlaceUntil.After(st.now) {
			continue
		}
		if placed.After(x.PlaceFrom) { // one pad is placed at a time
			return placed
		}
		return x.PlaceFrom
	}
	return st.now
}

// skipped are the mornings that the builder has called off, and the pads that
// rain keeps from being added to today.
func (st *knowledge) skipped() []job.Skip {
	var out []job.Skip
	for _, e := range st.counted {
		if e.Kind == pour.EntrySkipped {
			out = append(out, job.Skip{Date: unit.DateOf(e.At, st.zone), Pad: e.Pad})
		}
	}
	return append(out, st.rainedOut()...)
}

// trustIn says where a forecast comes from and how far to believe it.
func trustIn(f forecast.Forecast, now time.Time) job.Trust {
	t := job.Trust{Members: max(1, len(f.Members)), FetchedAt: f.FetchedAt()}
	_, t.Age = f.TrustAt(now)
	var said []string
	for i, src := range f.Sources {
		if i == 0 {
			t.Feed, t.IssuedAt = src.Feed, src.IssuedAt
		}
		t.Sample = t.Sample || src.Feed == forecast.SampleFeed
		if src.Attribution != "" && !strings.Contains(strings.Join(said, "\n"), src.Attribution) {
			said = append(said, src.Attribution)
		}
	}
	t.Attribution = strings.Join(said, "; ")
	return t
}

// WhatIf answers how the plan would be under a change, and keeps nothing: the
// plan's version is nil. Before the first forecast it is fault.Unavailable.
func (s *Service) WhatIf(ctx context.Context, account, project string, w job.WhatIf) (res job.Result, err error) {
	err = s.Store.InAccount(ctx, account, func(ctx context.Context, tx Tx) error {
		p, err := tx.Project(ctx, project)
		if err != nil {
			return err
		}
		st, err := s.read(ctx, tx, p)
		if err != nil {
			return err
		}
		if st.forecast == nil {
			return fault.Of(fault.Unavailable, NothingToTry)
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
