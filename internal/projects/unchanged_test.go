package projects_test

import (
	"context"
	"testing"
	"time"

	"dryslot/internal/planner/job"
	"dryslot/internal/planner/plannertest"
	"dryslot/internal/pour"
)

// plans makes every plan that is asked for, and returns how often the planner
// was called.
func (w *world) planAll() int {
	w.t.Helper()
	n := 0
	w.Plan = func(ctx context.Context, in job.Job) (*job.Result, error) {
		n++
		return plannertest.Plan(ctx, in)
	}
	for range 5 {
		if err := w.MakeNext(context.Background()); err != nil {
			w.t.Fatal(err)
		}
	}
	return n
}

// A document that says what the one before said costs no plan. Its age counts
// from when it was found to be the newest still, so that it does not grow old.
func TestAnUnchangedForecastMakesNoPlan(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.feed.Since = w.clock()
	p := w.project()
	w.refresh(p)
	if n := w.planAll(); n == 0 {
		t.Fatal("no first plan")
	}
	first, _ := w.current(p)
	for range 6 {
		w.later(75 * time.Minute)
		w.refresh(p)
		if n := w.planAll(); n != 0 {
			t.Fatalf("%d plans of an unchanged forecast", n)
		}
		k, _ := w.current(p)
		note := k.Mornings[0].Forecast
		if note.AgeMin != 0 || !note.FetchedAt.Equal(w.clock()) || k.ForecastID != first.ForecastID {
			t.Errorf("the forecast %d is %d minutes old, fetched at %s", k.ForecastID, note.AgeMin, note.FetchedAt)
		}
		for _, c := range k.Mornings[0].Cautions {
			if c.Code == "aged-forecast" {
				t.Errorf("%s: %+v", w.clock(), c)
			}
		}
	}
	if c := w.cell(p); c.Failures != 0 || !c.LastTriedAt.Equal(w.clock()) || !c.NextFetchAt.After(w.clock()) {
		t.Errorf("the cell: %+v", c)
	}
	w.feed.Set(func(time.Time) float64 { return 3 }, nil)
	w.later(75 * time.Minute)
	w.refresh(p)
	if n := w.planAll(); n != 1 {
		t.Errorf("%d plans of a forecast with rain, want 1", n)
	}
}

// On the day of a pour the plan is looked at again while the day goes on, with
// the same weather too.
func TestADayWithAPourIsPlannedAgain(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.at(9, 5, 0)
	w.feed.Since = w.clock()
	p := w.project()
	w.refresh(p)
	w.planAll()
	k, _ := w.current(p)
	if k.Plan.On(k.Mornings[0].Date) == nil {
		t.Fatalf("no pour today: %+v", k.Plan.Pours)
	}
	n := 0
	for range 3 {
		w.later(75 * time.Minute)
		if err := w.EnqueueDue(context.Background()); err != nil {
			t.Fatal(err)
		}
		w.raise(p)
		n += w.planAll()
	}
	if n == 0 {
		t.Error("the day of a pour went on, and its plan was not looked at")
	}
}

// Newer weather changes no plan of a project whose pads have all cured.
func TestAFinishedProjectIsNotPlannedFromNewWeather(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := w.project()
	w.refresh(p)
	w.planAll()
	w.at(10, 18, 0)
	for _, pad := range []string{"A", "B", "C"} {
		w.record(p, pour.LogEntry{Kind: pour.EntryPlaced, Pad: pad, At: w.clock().Add(-9 * time.Hour)})
	}
	w.refresh(p)
	if n := w.planAll(); n == 0 {
		t.Error("while its pads cure new weather is not looked at")
	}
	w.at(28, 18, 0)
	w.look(p) // the day's first look
	w.refresh(p)
	if n := w.planAll(); n != 0 {
		t.Errorf("%d plans of a finished project", n)
	}
	if k, _ := w.current(p); len(k.Mornings) == 0 {
		t.Error("it has no coming dates any more")
	}
}
