package projects

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/forecast"
	"dryslot/internal/message"
	"dryslot/internal/place"
	"dryslot/internal/planner/job"
	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

// Snapshot is all that is known of a project at one instant.
type Snapshot struct {
	service *Service
	known   *knowledge
	plan    KeptPlan
}

// Snapshot reads a project once. It joins the transaction that ctx carries.
func (s *Service) Snapshot(ctx context.Context, p pour.Project) (out *Snapshot, err error) {
	err = s.Store.InAccount(ctx, p.Account, func(ctx context.Context, tx Tx) error {
		st, err := s.read(ctx, tx, p)
		if err != nil {
			return err
		}
		k, err := s.current(ctx, st)
		if err != nil {
			return err
		}
		k.Mornings = aged(st, k)
		out = &Snapshot{service: s, known: st, plan: k}
		return nil
	})
	return out, err
}

// Records are how far each pad has come, in the order of the project's pads.
func (s *Snapshot) Records() []pour.PadRecord { return s.known.records }

// Plan is the plan in force, as Service.Current returns it.
func (s *Snapshot) Plan() KeptPlan { return s.plan }

// RecordsOf returns how far the pads of several projects of one account have
// come, in the projects' order. It reads their logs together, and the weather
// of a place only where a pad is curing under it.
func (s *Service) RecordsOf(ctx context.Context, account string, projects []pour.Project) (
	out [][]pour.PadRecord, err error) {
	err = s.Store.InAccount(ctx, account, func(ctx context.Context, tx Tx) error {
		out, err = s.recordsOf(ctx, tx, projects)
		return err
	})
	return out, err
}

func (s *Service) recordsOf(ctx context.Context, tx Tx, projects []pour.Project) ([][]pour.PadRecord, error) {
	ids := make([]string, len(projects))
	for i := range projects {
		ids[i] = projects[i].ID
	}
	logs, err := tx.LogsForPlans(ctx, ids)
	if err != nil {
		return nil, fmt.Errorf("projects: logs: %w", err)
	}
	steps, err := tx.DaySteps(ctx, ids)
	if err != nil {
		return nil, fmt.Errorf("watch: steps of days: %w", err)
	}
	out := make([][]pour.PadRecord, len(projects))
	var held *forecast.Kept
	var heldOf *place.Cell
	for _, i := range neighbours(projects) {
		p := projects[i]
		zone, err := p.Location()
		if err != nil {
			return nil, err
		}
		st := &knowledge{project: p, zone: zone, now: s.Now(), cache: &s.weathers, log: logs[p.ID], steps: steps[p.ID]}
		if st.curing() {
			if cell := place.CellOf(p.Latitude, p.Longitude); heldOf == nil || *heldOf != cell {
				if held, err = newest(ctx, tx, cell); err != nil {
					return nil, err
				}
				heldOf = &cell
			}
			st.forecast = held
		}
		if err := st.replay(ctx); err != nil {
			return nil, err
		}
		out[i] = st.records
	}
	return out, nil
}

// neighbours returns the indices of projects, those of one cell one after
// another: the weather of a place is then read and drawn once, and let go.
func neighbours(projects []pour.Project) []int {
	order, cells := make([]int, len(projects)), make([]place.Cell, len(projects))
	for i, p := range projects {
		order[i], cells[i] = i, place.CellOf(p.Latitude, p.Longitude)
	}
	slices.SortFunc(order, func(a, b int) int {
		return cmp.Or(cmp.Compare(cells[a].Latitude, cells[b].Latitude), cmp.Compare(cells[a].Longitude,
			cells[b].Longitude), cmp.Compare(a, b))
	})
	return order
}

// curing reports whether a pad was placed so lately that the weather held says
// when it has cured.
func (st *knowledge) curing() bool {
	return slices.ContainsFunc(st.log, func(e pour.LogEntry) bool {
		return e.Kind == pour.EntryPlaced && st.now.Sub(e.At) <= weatherHeld
	})
}

// newest returns the newest forecast of a cell; nil: none yet.
func newest(ctx context.Context, tx Tx, cell place.Cell) (*forecast.Kept, error) {
	fc, err := tx.Forecast(ctx, cell)
	switch {
	case errors.Is(err, fault.NotFound):
		return nil, nil
	case err != nil:
		return nil, fmt.Errorf("projects: forecast: %w", err)
	}
	return &fc, nil
}

// Current returns the plan in force with its mornings from today on, the age
// of their forecast as it is now, and their verdict lowered for it: to care
// when it is older than 6 h, to hold when it is older than a day. Before the
// first plan it is version 0, awaiting its forecast.
func (s *Service) Current(ctx context.Context, p pour.Project) (k KeptPlan, err error) {
	err = s.Store.InAccount(ctx, p.Account, func(ctx context.Context, tx Tx) error {
		k, err = s.readCurrent(ctx, tx, p)
		return err
	})
	return k, err
}

