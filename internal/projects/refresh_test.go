package projects_test

import (
	"context"
	"errors"
	"strings"
	"sync"
	"testing"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/fetching"
	"dryslot/internal/forecast"
	"dryslot/internal/forecast/skytest"
	"dryslot/internal/planner/job"
	"dryslot/internal/postgres"
	"dryslot/internal/pour"
	"dryslot/internal/projects"
)

func (w *world) refresh(p pour.Project) {
	w.t.Helper()
	if err := w.fetching.Refresh(context.Background(), cellOf(p)); err != nil {
		w.t.Fatal(err)
	}
}

func (w *world) later(d time.Duration) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.now = w.now.Add(d)
}

func TestACellIsFetchedOncePerPeriodHoweverManyAsk(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := w.project()
	w.project() // in the same cell
	var all sync.WaitGroup
	for range 8 {
		all.Go(func() {
			if err := w.fetching.Refresh(context.Background(), cellOf(p)); err != nil {
				t.Error(err)
			}
		})
	}
	all.Wait()
	w.refresh(p)
	if n := w.feed.Called(); n != 1 {
		t.Errorf("fetched %d times", n)
	}
	next := w.cell(p).NextFetchAt.Sub(w.clock())
	if next < time.Hour || next > 70*time.Minute {
		t.Errorf("next fetch in %v", next)
	}
	w.later(next)
	w.refresh(p)
	if n := w.feed.Called(); n != 2 {
		t.Errorf("fetched %d times", n)
	}
}

func TestAFailureSaysWhyAndWhenItIsTriedAgain(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := w.project()
	w.feed.Set(nil, fault.New(fault.Unavailable, "the provider answered 502"))
	var waits []time.Duration
	for n := 1; n <= 4; n++ {
		w.refresh(p)
		c := w.cell(p)
		if c.Failures != n || !strings.Contains(c.Trouble.Text, "502") || !c.LastTriedAt.Equal(w.clock()) ||
			!c.NextFetchAt.After(w.clock()) {
			t.Fatalf("after %d failures: %+v", n, c)
		}
		waits = append(waits, c.NextFetchAt.Sub(w.clock()))
		w.refresh(p) // too early
		if got := w.feed.Called(); got != n {
			t.Fatalf("tried %d times after %d failures", got, n)
		}
		w.later(waits[n-1])
	}
	if waits[3] <= waits[0] {
		t.Errorf("waits %v", waits)
	}
	w.feed.Set(nil, nil)
	w.refresh(p)
	if c := w.cell(p); c.Failures != 0 || c.Trouble.Text != "" || c.ForecastID == 0 {
		t.Errorf("after a success: %+v", c)
	}
}

func TestAFeedThatIsDownIsLeftAloneByAllCells(t *testing.T) {
	t.Parallel()
	for name, down := range map[string]error{
		"no answer":                   fault.New(fault.Unavailable, "down"),
		"a key that is refused, HTML": fault.Wrap(fault.Invalid, "refused", forecast.ErrRefusesAll),
	} {
		if asked, postponed := askNine(t, down); asked != 5 || postponed != 4 {
			t.Errorf("%s: asked %d times, postponed %d times", name, asked, postponed)
		}
	}
	// What a feed refuses of one place it may give of others.
	if asked, postponed := askNine(t, fault.New(fault.Invalid, "not here")); asked != 9 || postponed != 0 {
		t.Errorf("places that are refused: asked %d times, postponed %d times", asked, postponed)
	}
}

// askNine has the forecasts of nine cells fetched from a feed that fails.
func askNine(t *testing.T, fails error) (asked, postponed int) {
	t.Helper()
	w := newWorld(t)
	w.feed.Set(nil, fails)
	spec := pour.DefaultSpec()
	spec.Name, spec.TimeZone = "One of many", "Europe/Lisbon"
	spec.Pads = []pour.Pad{{Name: "A", LengthM: 1, WidthM: 1, ThicknessM: 0.08}}
	var ps []pour.Project
	for i := range 9 {
		spec.Latitude, spec.Longitude = 38+float64(i)/10, -8
		p, err := w.CreateProject(context.Background(), w.account, spec)
		if err != nil {
			t.Fatal(err)
		}
		ps = append(ps, p)
	}
	for _, p := range ps {
		var e *fault.Error
		if err := w.fetching.Refresh(context.Background(), cellOf(p)); errors.As(err, &e) && e.RetryAfter > 0 {
			postponed++
			if c := w.cell(p); c.Failures != 0 || c.Trouble.Data[0].Code != fetching.FeedPaused {
				t.Errorf("a cell that was not asked for: %+v", c)
			}
		} else if err != nil {
			t.Fatal(err)
		}
	}
	return w.feed.Called(), postponed
}

