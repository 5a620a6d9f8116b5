package projects_test

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

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
)

// told lists the alerts about one date, by kind, as state and reason.
func (w *world) told(alerts []alerts.Delivery, date string) map[notify.Kind]string {
	out := map[notify.Kind]string{}
	for _, a := range alerts {
		if a.Date.String() == date {
			out[a.Kind] = fmt.Sprintf("%s: %s", a.State, a.Reason.Data)
		}
	}
	return out
}

func TestDaysThatPassedWhileNobodyRanLeaveATrace(t *testing.T) {
	t.Parallel()
	w, p := newAlerted(t)
	w.at(12, 9, 0) // nobody ran since half past five of the 9th
	w.look(p)
	for date, kinds := range map[string][]notify.Kind{"2026-06-10": {notify.Evening, notify.Morning},
		"2026-06-11": {notify.Evening}, "2026-06-12": {notify.Evening}} {
		seen := w.told(w.alerts(p), date)
		for _, kind := range kinds {
			if !strings.HasPrefix(seen[kind], "failed: delivery_missed due_at=2026-06-") {
				t.Errorf("%s of %s: %q", kind, date, seen[kind])
			}
		}
	}
	before := len(w.alerts(p))
	w.weather(p)
	w.look(p)
	w.at(13, 0, 30)
	w.look(p)
	for _, a := range w.alerts(p)[:len(w.alerts(p))-before] {
		if a.State == alerts.DeliveryFailed {
			t.Errorf("missed although the service ran: %s, %s", a.Key, a.Reason)
		}
	}
}

func TestWhatComesTooLateToBeOfUseIsNotSent(t *testing.T) {
	t.Parallel()
	w, p := newAlerted(t)
	w.at(9, 19, 0)
	ctx := context.Background()
	w.raise(p)
	a := w.alerts(p)[0]
	w.at(11, 8, 0) // its job was not worked since
	if err := w.alerting.Deliver(ctx, w.account, a.Key); err != nil {
		t.Fatal(err)
	}
	if got := w.mail.Subjects(); len(got) != 0 {
		t.Errorf("sent of a day that is over: %q", got)
	}
	if a = w.alerts(p)[0]; a.State != alerts.DeliveryFailed || a.Reason.Data.Code != alerts.DeliveryTooLate {
		t.Errorf("%s: %s", a.State, a.Reason)
	}
}

