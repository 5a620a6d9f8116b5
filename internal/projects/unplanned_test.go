package projects_test

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"dryslot/internal/alerts"
	"dryslot/internal/fault"
	"dryslot/internal/fetching"
	"dryslot/internal/notify"
	"dryslot/internal/postgres"
	"dryslot/internal/pour"
	"dryslot/internal/projects"
	"dryslot/internal/work"
)

func (w *world) log(p pour.Project) (all []pour.LogEntry) {
	w.t.Helper()
	err := w.store.InAccount(context.Background(), w.account,
		func(ctx context.Context, tx *postgres.AccountTx) (err error) {
			all, err = tx.WholeLog(ctx, p.ID)
			return err
		})
	if err != nil {
		w.t.Fatal(err)
	}
	return all
}

// What happened has happened, whether or not a plan can be made from it.
func TestAnEntryIsKeptThoughNoPlanCanBeMade(t *testing.T) {
	t.Parallel()
	for name, fails := range map[string]func(w *world, s *spy, feed *torn, p pour.Project) (mend func()){
		"the weather can't be drawn": func(w *world, _ *spy, feed *torn, p pour.Project) func() {
			fetch := func(is bool) {
				feed.torn = is
				w.later(80 * time.Minute)
				w.refresh(p)
			}
			fetch(true)
			return func() { fetch(false) }
		},
		"the planner panics": func(w *world, _ *spy, _ *torn, _ pour.Project) func() {
			w.Wall = func() time.Time { panic("a flaw") } // the planner's time is taken
			return func() { w.Wall = nil }
		},
		"the plan can't be stored": func(_ *world, s *spy, _ *torn, _ pour.Project) func() {
			s.refuse = fault.New(fault.Invalid, "a figure is none")
			return func() { s.refuse = nil }
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			w := newWorld(t)
			feed, s := &torn{Sky: w.feed}, &spy{Store: w.store.Projects()}
			w.fetching.Feeds, w.Store = []fetching.Feed{feed}, s
			p := w.project()
			w.weather(p)
			w.record(p, pour.LogEntry{Kind: pour.EntryPlaced, Pad: "A", At: w.clock().Add(-time.Hour)})
			before, _ := w.current(p)
			w.later(time.Minute)
			mend := fails(w, s, feed, p)
			if _, err := w.Replan(context.Background(), w.account, p.ID, "asked"); err == nil {
				t.Fatal("a plan was made: this test tests nothing")
			}

			got := w.record(p, pour.LogEntry{Kind: pour.EntryPlaced, Pad: "B", At: w.clock().Add(-time.Hour)})
			if *got.Plan.Version != *before.Plan.Version || got.Plan.Because != before.Plan.Because {
				t.Errorf("answered with plan %d, want that of before, %d", *got.Plan.Version, *before.Plan.Version)
			}
			if len(got.Changes) != 1 || got.Changes[0].Code != projects.PlanFollows {
				t.Errorf("told %q", got.Changes)
			}
			if all := w.log(p); len(all) != 2 || all[1].ID != got.Entry.ID || all[1].Pad != "B" {
				t.Errorf("the log is %+v", all)
			}
			if !s.asked(work.Replan{Account: w.account, Project: p.ID, Because: "an entry logged"}) {
				t.Errorf("no new plan was asked for: %+v", s.work)
			}
			wet := w.record(p, pour.LogEntry{Kind: pour.EntryRainedOn, At: w.clock().Add(-30 * time.Minute),
				RainMM: mm(4), Minutes: mm(30)})
			if len(wet.Entry.Effects) != 2 || wet.Entry.Effects[0].State != pour.Lost || len(wet.Changes) != 3 ||
				wet.Changes[2].Code != projects.PlanFollows {
				t.Errorf("rain on what is soft: %+v, told %q", wet.Entry.Effects, wet.Changes)
			}
			if _, err := w.Record(context.Background(), w.account, p.ID,
				pour.LogEntry{Kind: pour.EntryLost, Pad: "B", At: w.clock().Add(-2 * time.Hour),
					Bags: mm(-1)}); !errors.Is(err,
				fault.Invalid) || len(w.log(p)) != 3 {
				t.Errorf("what can't be true: %v, %d entries", err, len(w.log(p)))
			}
			if k, records := w.current(p); *k.Plan.Version != *before.Plan.Version || records[1].State != pour.Lost {
				t.Errorf("plan %d is current, B is %s", *k.Plan.Version, records[1].State)
			}

			mend()
			if err := w.RaiseAlerts(context.Background(), w.account, p.ID); err != nil { // should the job be lost
				t.Fatal(err)
			}
			if err := w.MakeNext(context.Background()); err != nil {
				t.Fatal(err)
			}
			k, _ := w.current(p)
			if *k.Plan.Version <= *before.Plan.Version || !strings.Contains(padsOf(k.Plan), " B ") {
				t.Errorf("plan %d pours%s", *k.Plan.Version, padsOf(k.Plan))
			}
			version := *k.Plan.Version
			w.raise(p)
			if k, _ := w.current(p); *k.Plan.Version != version {
				t.Error("planned again although nothing was logged since")
			}
		})
	}
}

