package projects_test

import (
	"context"
	"errors"
	"flag"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"dryslot/internal/alerts"
	"dryslot/internal/fault"
	"dryslot/internal/fetching"
	"dryslot/internal/forecast"
	"dryslot/internal/forecast/skytest"
	"dryslot/internal/notify"
	"dryslot/internal/place"
	"dryslot/internal/postgres"
	"dryslot/internal/postgres/postgrestest"
	"dryslot/internal/pour"
	"dryslot/internal/unit"
	"dryslot/internal/work"
)

var (
	yearsDays = flag.Int("years.days", 10, "how many days pass on the clock")
	yearsSeed = flag.Uint64("years.seed", 1, "of when the services stop and start")
)

// longestAway is how long the services are away at most: less than a morning's
// word is told ahead.
const longestAway = time.Hour

// rarely is a feed whose provider has something new every nine hours.
type rarely struct{ *skytest.Sky }

// Fetch implements fetching.Feed.
func (r rarely) Fetch(ctx context.Context, cell place.Cell, v string, now time.Time) (forecast.Forecast, error) {
	f, err := r.Sky.Fetch(ctx, cell, v, now)
	f.NextFetch = now.Add(9 * time.Hour)
	return f, err
}

// longRun is the service over a long time.
type longRun struct {
	*world
	due    *pgx.Conn         // reads when something is due next
	sent   map[string]int    // messages, by id
	to     map[string]string // the recipient, by project
	noted  int
	all    []pour.Project
	zones  []*time.Location
	since  time.Time
	events int
	starts int
}

// Years pass on the clock in four zones: one of half an hour with a clock change,
// one whose clock changes by half an hour in the southern hemisphere, and a night
// and a day without end in the north and in the south. The services stop and
// start at random. Each evening's alert, and each morning's of a pour, comes
// once.
func TestEachEveningAndMorningIsToldOnceForYears(t *testing.T) {
	db := postgrestest.URLs(t)
	y := &longRun{world: worldOver(t, postgrestest.Open(t, db)), sent: map[string]int{}, to: map[string]string{}}
	var err error
	if y.due, err = pgx.Connect(t.Context(), db.OwnerURL); err != nil {
		t.Fatal(err)
	}
	defer y.due.Close(context.Background())
	y.now = time.Date(2026, 12, 26, 0, 0, 0, 0, time.UTC)
	y.since = y.now
	y.feed.Days = 4
	y.feed.Rain = func(t time.Time) float64 { // one day in three is wet
		if t.YearDay()%3 == 0 {
			return 3
		}
		return 0
	}
	y.fetching.Feeds = []fetching.Feed{rarely{y.feed}}
	for _, at := range []struct {
		zone     string
		lat, lon float64
	}{{"America/St_Johns", 47.56, -52.71}, {"Australia/Lord_Howe", -31.55, 159.08}, {"Arctic/Longyearbyen", 78.22,
		15.63},
		{"Antarctica/McMurdo", -77.85, 166.67}} {
		y.settle(at.zone, at.lat, at.lon)
	}
	rng := rand.New(rand.NewPCG(*yearsSeed, 3))
	end := y.now.AddDate(0, 0, *yearsDays)
	tidied := y.now
	evenings, mornings := map[string]bool{}, map[string]bool{}
	for y.now.Before(end) {
		y.step(rng)
		if y.now.Sub(tidied) > 30*24*time.Hour {
			tidied = y.now
			if err := y.forgetting().Prune(context.Background()); err != nil {
				t.Fatal(err)
			}
		}
		for i, p := range y.all {
			y.expect(p, y.zones[i], evenings, mornings)
		}
	}
	for i, p := range y.all { // every single evening
		last := unit.DateOf(end, y.zones[i]).AddDays(-1)
		for d := unit.DateOf(y.since, y.zones[i]).AddDays(2); d.Before(last); d = d.AddDays(1) {
			evenings[y.key(p, notify.Evening, d)] = true
		}
	}
	for _, expected := range []map[string]bool{evenings, mornings} {
		for key := range expected {
			if n := y.sent[notify.MessageID(key)]; n != 1 {
				t.Errorf("%s came %d times", key, n)
			}
		}
	}
	if len(evenings) < 4*(*yearsDays-4) || len(mornings) < *yearsDays {
		t.Errorf("only %d evenings and %d mornings in %d days tell little", len(evenings), len(mornings), *yearsDays)
	}
	t.Logf("days: %d days", *yearsDays)
	t.Logf("evenings: %d alerts", len(evenings))
	t.Logf("mornings: %d alerts", len(mornings))
	t.Logf("other_alerts: %d alerts", y.noted-len(evenings)-len(mornings))
	t.Logf("starts: %d starts", y.starts)
	t.Logf("events: %d events", y.events)
}

// settle makes a project, with a recipient, somewhere.
func (y *longRun) settle(zone string, lat, lon float64) {
	y.t.Helper()
	loc, err := time.LoadLocation(zone)
	if err != nil {
		y.t.Fatal(err)
	}
	spec := pour.DefaultSpec()
	spec.Name, spec.Latitude, spec.Longitude, spec.TimeZone = "Boathouse floor", lat, lon, zone
	spec.Pads = []pour.Pad{{Name: "A", LengthM: 1, WidthM: 1, ThicknessM: 0.075}}
	p, err := y.CreateProject(context.Background(), y.account, spec)
	if err != nil {
		y.t.Fatal(err)
	}
	y.to[p.ID] = y.recipient(p).ID
	y.all, y.zones = append(y.all, p), append(y.zones, loc)
}

