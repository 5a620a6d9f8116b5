package postgres_test

import (
	"context"
	"errors"
	"fmt"
	"reflect"
	"sync"
	"testing"
	"time"

	"dryslot/internal/alerts"
	"dryslot/internal/fault"
	"dryslot/internal/paging"
	"dryslot/internal/place"
	"dryslot/internal/postgres"
	"dryslot/internal/projects"
)

// together runs fn in as many transactions at once, all of which are open
// before any goes on, and returns how many of them returned true.
func together(t *testing.T, many int, fn func(i int, meet func()) bool) int {
	t.Helper()
	var wg, met sync.WaitGroup
	met.Add(many)
	won := make([]bool, many)
	for i := range many {
		wg.Go(func() {
			meet := sync.OnceFunc(func() { met.Done(); met.Wait() })
			won[i] = fn(i, meet)
			meet() // in case it failed before
		})
	}
	wg.Wait()
	n := 0
	for _, w := range won {
		if w {
			n++
		}
	}
	return n
}

func TestOneOfTwoTakersOfAnAlertWins(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := w.newProject(t)
	w.newAlert(t, p.ID, w.newRecipient(t, p.ID).ID, "k1")
	lease := func(now time.Time) int {
		return together(t, 2, func(_ int, meet func()) (got bool) {
			err := w.InAccount(context.Background(), w.account, func(ctx context.Context,
				tx *postgres.AccountTx) (err error) {
				meet()
				got, err = tx.LeaseAlert(ctx, "k1", now, now.Add(20*time.Second))
				return err
			})
			if err != nil {
				t.Error(err)
			}
			return got
		})
	}
	if n := lease(noon); n != 1 {
		t.Errorf("%d of 2 took the alert, want 1", n)
	}
	if n := lease(noon.Add(10 * time.Second)); n != 0 {
		t.Errorf("%d took it while the lease ran, want 0", n)
	}
	if n := lease(noon.Add(20 * time.Second)); n != 1 {
		t.Errorf("%d of 2 took it once the lease had run out, want 1", n)
	}
	w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error {
		d, err := tx.Alert(ctx, "k1")
		if d.Tries != 2 || d.State != alerts.DeliveryDue {
			t.Errorf("after two tries without an outcome the alert is %s with %d tries", d.State, d.Tries)
		}
		_, missing := tx.LeaseAlert(ctx, "k9", noon, noon)
		wantKind(t, "leasing an alert that is not there", missing, fault.NotFound)
		return err
	})
}

func (w *world) dueDeliveries(t *testing.T, now time.Time) []string {
	t.Helper()
	var keys []string
	w.system(t, func(ctx context.Context, tx *postgres.SystemTx) error {
		refs, err := tx.DueDeliveries(ctx, now, 100)
		for _, r := range refs {
			if r.Account != w.account {
				t.Errorf("the delivery %s is said to be of %s", r.Key, r.Account)
			}
			keys = append(keys, r.Key)
		}
		return err
	})
	return keys
}

