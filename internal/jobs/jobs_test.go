package jobs_test

import (
	"context"
	"crypto/rand"
	"errors"
	"sync"
	"testing"
	"time"

	"dryslot/internal/alerts"
	"dryslot/internal/fault"
	"dryslot/internal/fetching"
	"dryslot/internal/forecast/replay"
	"dryslot/internal/jobs"
	"dryslot/internal/notify"
	"dryslot/internal/paging"
	"dryslot/internal/planner"
	"dryslot/internal/postgres"
	"dryslot/internal/postgres/postgrestest"
	"dryslot/internal/pour"
	"dryslot/internal/projects"
	"dryslot/internal/retention"
)

// post is a channel that tells of what it takes.
type post struct {
	mu    sync.Mutex
	fails int // so many tries fail first
	sent  chan notify.Message
}

func (p *post) Kind() string { return "email" }

func (p *post) Send(_ context.Context, _ notify.Recipient, m notify.Message) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.fails > 0 {
		p.fails--
		return fault.New(fault.Unavailable, "not now")
	}
	p.sent <- m
	return nil
}

// clock is the service's, moved by the test.
type clock struct {
	mu  sync.Mutex
	now time.Time
}

func (c *clock) read() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.now
}

func (c *clock) set(t time.Time) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.now = t
}

type rig struct {
	*projects.Service
	alerts    *alerts.Service
	fetching  *fetching.Service
	retention *retention.Service
	t         *testing.T
	store     *postgres.Store
	clock     *clock
	post      *post
	account   string
}

func newRig(t *testing.T) *rig {
	r := &rig{t: t, store: postgrestest.New(t), clock: &clock{now: time.Date(2026, 6, 9, 16, 0, 0, 0, time.UTC)},
		post: &post{sent: make(chan notify.Message, 100)}}
	r.alerts = &alerts.Service{Store: r.store.Alerts(), Channels: map[string]alerts.Channel{"email": r.post},
		Now: r.clock.read, Random: rand.Reader}
	r.Service = &projects.Service{Store: r.store.Projects(), Alerts: r.alerts, Plan: planner.Make, Now: r.clock.read,
		Wall: time.Now}
	r.alerts.Projects = r.Service
	r.retention = &retention.Service{Store: r.store.Retention(), Now: r.clock.read, Wall: time.Now}
	r.fetching = &fetching.Service{Store: r.store.Fetching(), Feeds: []fetching.Feed{replay.Feed{}}, Now: r.clock.read,
		Wall: time.Now}
	var err error
	if r.account, err = r.store.EnsureToken(context.Background(),
		"a token of thirty-two characters or more"); err != nil {
		t.Fatal(err)
	}
	return r
}

func (r *rig) services() jobs.Services {
	return jobs.Services{Projects: r.Service, Alerts: r.alerts, Fetching: r.fetching, Retention: r.retention}
}

func (r *rig) work(o jobs.Options) (stop func()) {
	r.t.Helper()
	w, err := jobs.New(r.store.Driver(), r.services(), o)
	if err != nil {
		r.t.Fatal(err)
	}
	if err := w.Start(context.Background()); err != nil {
		r.t.Fatal(err)
	}
	stop = sync.OnceFunc(func() {
		ctx, cancel := context.WithTimeout(context.Background(), 5*time.Minute)
		defer cancel()
		if err := w.Stop(ctx); err != nil {
			r.t.Error(err)
		}
	})
	r.t.Cleanup(stop)
	return stop
}

func (r *rig) project() pour.Project {
	r.t.Helper()
	spec := pour.DefaultSpec()
	spec.Name, spec.Latitude, spec.Longitude, spec.TimeZone = "Dovecote steps", 38.55, -7.90, "Europe/Lisbon"
	for _, n := range []string{"A", "B"} {
		spec.Pads = append(spec.Pads, pour.Pad{Name: n, LengthM: 1, WidthM: 1, ThicknessM: 0.075})
	}
	p, err := r.CreateProject(context.Background(), r.account, spec)
	if err != nil {
		r.t.Fatal(err)
	}
	now := r.Now()
	err = r.store.InAccount(context.Background(), r.account, func(ctx context.Context, tx *postgres.AccountTx) error {
		_, err := tx.AddRecipient(ctx, notify.Recipient{Project: p.ID, Kind: "email", Address: "builder@example.org",
			CreatedAt: now, ConfirmedAt: now})
		return errors.Join(err, r.RaiseDue(ctx, r.account, p.ID))
	})
	if err != nil {
		r.t.Fatal(err)
	}
	return p
}

