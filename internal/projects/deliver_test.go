package projects_test

import (
	"context"
	"errors"
	"strings"
	"sync"
	"testing"
	"time"

	"dryslot/internal/alerts"
	"dryslot/internal/fault"
	"dryslot/internal/notify"
	"dryslot/internal/postgres"
	"dryslot/internal/postgres/postgrestest"
)

func TestTwoWorkersDeliverOneAlert(t *testing.T) {
	t.Parallel()
	db := postgrestest.URLs(t)
	w := worldOver(t, postgrestest.Open(t, db))
	other := worldOver(t, postgrestest.Open(t, db))
	other.mail = w.mail
	other.alerting.Channels["email"] = w.mail
	p := w.project()
	w.recipient(p)
	w.weather(p)
	w.at(9, 19, 0)
	other.at(9, 19, 0)
	ctx := context.Background()
	var both sync.WaitGroup
	for _, s := range []*world{w, other, w, other} {
		both.Go(func() {
			if err := s.RaiseAlerts(ctx, w.account, p.ID); err != nil {
				t.Error(err)
			}
			for _, a := range s.alerts(p) {
				if err := s.alerting.Deliver(ctx, w.account, a.Key); err != nil {
					t.Error(err)
				}
			}
		})
	}
	both.Wait()
	if got := w.mail.Subjects(); len(got) != 1 {
		t.Errorf("sent %q", got)
	}
}

func TestATryWhoseWorkerDiedIsMadeAgainWithTheSameID(t *testing.T) {
	t.Parallel()
	w, p := newAlerted(t)
	w.at(9, 19, 0)
	ctx := context.Background()
	w.raise(p)
	a := w.alerts(p)[0]
	// a worker begins a try, and dies
	err := w.store.InAccount(ctx, w.account, func(ctx context.Context, tx *postgres.AccountTx) error {
		ok, err := tx.LeaseAlert(ctx, a.Key, w.clock(), w.clock().Add(30*time.Second))
		if !ok {
			t.Error("no lease")
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	if err := w.alerting.Deliver(ctx, w.account, a.Key); err != nil || len(w.mail.Subjects()) != 0 {
		t.Fatalf("tried while leased: %v, %q", err, w.mail.Subjects())
	}
	w.at(9, 19, 1)
	if err := w.alerting.Deliver(ctx, w.account, a.Key); err != nil || len(w.mail.Sent()) != 1 {
		t.Fatalf("not tried again: %v, %q", err, w.mail.Subjects())
	}
	if w.mail.Sent()[0].ID != a.Message.ID || a.Message.ID != notify.MessageID(a.Key) {
		t.Errorf("ids %s, %s", w.mail.Sent()[0].ID, a.Message.ID)
	}
}

func TestEveryAlertIsSentRetryingOrFailedWithItsReason(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name   string
		fail   error
		state  alerts.DeliveryState
		reason string
	}{
		{"refused for good", fault.New(fault.Invalid, "no such mailbox"), alerts.DeliveryFailed, "no such mailbox"},
		{"never there", fault.New(fault.Unavailable, "connection refused"), alerts.DeliveryFailed,
			"delivery_late_why: connection refused"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			w, p := newAlerted(t)
			w.mail.Set(c.fail)
			w.at(9, 19, 0)
			w.look(p)
			for day, hour := 9, 19; day < 11; hour++ {
				if hour == 24 {
					day, hour = day+1, 0
				}
				w.at(day, hour, 59)
				for _, a := range w.alerts(p) {
					if a.State != alerts.DeliveryFailed {
						if err := w.alerting.Deliver(context.Background(), w.account, a.Key); err != nil &&
							!errors.Is(err, fault.Unavailable) {
							t.Fatal(err)
						}
					}
				}
			}
			for _, a := range w.alerts(p) {
				if a.State != c.state || !strings.Contains(a.Reason.Text, c.reason) || a.Tries < 1 {
					t.Errorf("%s: %s, %d tries, %q", a.Key, a.State, a.Tries, a.Reason)
				}
			}
		})
	}
}

func TestQuietTimeHoldsForLateTriesToo(t *testing.T) {
	t.Parallel()
	w, p := newAlerted(t)
	w.mail.Set(fault.New(fault.Unavailable, "greylisted"))
	w.at(9, 19, 0)
	w.look(p)
	a := w.alerts(p)[0]
	if a.State != alerts.DeliveryRetrying || a.Tries != 1 || !strings.Contains(a.Reason.Text, "greylisted") ||
		!a.NextTryAt.After(w.clock()) {
		t.Fatalf("after a failed try: %+v", a)
	}
	w.mail.Set(nil)
	w.at(10, 0, 30)
	var e *fault.Error
	if err := w.alerting.Deliver(context.Background(), w.account, a.Key); !errors.As(err, &e) ||
		e.RetryAfter != 4*time.Hour {
		t.Errorf("in the quiet time: %v", err)
	}
	w.at(10, 4, 30)
	if err := w.alerting.Deliver(context.Background(), w.account, a.Key); err != nil {
		t.Fatal(err)
	}
	if got := w.mail.Subjects(); len(got) != 1 {
		t.Errorf("sent %q", got)
	}
}

func TestARemovedRecipientIsNotTold(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := w.project()
	r := w.recipient(p)
	w.weather(p)
	w.at(9, 19, 0)
	ctx := context.Background()
	w.raise(p)
	if err := w.store.InAccount(ctx, w.account, func(ctx context.Context, tx *postgres.AccountTx) error {
		return tx.DeleteRecipient(ctx, p.ID, r.ID)
	}); err != nil {
		t.Fatal(err)
	}
	w.look(p)
	if got := w.alerts(p); len(got) != 1 || got[0].State != alerts.DeliveryFailed || got[0].Reason.Data.IsZero() ||
		len(w.mail.Subjects()) != 0 {
		t.Errorf("%+v", got)
	}
}