// Whoever looks for what is due must not find an alert that waits for the end
// of the quiet time: each find is one more job.
func TestAnAlertThatWaitsForTheEndOfTheQuietTimeIsNotDue(t *testing.T) {
	t.Parallel()
	w, p := newAlerted(t)
	w.at(9, 19, 0)
	ctx := context.Background()
	w.raise(p)
	a := w.alerts(p)[0]
	due := func() (n int) {
		err := w.store.InSystem(ctx, func(ctx context.Context, tx *postgres.SystemTx) error {
			refs, err := tx.DueDeliveries(ctx, w.clock(), 10)
			n = len(refs)
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
		return n
	}
	quiet := time.Date(2026, 6, 10, 4, 30, 0, 0, lisbon(t))
	wait := func(hour, min int) {
		t.Helper()
		w.at(10, hour, min)
		if n := due(); n != 1 {
			t.Fatalf("%d are due", n)
		}
		var e *fault.Error
		if err := w.alerting.Deliver(ctx, w.account, a.Key); !errors.As(err, &e) ||
			!w.clock().Add(e.RetryAfter).Equal(quiet) {
			t.Fatalf("in the quiet time: %v", err)
		}
		w.at(10, 4, 29)
		if n := due(); n != 0 {
			t.Errorf("%d are due before the quiet time ends", n)
		}
		if a = w.alerts(p)[0]; a.State != alerts.DeliveryDue || a.Tries != 0 || !a.NextTryAt.Equal(quiet) {
			t.Errorf("%s after %d tries, next at %s", a.State, a.Tries, a.NextTryAt)
		}
	}
	wait(0, 10) // the job comes late
	w.at(10, 4, 31)
	if n := due(); n != 1 {
		t.Errorf("%d are due when the quiet time has ended", n)
	}
	w.mail.Set(fault.New(fault.Unavailable, "greylisted"))
	w.at(10, 23, 59) // a try that fails shortly before midnight: the next is after the quiet time
	b := w.mailOf(p, "2026-06-11")
	if err := w.alerting.Deliver(ctx, w.account, b.Key); fault.KindOf(err) != fault.Unavailable {
		t.Fatal(err)
	}
	for range mostBeforeMidnight {
		if b = w.mailOf(p, "2026-06-11"); b.NextTryAt.Day() != 10 {
			break
		}
		w.set(b.NextTryAt)
		if err := w.alerting.Deliver(ctx, w.account, b.Key); fault.KindOf(err) != fault.Unavailable {
			t.Fatal(err)
		}
	}
	if want := quiet.AddDate(0, 0, 1); !b.NextTryAt.Equal(want) {
		t.Errorf("the next try is at %s, not at %s", b.NextTryAt, want)
	}
}

// mostBeforeMidnight is more tries than fit between 23:59 and midnight.
const mostBeforeMidnight = 10

func (w *world) set(now time.Time) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.now = now
}

// mailOf is the evening's alert about a date, raised if need be.
func (w *world) mailOf(p pour.Project, date string) alerts.Delivery {
	w.t.Helper()
	w.raise(p)
	all := w.alerts(p)
	i := slices.IndexFunc(all, func(d alerts.Delivery) bool {
		return d.Kind == notify.Evening && d.Date.String() == date
	})
	if i < 0 {
		w.t.Fatalf("no word about %s in %+v", date, all)
	}
	return all[i]
}

// torn is a feed whose document can't be planned from, once it is torn.
type torn struct {
	*skytest.Sky
	torn bool
}

func (f *torn) Fetch(ctx context.Context, cell place.Cell, validator string, now time.Time) (forecast.Forecast, error) {
	got, err := f.Sky.Fetch(ctx, cell, validator, now)
	if err == nil && f.torn {
		got.Hours[60].Values[forecast.RainMM] = unit.Some(-1)
	}
	return got, err
}

func TestWhatIsDueIsToldThoughNoPlanCanBeMade(t *testing.T) {
	t.Parallel()
	w := worldOver(t, postgrestest.Open(t, postgrestest.URLs(t)))
	feed := &torn{Sky: w.feed}
	w.fetching.Feeds = []fetching.Feed{feed}
	p := w.project()
	w.recipient(p)
	w.weather(p)
	w.at(9, 19, 0)
	w.look(p)
	feed.torn = true
	w.at(9, 23, 0)
	ctx := context.Background()
	if err := w.fetching.Refresh(ctx, cellOf(p)); err != nil {
		t.Fatal(err)
	}
	if _, err := w.Replan(ctx, w.account, p.ID, "new forecast"); err == nil {
		t.Fatal("planned from a negative amount of rain: this test tests nothing")
	}
	w.at(10, 4, 30)
	w.look(p)
	w.at(10, 4, 36) // a plan that takes its turn is waited for five minutes
	w.look(p)
	if got := w.mail.Subjects(); len(got) != 2 || !strings.Contains(got[1], "Wednesday") {
		t.Errorf("told %q", got)
	}
}

func TestAProjectHasNoMoreRecipientsThanCanBeTold(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.alerting.MostRecipients = 50
	p := w.project()
	ctx := context.Background()
	err := w.store.InAccount(ctx, w.account, func(ctx context.Context, tx *postgres.AccountTx) error {
		for range 49 {
			if _, err := tx.AddRecipient(ctx, notify.Recipient{Project: p.ID, Kind: "email",
				Address:   "crew@example.org",
				CreatedAt: w.clock()}); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	w.recipient(p)
	if _, err := w.alerting.AddRecipient(ctx, w.account, notify.Recipient{Project: p.ID, Kind: "email",
		Address: "one-more@example.org"}); !errors.Is(err, fault.Invalid) || !strings.Contains(err.Error(),
		"recipients_full max=50") {
		t.Errorf("the 51st: %v", err)
	}
}