func (s *Service) readCurrent(ctx context.Context, tx Tx, p pour.Project) (KeptPlan, error) {
	zone, err := p.Location()
	if err != nil {
		return KeptPlan{}, err
	}
	st := &knowledge{project: p, zone: zone, now: s.Now()}
	k, err := tx.CurrentPlan(ctx, p.ID)
	switch {
	case errors.Is(err, fault.NotFound):
		if st, err = s.read(ctx, tx, p); err != nil {
			return KeptPlan{}, err
		}
		if k, err = s.current(ctx, st); err != nil {
			return KeptPlan{}, err
		}
	case err != nil:
		return KeptPlan{}, fmt.Errorf("projects: current plan: %w", err)
	}
	k.Mornings = aged(st, k)
	return k, nil
}

// current is the plan that is kept, or, before the first forecast, the one
// that awaits it.
func (s *Service) current(ctx context.Context, st *knowledge) (KeptPlan, error) {
	if st.last != nil {
		return *st.last, nil
	}
	waiting := *st
	// A forecast shows only together with its plan.
	waiting.forecast, waiting.drawn, waiting.lessons = nil, nil, nil
	res, err := s.make(ctx, &waiting, "no forecast yet", nil)
	if err != nil {
		return KeptPlan{}, err
	}
	return KeptPlan{Plan: res.Plan, Mornings: res.Mornings}, nil
}

// aged returns the mornings from today on as they are to be believed now:
// their forecast's age brought up to date, and the verdict lowered to care
// when it is older than 6 h, to hold when it is older than a day.
func aged(st *knowledge, k KeptPlan) []job.Morning {
	out := make([]job.Morning, 0, len(k.Mornings))
	for _, m := range k.Mornings {
		if m.Date.Before(st.today()) {
			continue
		}
		if m.Forecast != nil {
			if k.Confirmed.After(m.Forecast.FetchedAt) {
				note := *m.Forecast
				note.FetchedAt = k.Confirmed
				m.Forecast = &note
			}
			m = lower(m, st.now, st.reader().Say)
		}
		out = append(out, m)
	}
	return out
}

// Holds returns until when the clock alone changes nothing in what Current
// returned but the age of the forecast, and what the age counts from; zero:
// there is no forecast.
func (k KeptPlan) Holds(zone *time.Location, now time.Time) (since, until time.Time) {
	until = unit.DateOf(now, zone).AddDays(1).At(0, zone)
	for _, m := range k.Mornings {
		if m.Forecast == nil {
			continue
		}
		f := noted(*m.Forecast)
		from := f.AgedFrom()
		if !since.IsZero() && !from.Equal(since) {
			return since, time.Time{} // two ages: an answer can state only one
		}
		since = from
		next := from.Add(forecast.AgedAfter)
		if age := now.Sub(from); age >= forecast.AgedAfter {
			next = from.Add(age.Truncate(agedStep) + agedStep)
		}
		if next.Before(until) {
			until = next
		}
	}
	return since, until
}

// agedStep is how closely the caution of an aged forecast gives its age.
const agedStep = time.Hour / 10

// noted is as much of a forecast as its age follows from.
func noted(n job.ForecastNote) forecast.Forecast {
	return forecast.Forecast{Sources: []forecast.Source{{Feed: n.Feed, IssuedAt: n.IssuedAt, FetchedAt: n.FetchedAt}}}
}

// lower applies the age of its forecast to one morning, without altering what
// is kept.
func lower(m job.Morning, now time.Time, say func(message.Message) string) job.Morning {
	note := *m.Forecast
	f := noted(note)
	trust, age := f.TrustAt(now)
	note.AgeMin = int(age / time.Minute)
	m.Forecast = &note
	m.Cautions = slices.DeleteFunc(slices.Clone(m.Cautions), func(c job.Caution) bool { return c.Code == agedCode })
	if trust == forecast.Fresh {
		return m
	}
	limit, severity, code := forecast.AgedAfter, job.Watch, job.CautionAged
	since := message.Duration("age", age.Truncate(time.Hour))
	if trust == forecast.Old {
		limit, severity, code = forecast.OldAfter, job.Act, job.CautionOld
		if m.Verdict != job.VerdictHold {
			m.ReasonData = message.New(job.ForecastOld, since)
			m.Reason = say(m.ReasonData)
		}
		m.Verdict = job.VerdictHold
	} else if m.Verdict == job.VerdictPour {
		m.Verdict = job.VerdictCare
	}
	c := job.Caution{Code: agedCode, Severity: severity, Data: []message.Message{message.New(code, since)},
		SourceData: message.New(sourceForecastRuns),
		Figure:     &job.Figure{Name: "forecast_age_h", Value: float64(int(age.Hours()*10)) / 10, Limit: limit.Hours()}}
	m.Cautions = append([]job.Caution{c.Worded(say)}, m.Cautions...)
	return m
}

// agedCode marks the caution of a forecast that has grown old.
const agedCode = "aged-forecast"
