package projects_test

import (
	"context"
	"errors"
	"testing"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/fetching"
	"dryslot/internal/forecast"
	"dryslot/internal/idempotency"
	"dryslot/internal/paging"
	"dryslot/internal/place"
	"dryslot/internal/postgres"
	"dryslot/internal/pour"
	"dryslot/internal/projects"
	"dryslot/internal/unit"
)

// reconsider fetches and plans again, as the jobs do.
func (w *world) reconsider(p pour.Project) projects.KeptPlan {
	w.t.Helper()
	w.refresh(p)
	k, err := w.Reconsider(context.Background(), w.account, p.ID, "new forecast")
	if err != nil {
		w.t.Fatal(err)
	}
	return k
}

// plans are all that are kept of a project, the newest first.
func (w *world) plans(p pour.Project) (all []pour.Plan) {
	w.t.Helper()
	err := w.store.InAccount(context.Background(), w.account,
		func(ctx context.Context, tx *postgres.AccountTx) (err error) {
			all, _, err = tx.Plans(ctx, p.ID, paging.Page{Limit: 200})
			return err
		})
	if err != nil {
		w.t.Fatal(err)
	}
	return all
}

// A new forecast that brings the same plan makes no new version of it; what is
// told of the mornings is the new forecast's all the same.
func TestAPlanThatComesOutTheSameStays(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := w.project()
	first := w.reconsider(p)
	w.later(75 * time.Minute)
	second := w.reconsider(p)
	if *first.Plan.Version != 1 || *second.Plan.Version != 1 || !second.Plan.MadeAt.Equal(first.Plan.MadeAt) ||
		len(w.plans(p)) != 1 {
		t.Fatalf("versions %d and %d, made at %s and %s", *first.Plan.Version, *second.Plan.Version, first.Plan.MadeAt,
			second.Plan.MadeAt)
	}
	k, _ := w.current(p)
	if k.ForecastID <= first.ForecastID || !k.Mornings[1].Forecast.FetchedAt.Equal(w.clock()) {
		t.Errorf("the mornings are of forecast %d, fetched at %s", k.ForecastID, k.Mornings[1].Forecast.FetchedAt)
	}
	if asked, err := w.Replan(context.Background(), w.account, p.ID, "asked for"); err != nil ||
		*asked.Plan.Version != 2 || asked.Plan.Because != "asked for" {
		t.Errorf("a plan that was asked for: %+v, %v", asked.Plan, err)
	}
	w.feed.Set(func(at time.Time) float64 {
		if at.Before(begin(t).Add(30 * time.Hour)) {
			return 5
		}
		return 0
	}, nil)
	w.later(75 * time.Minute)
	if wet := w.reconsider(p); *wet.Plan.Version != 3 || len(wet.Changes) == 0 {
		t.Errorf("with rain on its day the plan is version %d: %q", *wet.Plan.Version, wet.Changes)
	}
	w.at(10, 4, 0)
	if next := w.reconsider(p); *next.Plan.Version != 4 {
		t.Errorf("the first plan of a day is version %d", *next.Plan.Version)
	}
}

// Of a project that is finished nothing is added for ever.
func TestAFinishedPlanStays(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := w.project()
	w.reconsider(p)
	w.at(10, 18, 0)
	for _, pad := range []string{"A", "B", "C"} {
		w.record(p, pour.LogEntry{Kind: pour.EntryPlaced, Pad: pad, At: w.clock().Add(-9 * time.Hour)})
	}
	if k := w.reconsider(p); k.Plan.State != pour.Done || *k.Plan.Version != 4 {
		t.Fatalf("all placed: %+v", k.Plan)
	}
	for day := 11; day < 14; day++ {
		w.at(day, 5, 0)
		w.reconsider(p)
	}
	if all := w.plans(p); len(all) != 4 {
		t.Errorf("%d plans after three days, want 4", len(all))
	}
	if k, _ := w.current(p); k.Mornings[0].Date != (unit.Date{Year: 2026, Month: 6, Day: 13}) {
		t.Errorf("the mornings begin on %s", k.Mornings[0].Date)
	}
}

// counting counts what is read of a transaction.
type counting struct {
	projects.Tx
	logs, plans, forecasts int
}

func (c *counting) LogsForPlans(ctx context.Context, projects []string) (map[string][]pour.LogEntry, error) {
	c.logs++
	return c.Tx.LogsForPlans(ctx, projects)
}

func (c *counting) CurrentPlan(ctx context.Context, project string) (projects.KeptPlan, error) {
	c.plans++
	return c.Tx.CurrentPlan(ctx, project)
}

func (c *counting) Forecast(ctx context.Context, cell place.Cell) (forecast.Kept, error) {
	c.forecasts++
	return c.Tx.Forecast(ctx, cell)
}