func TestAnAlertFromDueToSent(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := w.newProject(t)
	r := w.newRecipient(t, p.ID)
	w.newAlert(t, p.ID, r.ID, "k1")
	w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error {
		again := alertFor(p.ID, r.ID, "k1")
		again.Message.Text = "other words"
		if added, err := tx.AddAlert(ctx, again); added || err != nil {
			t.Errorf("an alert with the same key was added %v: %v", added, err)
		}
		d, err := tx.Alert(ctx, "k1")
		want := alerts.Delivery{Alert: alertFor(p.ID, r.ID, "k1"), State: alerts.DeliveryDue, NextTryAt: noon}
		if !reflect.DeepEqual(d, want) {
			t.Errorf("the alert came back as\n%+v, want\n%+v", d, want)
		}
		return err
	})
	if got := w.dueDeliveries(t, noon.Add(-time.Second)); len(got) != 0 {
		t.Errorf("due before its time: %v", got)
	}
	if got := w.dueDeliveries(t, noon); len(got) != 1 || got[0] != "k1" {
		t.Errorf("due are %v, want k1", got)
	}
	if got := w.dueDeliveries(t, noon.Add(time.Second)); len(got) != 0 {
		t.Errorf("handed out twice: %v", got)
	}
	if got := w.dueDeliveries(t, noon.Add(time.Minute)); len(got) != 1 {
		t.Errorf("not handed out again when nobody took it: %v", got)
	}
	retry := noon.Add(5 * time.Minute)
	w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error {
		if got, err := tx.LeaseAlert(ctx, "k1", noon, noon.Add(20*time.Second)); !got || err != nil {
			t.Errorf("leased %v: %v", got, err)
		}
		return tx.SettleAlert(ctx, "k1", alerts.Outcome{Try: 1, State: alerts.DeliveryRetrying,
			Reason: alerts.Reason{Text: "greylisted \x00\xff"}, At: noon, NextTryAt: retry})
	})
	if got := w.dueDeliveries(t, retry.Add(-time.Second)); len(got) != 0 {
		t.Errorf("due before the next try: %v", got)
	}
	if got := w.dueDeliveries(t, retry); len(got) != 1 {
		t.Error("not due at the next try")
	}
	w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error {
		d, err := tx.Alert(ctx, "k1")
		if d.State != alerts.DeliveryRetrying || d.Tries != 1 || d.Reason.Text != "greylisted \uFFFD\uFFFD" ||
			!d.NextTryAt.Equal(retry) {
			t.Errorf("while retrying the alert is %+v", d)
		}
		return errors.Join(err, tx.SettleAlert(ctx, "k1", alerts.Outcome{State: alerts.DeliverySent, At: retry}),
			// From a try whose lease had run out: too late to matter.
			tx.SettleAlert(ctx, "k1", alerts.Outcome{State: alerts.DeliveryFailed, Reason: alerts.Reason{Text: "late"},
				At: retry.Add(time.Second)}))
	})
	w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error {
		d, err := tx.Alert(ctx, "k1")
		if d.State != alerts.DeliverySent || d.Reason.Text != "" || !d.SettledAt.Equal(retry) || !d.NextTryAt.IsZero() {
			t.Errorf("once sent the alert is %+v", d)
		}
		got, leaseErr := tx.LeaseAlert(ctx, "k1", retry, retry.Add(time.Hour))
		if got {
			t.Error("an alert that was sent was leased")
		}
		return errors.Join(err, leaseErr)
	})
	if got := w.dueDeliveries(t, retry.Add(24*time.Hour)); len(got) != 0 {
		t.Errorf("due although sent: %v", got)
	}
	for _, o := range []alerts.Outcome{{State: alerts.DeliveryDue}, {State: alerts.DeliveryRetrying, At: noon}, {}} {
		err := w.InAccount(t.Context(), w.account, func(ctx context.Context, tx *postgres.AccountTx) error {
			return tx.SettleAlert(ctx, "k1", o)
		})
		wantKind(t, fmt.Sprintf("the outcome %+v", o), err, fault.Invalid)
	}
}

func TestAlertsOfARemovedRecipientSayWhy(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := w.newProject(t)
	r, stays := w.newRecipient(t, p.ID), w.newRecipient(t, p.ID)
	w.newAlert(t, p.ID, r.ID, "sent")
	w.newAlert(t, p.ID, r.ID, "due")
	w.newAlert(t, p.ID, stays.ID, "other")
	w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error {
		return errors.Join(tx.SettleAlert(ctx, "sent", alerts.Outcome{State: alerts.DeliverySent, At: noon}),
			tx.DeleteRecipient(ctx, p.ID, r.ID))
	})
	w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error {
		all, _, err := tx.Alerts(ctx, p.ID, paging.Page{Limit: 10})
		states := map[string]string{}
		for _, d := range all {
			states[d.Key] = string(d.State) + d.Reason.Data.String()
		}
		want := map[string]string{"sent": "sent", "due": "faileddelivery_removed", "other": "due"}
		if !reflect.DeepEqual(states, want) {
			t.Errorf("the alerts are %v, want %v", states, want)
		}
		left, listErr := tx.Recipients(ctx, p.ID)
		if len(left) != 1 || !reflect.DeepEqual(left[0], stays) {
			t.Errorf("recipients left: %+v, want %+v", left, stays)
		}
		return errors.Join(err, listErr)
	})
	if got := w.dueDeliveries(t, noon); len(got) != 1 || got[0] != "other" {
		t.Errorf("due are %v, want other", got)
	}
}

