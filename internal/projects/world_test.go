package projects_test

import (
	"context"
	"crypto/rand"
	"errors"
	"sync"
	"testing"
	"time"

	"dryslot/internal/alerts"
	"dryslot/internal/alerts/alertstest"
	"dryslot/internal/fault"
	"dryslot/internal/fetching"
	"dryslot/internal/forecast/skytest"
	"dryslot/internal/notify"
	"dryslot/internal/paging"
	"dryslot/internal/place"
	"dryslot/internal/planner"
	"dryslot/internal/planner/plannertest"
	"dryslot/internal/postgres"
	"dryslot/internal/postgres/postgrestest"
	"dryslot/internal/pour"
	"dryslot/internal/projects"
	"dryslot/internal/retention"
	"dryslot/internal/unit"
)

// world is one service over a real database, with a clock, a feed and a
// channel of the test's own.
type world struct {
	*projects.Service
	fetching *fetching.Service
	alerting *alerts.Service
	t        *testing.T
	store    *postgres.Store
	feed     *skytest.Sky
	mail     *alertstest.Letters
	account  string
	mu       sync.Mutex
	now      time.Time
}

func lisbon(t *testing.T) *time.Location {
	t.Helper()
	z, err := time.LoadLocation("Europe/Lisbon")
	if err != nil {
		t.Fatal(err)
	}
	return z
}

// begin is a Tuesday in June, too late to pour that day.
func begin(t *testing.T) time.Time { return time.Date(2026, 6, 9, 17, 30, 0, 0, lisbon(t)) }

func newWorld(t *testing.T) *world {
	db := postgrestest.URLs(t)
	return worldOver(t, postgrestest.Open(t, db))
}

func worldOver(t *testing.T, store *postgres.Store) *world {
	w := &world{t: t, store: store, feed: &skytest.Sky{Named: "sky"}, mail: &alertstest.Letters{}, now: begin(t)}
	w.alerting = &alerts.Service{Store: store.Alerts(), Channels: map[string]alerts.Channel{"email": w.mail},
		Now: w.clock, Random: rand.Reader, BaseURL: "https://pads.example"}
	w.Service = &projects.Service{Store: store.Projects(), Alerts: w.alerting, Plan: plannertest.Plan, Now: w.clock}
	w.alerting.Projects = w.Service
	w.fetching = &fetching.Service{Store: store.Fetching(), Feeds: []fetching.Feed{w.feed}, Now: w.clock}
	var err error
	if w.account, err = store.EnsureToken(context.Background(),
		"a token of thirty-two characters or more"); err != nil {
		t.Fatal(err)
	}
	return w
}

// planned puts the real planner in place of the rule of thumb, for tests that go
// all the way.
func (w *world) planned() {
	w.Plan = planner.Make
}

func (w *world) forgetting() *retention.Service {
	return &retention.Service{Store: w.store.Retention(), Now: w.clock, Wall: w.Wall}
}

func (w *world) clock() time.Time {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.now
}

func (w *world) at(day, hour, min int) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.now = time.Date(2026, 6, day, hour, min, 0, 0, lisbon(w.t))
}

// project makes three pads near Evora, in forms of their own.
func (w *world) project() pour.Project {
	w.t.Helper()
	spec := pour.DefaultSpec()
	spec.Name, spec.Latitude, spec.Longitude = "Well-house floor", 38.55, -7.90
	for _, n := range []string{"A", "B", "C"} {
		spec.Pads = append(spec.Pads, pour.Pad{Name: n, LengthM: 1, WidthM: 1, ThicknessM: 0.075})
	}
	p, err := w.CreateProject(context.Background(), w.account, spec)
	if err != nil {
		w.t.Fatal(err)
	}
	return p
}

// recipient adds a mail address whose reader has agreed to alerts.
func (w *world) recipient(p pour.Project) notify.Recipient {
	w.t.Helper()
	var r notify.Recipient
	err := w.store.InAccount(context.Background(), w.account,
		func(ctx context.Context, tx *postgres.AccountTx) (err error) {
			r, err = tx.AddRecipient(ctx, notify.Recipient{Project: p.ID, Kind: "email", Address: "builder@example.org",
				CreatedAt: w.clock(), ConfirmedAt: w.clock()})
			return errors.Join(err, w.RaiseDue(ctx, w.account, p.ID))
		})
	if err != nil {
		w.t.Fatal(err)
	}
	return r
}

// weather fetches and replans, as the jobs do.
func (w *world) weather(p pour.Project) projects.KeptPlan {
	w.t.Helper()
	ctx := context.Background()
	if err := w.fetching.Refresh(ctx, cellOf(p)); err != nil {
		w.t.Fatal(err)
	}
	k, err := w.Replan(ctx, w.account, p.ID, "new forecast")
	if err != nil {
		w.t.Fatal(err)
	}
	return k
}

// newAlerted returns a world with a project that is planned, and somebody who gets
// its alerts.
func newAlerted(t *testing.T) (*world, pour.Project) {
	t.Helper()
	w := newWorld(t)
	p := w.project()
	w.recipient(p)
	w.weather(p)
	return w, p
}

// raise raises what is due.
func (w *world) raise(p pour.Project) {
	w.t.Helper()
	if err := w.RaiseAlerts(context.Background(), w.account, p.ID); err != nil {
		w.t.Fatal(err)
	}
}

// look raises what is due, makes the plan that was asked for, and delivers, as
// the jobs do.
func (w *world) look(p pour.Project) {
	w.t.Helper()
	w.raise(p)
	ctx := context.Background()
	if k, _ := w.current(p); unit.DateOf(k.Plan.MadeAt, lisbon(w.t)).Before(unit.DateOf(w.clock(), lisbon(w.t))) {
		if err := w.MakeNext(ctx); err != nil && !errors.Is(err, fault.Unavailable) {
			w.t.Fatal(err)
		}
	}
	for _, d := range w.alerts(p) {
		if d.State != alerts.DeliveryDue && d.State != alerts.DeliveryRetrying {
			continue
		}
		if err := w.alerting.Deliver(ctx, w.account, d.Key); err != nil && !errors.Is(err, fault.Unavailable) {
			w.t.Fatal(err)
		}
	}
}

// alerts lists all alerts of a project, the newest first.
func (w *world) alerts(p pour.Project) (out []alerts.Delivery) {
	w.t.Helper()
	err := w.store.InAccount(context.Background(), w.account,
		func(ctx context.Context, tx *postgres.AccountTx) (err error) {
			out, _, err = tx.Alerts(ctx, p.ID, paging.Page{Limit: 200})
			return err
		})
	if err != nil {
		w.t.Fatal(err)
	}
	return out
}

func (w *world) current(p pour.Project) (k projects.KeptPlan, records []pour.PadRecord) {
	w.t.Helper()
	known, err := w.Snapshot(context.Background(), p)
	if err != nil {
		w.t.Fatal(err)
	}
	return known.Plan(), known.Records()
}

func (w *world) cell(p pour.Project) (c fetching.CellState) {
	w.t.Helper()
	err := w.store.InSystem(context.Background(), func(ctx context.Context, tx *postgres.SystemTx) (err error) {
		c, err = tx.CellState(ctx, cellOf(p))
		return err
	})
	if err != nil {
		w.t.Fatal(err)
	}
	return c
}

func cellOf(p pour.Project) place.Cell { return place.CellOf(p.Latitude, p.Longitude) }