// counted is a store whose reads are counted.
type counted struct {
	projects.Store
	read *counting
}

func (s counted) InAccount(ctx context.Context, account string, fn func(context.Context, projects.Tx) error) error {
	return s.Store.InAccount(ctx, account, func(ctx context.Context, tx projects.Tx) error {
		s.read.Tx = tx
		return fn(ctx, s.read)
	})
}

// A list of projects reads their logs at once, and the weather of a place once
// and only where a pad is curing.
func TestAListOfProjectsReadsWhatItShows(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	quiet, soft, softToo, old := w.project(), w.project(), w.project(), w.project()
	w.weather(quiet)
	list := func(list ...pour.Project) (out [][]pour.PadRecord, read counting) {
		w.Store = counted{w.store.Projects(), &read}
		var err error
		out, err = w.RecordsOf(context.Background(), w.account, list)
		w.Store = w.store.Projects()
		if err != nil {
			t.Fatal(err)
		}
		return out, read
	}
	w.record(old, pour.LogEntry{Kind: pour.EntryPlaced, Pad: "C", At: w.clock().Add(-40 * 24 * time.Hour)})
	got, read := list(quiet, old)
	if read.logs != 1 || read.plans != 0 || read.forecasts != 0 {
		t.Errorf("with nothing curing %d logs, %d plans and %d forecasts were read", read.logs, read.plans,
			read.forecasts)
	}
	if got[0][0].State != pour.Waiting || got[1][0].State != pour.Waiting || got[1][2].State != pour.Cured {
		t.Errorf("%+v", got)
	}
	for _, p := range []pour.Project{soft, softToo} {
		w.record(p, pour.LogEntry{Kind: pour.EntryPlaced, Pad: "B", At: w.clock().Add(-9 * time.Hour)})
	}
	w.at(16, 6, 0) // cured by the warm days since, and not yet by the seven days of a guess
	got, read = list(soft, quiet, old, softToo)
	if read.logs != 1 || read.plans != 0 || read.forecasts != 1 {
		t.Errorf("with two pads curing at one place %d logs, %d plans and %d forecasts were read", read.logs,
			read.plans, read.forecasts)
	}
	for _, i := range []int{0, 3} {
		if r := got[i][1]; r.State != pour.Cured || r.PlacedAt == nil || r.CuredAt == nil {
			t.Errorf("the weather does not count: %+v", r)
		}
	}
	if got[1][1].State != pour.Waiting || got[2][2].State != pour.Cured {
		t.Errorf("%+v", got)
	}
}

// Pruning goes on until nothing is left to forget, and when its time is up it
// asks to be called again, with what it did kept.
func TestPruningComesToItsEnd(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := w.project()
	const hours = 2600
	old := w.clock().Add(-200 * 24 * time.Hour)
	left := func() int {
		r := fetching.Verification{}.Rain
		err := w.store.InSystem(context.Background(), func(ctx context.Context, tx *postgres.SystemTx) error {
			return tx.SeenRain(ctx, cellOf(p), old, &r)
		})
		if err != nil {
			t.Fatal(err)
		}
		return len(r.MM)
	}
	rain := func() {
		err := w.store.InAccount(context.Background(), w.account, func(ctx context.Context,
			tx *postgres.AccountTx) error {
			seen := make([]projects.SeenRain, hours)
			for i := range seen {
				seen[i] = projects.SeenRain{Hour: old.Add(time.Duration(i) * time.Hour), MM: 1}
			}
			return errors.Join(tx.KeepSeenRain(ctx, p.ID, cellOf(p), old, seen),
				tx.Remember(ctx, "POST /a", old.String(), idempotency.Answer{Status: 201}, old))
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	rain()
	if err := w.forgetting().Prune(context.Background()); err != nil {
		t.Fatal(err)
	}
	if n := left(); n != 0 {
		t.Errorf("%d hours of rain are left", n)
	}
	old = old.Add(time.Hour)
	rain() // its key is free: the answer of before was forgotten

	elapsed := time.Duration(0)
	w.Wall = func() time.Time { elapsed += 6 * time.Second; return begin(t).Add(elapsed) }
	err := w.forgetting().Prune(context.Background())
	var f *fault.Error
	if !errors.As(err, &f) || f.Kind != fault.Unavailable || f.RetryAfter <= 0 {
		t.Errorf("with its time up pruning gave %v", err)
	}
	if n := left(); n == 0 || n == hours {
		t.Errorf("%d hours of rain are left of %d", n, hours)
	}
	if err := w.forgetting().Prune(context.Background()); err != nil {
		t.Fatal(err)
	}
	if n := left(); n != 0 {
		t.Errorf("%d hours of rain are left", n)
	}
}