func TestLimitsHoldOverTwoWorkers(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	other := worldOver(t, w.store)
	other.fetching.Feeds, other.feed = w.fetching.Feeds, w.feed
	w.feed.Limit = forecast.Limits{PerMinute: 3, Weight: 1}
	spec := pour.DefaultSpec()
	spec.Name, spec.TimeZone = "One of many", "Europe/Lisbon"
	spec.Pads = []pour.Pad{{Name: "A", LengthM: 1, WidthM: 1, ThicknessM: 0.08}}
	postponed := 0
	for i := range 8 {
		spec.Latitude, spec.Longitude = 38+float64(i)/10, -8
		p, err := w.CreateProject(context.Background(), w.account, spec)
		if err != nil {
			t.Fatal(err)
		}
		by := []*world{w, other}[i%2]
		err = by.fetching.Refresh(context.Background(), cellOf(p))
		var e *fault.Error
		switch {
		case errors.As(err, &e) && e.RetryAfter > 30*time.Second && e.Message.Code == fetching.FeedUsedUp:
			postponed++
		case err != nil:
			t.Fatal(err)
		}
	}
	if w.feed.Called() != 3 || postponed != 5 {
		t.Errorf("asked %d times, postponed %d times", w.feed.Called(), postponed)
	}
}

func TestASecondFeedFillsInAndStandsIn(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	second := &skytest.Sky{Named: "second"}
	w.fetching.Feeds = append(w.fetching.Feeds, second)
	p := w.project()
	w.refresh(p)
	if second.Called() != 0 {
		t.Error("a second feed is asked although the first gave all")
	}
	w.feed.Gaps = true
	w.later(2 * time.Hour)
	k := w.weather(p)
	w.kept(k, func(f forecast.Forecast) {
		h := f.Hours[60]
		if f.Sources[0].Feed != "sky" || !h.Get(forecast.WindMS).Known ||
			f.Sources[h.From[forecast.WindMS]].Feed != "second" || f.Sources[h.From[forecast.AirC]].Feed != "sky" {
			t.Errorf("sources %+v", f.Sources)
		}
	})
	w.feed.Set(nil, fault.New(fault.Unavailable, "down"))
	w.later(2 * time.Hour)
	k = w.weather(p)
	w.kept(k, func(f forecast.Forecast) {
		if f.Sources[0].Feed != "second" {
			t.Errorf("sources %+v", f.Sources)
		}
	})
	if note := k.Mornings[1].Forecast; note == nil || note.Feed != "second" {
		t.Errorf("the mornings name %+v", note)
	}
}

// kept looks at the forecast that a plan was made from.
func (w *world) kept(k projects.KeptPlan, look func(forecast.Forecast)) {
	w.t.Helper()
	err := w.store.InAccount(context.Background(), w.account, func(ctx context.Context, tx *postgres.AccountTx) error {
		f, err := tx.ForecastByID(ctx, k.ForecastID)
		if err == nil {
			look(f.Forecast)
		}
		return err
	})
	if err != nil {
		w.t.Fatal(err)
	}
}

// A feed that begins with the hour at hand does not make the service forget
// the weather that a pad has had since it was placed.
func TestTheNightIsRememberedOfAFeedThatForgetsIt(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.feed.NoPast = true
	p := w.project()
	w.weather(p)
	w.at(10, 5, 0)
	w.weather(p)
	w.at(10, 8, 0)
	w.record(p, pour.LogEntry{Kind: pour.EntryPlaced, Pad: "A", At: w.clock().Add(-time.Hour)})
	w.at(10, 10, 30)
	w.weather(p)
	got := w.record(p, pour.LogEntry{Kind: pour.EntryRainedOn, Pad: "A", At: w.clock(), RainMM: mm(1)})
	if len(got.Entry.Effects) != 1 || strings.Contains(got.Entry.Effects[0].Why, "guess") {
		t.Errorf("the weather since placing is forgotten: %+v", got.Entry.Effects)
	}
}