// step lets time pass to what is due next, or the services be away for a while, and
// does what the jobs do then.
func (y *longRun) step(rng *rand.Rand) {
	y.t.Helper()
	next := y.dueNext()
	if !next.After(y.now) {
		next = y.now.Add(30 * time.Second) // the schedule of looking around
	}
	if rng.IntN(8) == 0 { // stopped, and started again with nothing in memory
		y.starts++
		if next.Before(y.now) {
			next = y.now
		}
		next = next.Add(time.Duration(rng.Int64N(int64(longestAway))))
		fresh := worldOver(y.t, y.store)
		fresh.feed, fresh.mail, fresh.now = y.feed, y.mail, y.now
		fresh.alerting.Channels = map[string]alerts.Channel{"email": y.mail}
		fresh.fetching.Feeds = []fetching.Feed{rarely{y.feed}}
		y.world = fresh
	}
	y.world.now = next
	y.events++
	y.work()
	for _, m := range y.mail.Sent()[y.noted:] {
		y.noted++
		y.sent[m.ID]++
	}
}

// dueNext is when something is due next.
func (y *longRun) dueNext() (at time.Time) {
	y.t.Helper()
	err := y.due.QueryRow(context.Background(), `select least((select min(least(next_alert_at, next_plan_at))
		from due_projects), (select min(next_try_at) from due_deliveries), (select min(next_fetch_at)
		from cells))`).Scan(&at)
	if err != nil {
		y.t.Fatal(err)
	}
	return at.UTC()
}

// waiting tells what there is to do at this instant.
func (y *longRun) waiting() (cells, projects, plans, deliveries bool) {
	y.t.Helper()
	err := y.due.QueryRow(context.Background(), `select exists (select from cells where next_fetch_at <= $1),
		exists (select from due_projects where least(next_alert_at, next_plan_at) <= $1
		and (held_until is null or held_until <= $1)), exists (select from plan_queue),
		exists (select from due_deliveries where next_try_at <= $1 and (held_until is null or held_until <= $1))`,
		y.now).
		Scan(&cells, &projects, &plans, &deliveries)
	if err != nil {
		y.t.Fatal(err)
	}
	return cells, projects, plans, deliveries
}

// work does what the jobs do, until nothing is left to be done at this instant.
func (y *longRun) work() {
	y.t.Helper()
	ctx := context.Background()
	try := func(err error) {
		if err != nil && fault.KindOf(err) != fault.Unavailable {
			y.t.Fatal(err)
		}
	}
	for range 6 {
		cells, projects, plans, deliveries := y.waiting()
		var fetch []fetching.CellState
		var look []work.ProjectRef
		var send []work.DeliveryRef
		y.system(func(ctx context.Context, tx *postgres.SystemTx) (err error) {
			if cells {
				fetch, err = tx.DueCells(ctx, y.now, y.now, 10)
			}
			if err == nil && projects {
				look, err = tx.DueProjects(ctx, y.now, y.now, 10)
			}
			if err == nil && deliveries {
				send, err = tx.DueDeliveries(ctx, y.now, 100)
			}
			return err
		})
		for _, c := range fetch {
			try(y.fetching.Refresh(ctx, c.Cell))
		}
		for _, r := range look {
			try(y.RaiseAlerts(ctx, r.Account, r.Project))
		}
		for range len(y.all) {
			if plans {
				try(y.MakeNext(ctx))
			}
		}
		for _, d := range send {
			try(y.alerting.Deliver(ctx, d.Account, d.Key))
		}
		if len(fetch)+len(look)+len(send) == 0 && !plans {
			return
		}
	}
}

func (y *longRun) key(p pour.Project, kind notify.Kind, d unit.Date) string {
	return notify.Key(p.ID, kind, d, y.to[p.ID])
}

// expect notes what should have been told by now: of tomorrow in the evening, and
// of a pour that is in force between its morning's alert and its start.
func (y *longRun) expect(p pour.Project, zone *time.Location, evenings, mornings map[string]bool) {
	y.t.Helper()
	today := unit.DateOf(y.now, zone)
	evening, _ := notify.Times(p.Alerts, today.AddDays(1), time.Time{}, zone)
	if !y.now.Before(evening) && y.since.Before(evening.AddDate(0, 0, -1)) {
		evenings[y.key(p, notify.Evening, today.AddDays(1))] = true
	}
	if first, over := today.At(p.Alerts.QuietUntil, zone), today.At(p.Crew.LatestFinish, zone); y.now.Before(first) ||
		y.now.After(over) {
		return // no morning's alert is due, or none is of use any more
	}
	var planned *pour.Pour
	err := y.store.InAccount(context.Background(), y.account, func(ctx context.Context, tx *postgres.AccountTx) error {
		k, err := tx.CurrentPlan(ctx, p.ID)
		if errors.Is(err, fault.NotFound) {
			return nil
		}
		planned = k.Plan.On(today)
		return err
	})
	if err != nil {
		y.t.Fatal(err)
	}
	if planned == nil {
		return
	}
	_, morning := notify.Times(p.Alerts, today, planned.Start, zone)
	if !y.now.Before(morning) && y.now.Before(planned.Start) && y.since.Before(morning) {
		mornings[y.key(p, notify.Morning, today)] = true
	}
}
