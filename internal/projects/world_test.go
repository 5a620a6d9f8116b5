package projects_test

import (
	"context"
	"crypto/rand"
	"errors"
	"math"
	"sync"
	"testing"
	"time"

	"dryslot/internal/alerts"
	"dryslot/internal/fault"
	"dryslot/internal/fetching"
	"dryslot/internal/forecast"
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
)

// world is one service over a real database, with a clock, a feed and a
// channel of the test's own.
type world struct {
	*projects.Service
	fetching *fetching.Service
	alerting *alerts.Service
	t        *testing.T
	store    *postgres.Store
	feed     *skies
	mail     *letters
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
	w := &world{t: t, store: store, feed: &skies{name: "sky"}, mail: &letters{}, now: begin(t)}
	w.alerting = &alerts.Service{Store: store.Alerts(), Channels: map[string]alerts.Channel{"email": w.mail}, Now: w.clock,
		Random: rand.Reader, BaseURL: "https://pads.example"}
	w.Service = &projects.Service{Store: store.Projects(), Alerts: w.alerting, Plan: plannertest.Plan, Now: w.clock}
	w.alerting.Projects = w.Service
	w.fetching = &fetching.Service{Store: store.Fetching(), Feeds: []fetching.Feed{w.feed}, Now: w.clock}
	var err error
	if w.account, err = store.EnsureToken(context.Background(), "a token of thirty-two characters or more"); err != nil {
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

func (w *world) recipient(p pour.Project) notify.Recipient {
	w.t.Helper()
	r, err := w.alerting.AddRecipient(context.Background(), w.account, notify.Recipient{Project: p.ID, Kind: "email", Address: "builder@example.org"})
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

// look raises what is due and delivers it, as the jobs do.
func (w *world) look(p pour.Project) {
	w.t.Helper()
	ctx := context.Background()
	if err := w.RaiseAlerts(ctx, w.account, p.ID); err != nil {
		w.t.Fatal(err)
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
	err := w.store.InAccount(context.Background(), w.account, func(ctx context.Context, tx *postgres.AccountTx) (err error) {
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

// skies is a feed of mild weather, dry unless rain is set.
type skies struct {
	name   string
	mu     sync.Mutex
	rain   func(t time.Time) float64 // mm in the hour of t, certain where more than 0; nil: dry
	fail   error
	gaps   bool          // wind is unknown
	noPast bool          // it begins with the hour at hand
	since  time.Time     // its document is of then; zero: of the hour at hand
	late   time.Duration // its hours, and its issue, lie so far from now
	place  *place.Cell   // that it says it is of
	calls  int
	limits forecast.Limits
}

func (s *skies) Name() string { return s.name }

func (s *skies) Limits() forecast.Limits {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.limits
}

// set changes the feed's answers from now on.
func (s *skies) set(rain func(time.Time) float64, fail error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.rain, s.fail = rain, fail
}

func (s *skies) called() int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.calls
}

func (s *skies) Fetch(_ context.Context, cell place.Cell, _ string, now time.Time) (forecast.Forecast, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.calls++
	if s.fail != nil {
		return forecast.Forecast{}, s.fail
	}
	first := now.UTC().Truncate(time.Hour).Add(-48 * time.Hour)
	if !s.since.IsZero() {
		first = s.since.UTC().Truncate(time.Hour).Add(-48 * time.Hour)
	}
	if s.noPast {
		first = now.UTC().Truncate(time.Hour)
	}
	first = first.Add(s.late)
	const hours = 14 * 24
	d, err := forecast.NewDraft(cell, forecast.Source{Feed: s.name, FetchedAt: now, Attribution: "Invented by a test"}, forecast.WetEvent{OverMM: 0.1, Period: time.Hour}, first, hours)
	if err != nil {
		return forecast.Forecast{}, err
	}
	for i := range hours {
		t := first.Add(time.Duration(i) * time.Hour)
		mm, chance := 0.0, 0.0
		if s.rain != nil {
			if mm = s.rain(t); mm > 0 {
				chance = 1
			}
		}
		set := func(v forecast.Variable, x float64) { d.Put(i, v, x, forecast.Names[v], i) }
		set(forecast.AirC, 15+5*math.Sin(float64(t.Hour()-9)/24*2*math.Pi))
		set(forecast.HumidityPct, 65)
		if !s.gaps {
			set(forecast.WindMS, 2)
		}
		set(forecast.CloudPct, 40)
		set(forecast.RainMM, mm)
		set(forecast.RainChance, chance)
		set(forecast.ThunderChance, 0)
	}
	f, err := d.Done()
	f.Place = s.place
	return f, err
}

// letters is a channel that records what it takes.
type letters struct {
	mu   sync.Mutex
	sent []notify.Message
	fail error
	hold chan struct{} // not nil: a send waits until it is closed
}

func (l *letters) Kind() string { return "email" }

func (l *letters) Send(ctx context.Context, _ notify.Recipient, m notify.Message) error {
	l.mu.Lock()
	hold := l.hold
	l.mu.Unlock()
	if hold != nil {
		select {
		case <-hold:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.fail != nil {
		return l.fail
	}
	l.sent = append(l.sent, m)
	return nil
}

func (l *letters) set(fail error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.fail = fail
}

// subjects are what was sent so far.
func (l *letters) subjects() []string {
	l.mu.Lock()
	defer l.mu.Unlock()
	out := []string{}
	for _, m := range l.sent {
		out = append(out, m.Subject)
	}
	return out
}