func TestAgeLowersTheVerdictAndSaysSo(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := w.project()
	w.weather(p)
	verdict := func() (job.Verdict, string, int) {
		k, _ := w.current(p)
		m := k.Mornings[len(k.Mornings)-6] // far enough ahead to stay in sight
		for _, c := range m.Cautions {
			if c.Code == "aged-forecast" {
				return m.Verdict, c.Text, m.Forecast.AgeMin
			}
		}
		return m.Verdict, "", m.Forecast.AgeMin
	}
	fresh, said, age := verdict()
	if fresh == job.VerdictHold || said != "" || age != 0 {
		t.Fatalf("fresh: %s, %q, %d min", fresh, said, age)
	}
	w.later(6*time.Hour + time.Minute)
	if v, said, age := verdict(); v != job.VerdictCare || !strings.Contains(said, "6\u00a0h old") || age != 361 {
		t.Errorf("after six hours: %s, %q, %d min", v, said, age)
	}
	w.later(18 * time.Hour)
	if v, said, _ := verdict(); v != job.VerdictHold || !strings.Contains(said, "24\u00a0h old") {
		t.Errorf("after a day: %s, %q", v, said)
	}
}

func TestBeforeTheFirstForecast(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := w.project()
	w.recipient(p)
	k, records := w.current(p)
	if *k.Plan.Version != 0 || k.Plan.State != pour.AwaitingForecast || len(k.Mornings) != 10 || len(records) != 3 {
		t.Fatalf("%+v, %d mornings, %d records", k.Plan, len(k.Mornings), len(records))
	}
	if m := k.Mornings[0]; m.Verdict != job.VerdictHold || m.Score != nil || m.Forecast != nil {
		t.Errorf("%+v", m)
	}
	if _, err := w.WhatIf(context.Background(), w.account, p.ID, job.WhatIf{}); !errors.Is(err, fault.Unavailable) {
		t.Errorf("what if: %v", err)
	}
	got, err := w.Record(context.Background(), w.account, p.ID,
		pour.LogEntry{Kind: pour.EntryPlaced, Pad: "A", At: w.clock().Add(-time.Hour)})
	if err != nil || got.Plan.State != pour.AwaitingForecast {
		t.Errorf("a log entry before the first forecast: %+v, %v", got.Plan, err)
	}
	w.at(9, 19, 0)
	w.look(p)
	if got := w.mail.Subjects(); len(got) != 1 || !strings.HasPrefix(got[0], "Don't pour Wednesday (") {
		t.Errorf("told %q", got)
	}
}

func TestTheSameForecastGivesTheSamePlan(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := w.project()
	a := w.weather(p)
	b, err := w.Replan(context.Background(), w.account, p.ID, "asked")
	if err != nil {
		t.Fatal(err)
	}
	if *b.Plan.Version != *a.Plan.Version+1 || len(b.Changes) != 0 || len(a.Plan.Pours) == 0 ||
		a.Plan.Pours[0].Why != b.Plan.Pours[0].Why {
		t.Errorf("versions %d, %d; changes %q", *a.Plan.Version, *b.Plan.Version, b.Changes)
	}
}

func TestNothingIsSeenOfAnotherAccount(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := w.project()
	other, err := w.store.EnsureToken(context.Background(), "another token of thirty-two characters")
	if err != nil {
		t.Fatal(err)
	}
	ctx := context.Background()
	_, err1 := w.Replan(ctx, other, p.ID, "x")
	_, err2 := w.Record(ctx, other, p.ID, pour.LogEntry{Kind: pour.EntryPlaced, Pad: "A", At: w.clock()})
	_, err3 := w.WhatIf(ctx, other, p.ID, job.WhatIf{})
	_, err4 := w.ChangeProject(ctx, other, p.ID, p.Revision, p.Spec)
	for _, err := range []error{err1, err2, err3, err4, w.DeleteProject(ctx, other, p.ID)} {
		if !errors.Is(err, fault.NotFound) {
			t.Errorf("another account: %v", err)
		}
	}
}

func TestAProjectThatMovesIsWatchedWhereItIs(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := w.project()
	w.weather(p)
	spec := p.Spec
	spec.Latitude, spec.Longitude, spec.TimeZone, spec.Units = 44.05, -121.31, "", ""
	moved, err := w.ChangeProject(context.Background(), w.account, p.ID, p.Revision, spec)
	if err != nil {
		t.Fatal(err)
	}
	if moved.TimeZone != "America/Los_Angeles" || moved.Units != "us" || moved.Revision != p.Revision+1 {
		t.Errorf("moved to %s, %s, revision %d", moved.TimeZone, moved.Units, moved.Revision)
	}
	w.refresh(moved)
	if w.cell(moved).ForecastID == 0 {
		t.Error("the new place has no forecast")
	}
	if _, err := w.ChangeProject(context.Background(), w.account, p.ID, p.Revision,
		spec); !errors.Is(err, fault.Stale) {
		t.Errorf("a change of what was changed: %v", err)
	}
}
