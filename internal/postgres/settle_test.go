package postgres_test

import (
	"context"
	"strings"
	"testing"
	"time"

	"dryslot/internal/alerts"
	"dryslot/internal/fault"
	"dryslot/internal/postgres"
)

// A try stalls until its lease has run out and a second try has begun: what the
// first then tells neither frees the alert under the second, nor undoes what
// the second told; only that it was sent counts whenever it comes.
func TestWhatALateTryTellsOfAnAlert(t *testing.T) {
	t.Parallel()
	const (
		sent     = alerts.DeliverySent
		failed   = alerts.DeliveryFailed
		retrying = alerts.DeliveryRetrying
		due      = alerts.DeliveryDue
	)
	told := func(try int, state alerts.DeliveryState, minute int) alerts.Outcome {
		o := alerts.Outcome{Try: try, State: state, At: noon.Add(time.Duration(minute) * time.Minute)}
		if state != sent {
			o.Reason.Text = "told by try " + string(rune('0'+try))
		}
		if state == retrying || state == due {
			o.NextTryAt = o.At.Add(time.Hour)
		}
		return o
	}
	w := newWorld(t)
	p := w.newProject(t)
	to := w.newRecipient(t, p.ID).ID
	for key, c := range map[string]struct {
		outcomes []alerts.Outcome // after two tries have begun, of which the second is under way
		state    alerts.DeliveryState
		by       int  // whose outcome stands; 0: none, it is as it was
		held     bool // by the second try
	}{
		"nothing yet":                {nil, due, 0, true},
		"late retry":                 {[]alerts.Outcome{told(1, retrying, 1)}, due, 0, true},
		"late wait":                  {[]alerts.Outcome{told(1, due, 1)}, due, 0, true},
		"late failure":               {[]alerts.Outcome{told(1, failed, 1)}, due, 0, true},
		"late success":               {[]alerts.Outcome{told(1, sent, 1)}, sent, 1, false},
		"a wait that is no try's":    {[]alerts.Outcome{told(0, due, 0)}, due, 0, true},
		"a failure that is no try's": {[]alerts.Outcome{told(0, failed, 0)}, due, 0, true},
		"retry":                      {[]alerts.Outcome{told(2, retrying, 1)}, retrying, 2, false},
		"retry, late retry": {[]alerts.Outcome{told(2, retrying, 1), told(1, retrying, 2)}, retrying, 2,
			false},
		"retry, late failure": {[]alerts.Outcome{told(2, retrying, 1), told(1, failed, 2)}, retrying, 2,
			false},
		"retry, late success": {[]alerts.Outcome{told(2, retrying, 1), told(1, sent, 2)}, sent, 1, false},
		"failure, late retry": {[]alerts.Outcome{told(2, failed, 1), told(1, retrying, 2)}, failed, 2,
			false},
		"failure, late success": {[]alerts.Outcome{told(2, failed, 1), told(1, sent, 2)}, sent, 1,
			false},
		"success, late success": {[]alerts.Outcome{told(2, sent, 1), told(1, sent, 2)}, sent, 2, false},
		"success, late failure": {[]alerts.Outcome{told(2, sent, 1), told(1, failed, 2)}, sent, 2,
			false},
		"success, late retry": {[]alerts.Outcome{told(2, sent, 1), told(1, retrying, 2)}, sent, 2,
			false},
		"late success, then the second's": {[]alerts.Outcome{told(1, sent, 1), told(2, sent, 2)}, sent, 1, false},
		"late success, then the second's fail": {[]alerts.Outcome{told(1, sent, 1), told(2, failed, 2)}, sent, 1,
			false},
		"late success, then the second's retry": {[]alerts.Outcome{told(1, sent, 1), told(2, retrying, 2)}, sent, 1,
			false},
		"late failure, then the second's retry": {[]alerts.Outcome{told(1, failed, 1), told(2, retrying, 2)},
			retrying, 2, false},
		"late failure, then the second's succes": {[]alerts.Outcome{told(1, failed, 1), told(2, sent, 2)}, sent, 2,
			false},
	} {
		t.Run(key, func(t *testing.T) {
			t.Parallel()
			w.newAlert(t, p.ID, to, key)
			second := noon
			w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error {
				for _, begun := range []time.Time{noon.Add(-time.Hour), second} {
					if ours, err := tx.LeaseAlert(ctx, key, begun, begun.Add(30*time.Minute)); err != nil || !ours {
						t.Fatalf("leased %v: %v", ours, err)
					}
				}
				return nil
			})
			for _, o := range c.outcomes {
				w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error { return tx.SettleAlert(ctx, key, o) })
			}
			var d alerts.Delivery
			w.in(t, func(ctx context.Context, tx *postgres.AccountTx) (err error) {
				d, err = tx.Alert(ctx, key)
				return err
			})
			if d.State != c.state || d.Tries != 2 {
				t.Errorf("it is %s after %d tries, want %s", d.State, d.Tries, c.state)
			}
			var want alerts.Outcome
			for _, o := range c.outcomes {
				if c.by > 0 && o.Try == c.by {
					want = o
				}
			}
			if d.Reason.Text != want.Reason.Text || (c.by > 0 && !d.NextTryAt.Equal(want.NextTryAt)) {
				t.Errorf("it says %q, next at %s; want %q, %s", d.Reason.Text, d.NextTryAt, want.Reason.Text,
					want.NextTryAt)
			}
			if final := c.state == sent || c.state == failed; final && !d.SettledAt.Equal(want.At) {
				t.Errorf("settled at %s, want %s", d.SettledAt, want.At)
			}
			if n := query[int](t, w,
				"select count(*) from due_deliveries where leased_until is not null and key = '"+
					strings.ReplaceAll(key, "'",
						"''")+"'"); (n == 1) != c.held {
				t.Errorf("held by the second try: %v, want %v", n == 1, c.held)
			}
		})
	}
}

// What is told without a try counts as soon as no try is under way.
func TestAnAlertIsPutOffWhenNoTryIsUnderWay(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := w.newProject(t)
	w.newAlert(t, p.ID, w.newRecipient(t, p.ID).ID, "k1")
	w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error {
		_, err := tx.LeaseAlert(ctx, "k1", noon, noon.Add(30*time.Second))
		return err
	})
	quiet := noon.Add(5 * time.Hour)
	w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error {
		return tx.SettleAlert(ctx, "k1", alerts.Outcome{State: alerts.DeliveryDue, At: noon.Add(30 * time.Second),
			NextTryAt: quiet})
	})
	w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error {
		d, err := tx.Alert(ctx, "k1")
		if !d.NextTryAt.Equal(quiet) {
			t.Errorf("next at %s", d.NextTryAt)
		}
		return err
	})
	err := w.InAccount(t.Context(), w.account, func(ctx context.Context, tx *postgres.AccountTx) error {
		return tx.SettleAlert(ctx, "k9", alerts.Outcome{State: alerts.DeliverySent, At: noon})
	})
	wantKind(t, "settling an alert that is not there", err, fault.NotFound)
}