// await looks until what is looked for is there, or the test's time is up.
func (r *rig) await(what string, look func(context.Context, *postgres.AccountTx) (bool, error)) {
	r.t.Helper()
	deadline := time.NewTimer(10 * time.Minute) // a hang, not a slow machine
	defer deadline.Stop()
	tick := time.NewTicker(20 * time.Millisecond)
	defer tick.Stop()
	for {
		there := false
		err := r.store.InAccount(context.Background(), r.account,
			func(ctx context.Context, tx *postgres.AccountTx) (err error) {
				there, err = look(ctx, tx)
				return err
			})
		if err != nil {
			r.t.Fatal(err)
		}
		if there {
			return
		}
		select {
		case <-tick.C:
		case <-deadline.C:
			r.t.Fatalf("no %s", what)
		}
	}
}

func (r *rig) planned(p pour.Project) {
	r.t.Helper()
	r.await("plan", func(ctx context.Context, tx *postgres.AccountTx) (bool, error) {
		_, err := tx.CurrentPlan(ctx, p.ID)
		if errors.Is(err, fault.NotFound) {
			return false, nil
		}
		return err == nil, err
	})
}

func TestANewProjectIsFetchedAndPlanned(t *testing.T) {
	for name, o := range map[string]jobs.Options{"listening": {}, "polling": {PollOnly: true}} {
		t.Run(name, func(t *testing.T) {
			r := newRig(t)
			r.work(o)
			r.planned(r.project())
		})
	}
}

// What came due while nobody ran is found at the start, without a leader: two
// workers then send it once.
func TestAStartLooksForWhatIsDue(t *testing.T) {
	r := newRig(t)
	stop := r.work(jobs.Options{})
	p := r.project()
	r.planned(p)
	stop()
	r.clock.set(time.Date(2026, 6, 9, 18, 0, 30, 0, time.UTC)) // 19:00 in Lisbon is past
	r.work(jobs.Options{})
	r.work(jobs.Options{})
	m := <-r.post.sent
	r.await("record of the delivery", func(ctx context.Context, tx *postgres.AccountTx) (bool, error) {
		ds, _, err := tx.Alerts(ctx, p.ID, paging.Page{Limit: 10})
		return len(ds) == 1 && ds[0].State == alerts.DeliverySent && ds[0].Message.ID == m.ID, err
	})
	if err := r.services().EnqueueDue(context.Background()); err != nil {
		t.Fatal(err)
	}
	if len(r.post.sent) != 0 {
		t.Error("sent twice")
	}
}

// A try that fails is made again by its own job, at the time that its row says.
func TestAFailedTryIsMadeAgain(t *testing.T) {
	r := newRig(t)
	// Waits are waited for, at noon of a day whose evening is far: a word that
	// is due by itself would come first.
	r.clock.set(time.Date(2026, 6, 9, 11, 0, 0, 0, time.UTC))
	begun := time.Now()
	now := func() time.Time { return r.clock.read().Add(time.Since(begun)) }
	r.Service.Now, r.alerts.Now, r.fetching.Now = now, now, now
	r.post.fails = 1
	r.work(jobs.Options{})
	p := r.project()
	var rs []notify.Recipient
	r.await("recipient", func(ctx context.Context, tx *postgres.AccountTx) (_ bool, err error) {
		rs, err = tx.Recipients(ctx, p.ID)
		return len(rs) == 1, err
	})
	d, err := r.alerts.TestRecipient(context.Background(), r.account, p.ID, rs[0].ID)
	if err != nil {
		t.Fatal(err)
	}
	if m := <-r.post.sent; m.ID != d.Message.ID {
		t.Errorf("another message came: %s", m.ID)
	}
	r.await("second try", func(ctx context.Context, tx *postgres.AccountTx) (bool, error) {
		a, err := tx.Alert(ctx, d.Key)
		return a.State == alerts.DeliverySent && a.Tries == 2, err
	})
}