// Cells, projects and deliveries that are due go to one of many workers each.
func TestDueRowsAreHandedOutOnce(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	const many, workers = 40, 4
	for i := range many {
		p := w.newProject(t)
		w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error {
			cell := place.CellOf(40+float64(i)/5, 10)
			return errors.Join(tx.WatchCell(ctx, cell, p.ID, noon),
				tx.SetDue(ctx, p.ID, projects.Due{NextPlanAt: noon}))
		})
	}
	lease := noon.Add(time.Minute)
	for what, take := range map[string]func(context.Context, *postgres.SystemTx, time.Time) (int, error){
		"cells": func(ctx context.Context, tx *postgres.SystemTx, now time.Time) (int, error) {
			all, err := tx.DueCells(ctx, now, now.Add(time.Minute), 7)
			return len(all), err
		},
		"projects": func(ctx context.Context, tx *postgres.SystemTx, now time.Time) (int, error) {
			all, err := tx.DueProjects(ctx, now, now.Add(time.Minute), 7)
			return len(all), err
		},
	} {
		var mu sync.Mutex
		total := 0
		together(t, workers, func(_ int, meet func()) bool {
			for n := 1; n > 0; {
				err := w.InSystem(context.Background(), func(ctx context.Context, tx *postgres.SystemTx) (err error) {
					meet()
					n, err = take(ctx, tx, noon)
					return err
				})
				if err != nil {
					t.Error(err)
					return false
				}
				mu.Lock()
				total += n
				mu.Unlock()
			}
			return true
		})
		// A worker that finds nothing free stops, though another may still hold
		// rows that it then undoes: none does here, so all are handed out once.
		if total != many {
			t.Errorf("%d %s were handed out, want each of %d once", total, what, many)
		}
		w.system(t, func(ctx context.Context, tx *postgres.SystemTx) error {
			n, err := take(ctx, tx, lease.Add(-time.Second))
			if n != 0 {
				t.Errorf("%d %s were handed out again before the lease ended", n, what)
			}
			return err
		})
		w.system(t, func(ctx context.Context, tx *postgres.SystemTx) error {
			n, err := take(ctx, tx, lease)
			if n != 7 {
				t.Errorf("%d %s were handed out after the lease, want 7", n, what)
			}
			return err
		})
	}
}

func TestADueProjectUntilItIsSet(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := w.newProject(t)
	due := func(now time.Time) (n int) {
		w.system(t, func(ctx context.Context, tx *postgres.SystemTx) error {
			refs, err := tx.DueProjects(ctx, now, now.Add(time.Minute), 10)
			n = len(refs)
			return err
		})
		return n
	}
	set := func(d projects.Due) {
		w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error { return tx.SetDue(ctx, p.ID, d) })
	}
	if due(noon) != 0 {
		t.Error("a new project is due before it was set")
	}
	set(projects.Due{NextAlertAt: noon.Add(time.Hour), NextPlanAt: noon.Add(2 * time.Hour)})
	if due(noon) != 0 || due(noon.Add(time.Hour)) != 1 {
		t.Error("a project is not due exactly from its next alert on")
	}
	set(projects.Due{NextAlertAt: noon.Add(time.Hour)})
	if due(noon.Add(time.Hour)) != 1 {
		t.Error("setting it did not end the hold")
	}
	set(projects.Due{})
	if due(noon.Add(10000*time.Hour)) != 0 {
		t.Error("a project with nothing to come is due")
	}
}