func TestAnEntryIsKeptThoughThereWasNeverAPlan(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	feed := &torn{Sky: w.feed, torn: true}
	w.fetching.Feeds = []fetching.Feed{feed}
	p := w.project()
	w.refresh(p)
	got := w.record(p, pour.LogEntry{Kind: pour.EntryPlaced, Pad: "A", At: w.clock().Add(-time.Hour)})
	if *got.Plan.Version != 0 || got.Plan.State != pour.AwaitingForecast ||
		got.Changes[len(got.Changes)-1].Code != projects.PlanFollows || len(w.log(p)) != 1 {
		t.Errorf("answered %+v, %q; %d entries", got.Plan, got.Changes, len(w.log(p)))
	}
	w.Wall = func() time.Time { panic("a flaw") } // not even one that awaits its forecast
	got = w.record(p, pour.LogEntry{Kind: pour.EntryFinished, Pad: "A", At: w.clock()})
	if *got.Plan.Version != 0 || got.Plan.State != pour.AwaitingForecast || got.Plan.Pours == nil ||
		got.Plan.Unplaced == nil || len(w.log(p)) != 2 {
		t.Errorf("answered %+v, %q; %d entries", got.Plan, got.Changes, len(w.log(p)))
	}
}

// A pad that is curing asks for the weather since it was placed: that none can
// be drawn must not keep the word of the morning from being said.
func TestWhatIsDueIsToldThoughTheWeatherOfAPadCannotBeDrawn(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	feed := &torn{Sky: w.feed}
	w.fetching.Feeds = []fetching.Feed{feed}
	p := w.project()
	w.recipient(p)
	w.weather(p)
	w.record(p, pour.LogEntry{Kind: pour.EntryPlaced, Pad: "A", At: w.clock()})
	w.at(9, 19, 0)
	w.look(p)
	feed.torn = true
	w.at(9, 23, 0)
	w.refresh(p)
	w.at(10, 4, 30)
	w.look(p)
	w.at(10, 4, 36) // a plan that takes its turn is waited for five minutes
	w.look(p)
	if got := w.mail.Subjects(); len(got) != 2 || !strings.Contains(got[1], "Wednesday") {
		t.Errorf("told %q", got)
	}
	if _, records := w.current(p); records[0].State != pour.Placed {
		t.Errorf("A is %s", records[0].State)
	}
}

func TestWhatCannotBeReadBackDoesNotKeepTheNextWord(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := w.project()
	r := w.recipient(p)
	w.weather(p)
	date := w.evening(p).Date
	err := w.store.InAccount(context.Background(), w.account, func(ctx context.Context, tx *postgres.AccountTx) error {
		_, err := tx.AddAlert(ctx, notify.Alert{Key: notify.Key(p.ID, notify.Change, date, r.ID), Project: p.ID,
			Kind: notify.Change, Date: date, Recipient: r.ID, DueAt: w.clock(),
			Message: notify.Message{ID: "torn", Subject: "Torn", Payload: []byte("{")}})
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	w.at(10, 4, 30)
	w.look(p)
	if got := w.mail.Subjects(); len(got) != 1 || !strings.Contains(got[0], "Wednesday") {
		t.Errorf("told %q", got)
	}
}

// evening raises the evening's word about Wednesday, and does not deliver it.
func (w *world) evening(p pour.Project) alerts.Delivery {
	w.t.Helper()
	w.at(9, 19, 0)
	return w.mailOf(p, "2026-06-10")
}
