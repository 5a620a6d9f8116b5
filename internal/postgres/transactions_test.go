package postgres_test

import (
	"context"
	"errors"
	"reflect"
	"strings"
	"sync"
	"testing"
	"time"

	"dryslot/internal/accounts"
	"dryslot/internal/fault"
	"dryslot/internal/idempotency"
	"dryslot/internal/postgres"
	"dryslot/internal/postgres/postgrestest"
	"dryslot/internal/pour"
	"dryslot/internal/work"
)

func TestNothingStaysOfATransactionThatFails(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := w.newProject(t)
	err := w.InAccount(t.Context(), w.account, func(ctx context.Context, tx *postgres.AccountTx) error {
		must(t, appendText(ctx, tx, p.ID, "gone"))
		must(t, tx.Enqueue(ctx, work.Replan{Account: w.account, Project: p.ID}))
		return errUndo
	})
	if err != errUndo {
		t.Errorf("the error came back as %v", err)
	}
	if n := query[int](t, w, "select count(*) from log_entries") +
		query[int](t, w, "select count(*) from river_job"); n != 0 {
		t.Errorf("%d rows stayed", n)
	}
}

func TestWorkIsQueuedWithItsCause(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := w.newProject(t)
	w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error {
		return errors.Join(
			tx.Enqueue(ctx, work.FetchCell{Cell: quayCell}), tx.Enqueue(ctx,
				work.Replan{Account: w.account, Project: p.ID, Because: "rain logged"}),
			tx.Enqueue(ctx, work.RaiseAlerts{Account: w.account, Project: p.ID}),
			tx.Enqueue(ctx, work.Deliver{Account: w.account, Key: "k1"}))
	})
	w.system(t, func(ctx context.Context, tx *postgres.SystemTx) error {
		return tx.Enqueue(ctx, work.FetchCell{Cell: quayCell})
	})
	got := query[string](t, w, `select string_agg(kind || '@' || queue || '=' || state, ' ' order by id)
		from river_job`)
	if want := "fetch_cell@fetch=available next_plan@turns=available raise_alerts@alert=available " +
		"deliver@alert=available fetch_cell@fetch=available"; got != want {
		t.Errorf("queued %s, want %s", got, want)
	}
	if got := query[string](t, w, `select because from plan_queue`); got != "rain logged" {
		t.Errorf("the work says %q", got)
	}
}

// Called within a transaction of the same account, InAccount joins it.
func TestATransactionJoinsTheOneThatIsOpen(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := w.newProject(t)
	err := w.InAccount(t.Context(), w.account, func(ctx context.Context, tx *postgres.AccountTx) error {
		must(t, appendText(ctx, tx, p.ID, "outer"))
		must(t, w.InAccount(ctx, w.account, func(ctx context.Context, inner *postgres.AccountTx) error {
			all, err := inner.WholeLog(ctx, p.ID)
			if len(all) != 1 {
				t.Errorf("the inner part sees %d entries of the outer's, want 1", len(all))
			}
			return errors.Join(err, appendText(ctx, inner, p.ID, "inner"))
		}))
		// One that fails undoes its own part, and the rest goes on.
		err := w.InAccount(ctx, w.account, func(ctx context.Context, inner *postgres.AccountTx) error {
			must(t, appendText(ctx, inner, p.ID, "undone"))
			_, err := inner.UpdateProject(ctx, pour.Project{ID: p.ID, Spec: pour.Spec{Name: "\x00"}}, 1)
			return err
		})
		wantKind(t, "the failing part", err, fault.Invalid)
		all, err := tx.WholeLog(ctx, p.ID)
		if len(all) != 2 {
			t.Errorf("%d entries, want outer and inner", len(all))
		}
		return errors.Join(err, errUndo)
	})
	if !errors.Is(err, errUndo) {
		t.Error(err)
	}
	if n := query[int](t, w, "select count(*) from log_entries"); n != 0 {
		t.Errorf("%d entries stayed after the outermost failed", n)
	}
	// Another account's transaction is its own.
	other := w.newAccount(t, "b")
	w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error {
		return w.InAccount(ctx, other, func(ctx context.Context, tx *postgres.AccountTx) error {
			_, err := tx.Project(ctx, p.ID)
			wantKind(t, "another account's project within a transaction", err, fault.NotFound)
			return nil
		})
	})
}

func TestAnAnswerIsRememberedForADay(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	answer := idempotency.Answer{BodyHash: []byte{1, 2}, Status: 201,
		Header: map[string]string{"Location": "/v1/projects/x"}, Body: []byte("{}")}
	ask := func(route, key string, now time.Time) (a idempotency.Answer, err error) {
		err = w.InAccount(t.Context(), w.account, func(ctx context.Context, tx *postgres.AccountTx) (err error) {
			a, err = tx.Remembered(ctx, route, key, now)
			return err
		})
		return a, err
	}
	keep := func(a idempotency.Answer, now time.Time) error {
		return w.InAccount(t.Context(), w.account, func(ctx context.Context, tx *postgres.AccountTx) error {
			return tx.Remember(ctx, "POST /a", "k", a, now)
		})
	}
	_, err := ask("POST /a", "k", noon)
	wantKind(t, "the first request", err, fault.NotFound)
	must(t, keep(answer, noon))
	if a, err := ask("POST /a", "k", noon.Add(24*time.Hour-time.Second)); err != nil || !reflect.DeepEqual(a, answer) {
		t.Errorf("remembered %+v: %v", a, err)
	}
	wantKind(t, "a second answer under one key", keep(answer, noon), fault.Conflict)
	for _, q := range [][2]string{{"POST /b", "k"}, {"POST /a", "k2"}} {
		_, err := ask(q[0], q[1], noon)
		wantKind(t, "another route or key", err, fault.NotFound)
	}
	tomorrow := noon.Add(24 * time.Hour)
	_, err = ask("POST /a", "k", tomorrow)
	wantKind(t, "a day later", err, fault.NotFound)
	must(t, keep(idempotency.Answer{Status: 200}, tomorrow))
	if a, err := ask("POST /a", "k", tomorrow); err != nil || a.Status != 200 {
		t.Errorf("the key could not be used again after a day: %+v, %v", a, err)
	}
}

func TestAKeyInFlightIsAConflict(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	second := postgrestest.Open(t, w.db) // as another API process
	w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error {
		_, err := tx.Remembered(ctx, "POST /a", "k", noon)
		wantKind(t, "the first taker", err, fault.NotFound)
		err = second.InAccount(t.Context(), w.account, func(ctx context.Context, tx *postgres.AccountTx) error {
			_, err := tx.Remembered(ctx, "POST /a", "k", noon)
			return err
		})
		wantKind(t, "a second taker meanwhile", err, fault.Conflict)
		return tx.Remember(ctx, "POST /a", "k", idempotency.Answer{Status: 201}, noon)
	})
	err := second.InAccount(t.Context(), w.account, func(ctx context.Context, tx *postgres.AccountTx) error {
		a, err := tx.Remembered(ctx, "POST /a", "k", noon)
		if a.Status != 201 {
			t.Errorf("remembered %+v", a)
		}
		return err
	})
	must(t, err)
}

func TestTokensAndSessions(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	token := strings.Repeat("z", 32)
	ids := make([]string, 8)
	var wg sync.WaitGroup
	for i := range ids {
		wg.Go(func() {
			var err error
			if ids[i], err = w.EnsureToken(context.Background(), token); err != nil {
				t.Error(err)
			}
		})
	}
	wg.Wait()
	for _, a := range ids {
		if a != ids[0] {
			t.Errorf("one token got the accounts %v", ids)
			break
		}
	}
	if n := query[int](t, w, "select count(*) from accounts"); n != 2 {
		t.Errorf("%d accounts, want the world's and one more", n)
	}
	got, err := w.AccountByToken(t.Context(), token)
	if err != nil || got != ids[0] {
		t.Errorf("the token opens %s: %v", got, err)
	}
	for _, bad := range []string{"", token + "z", strings.Repeat("\x00", 32), "\xff"} {
		_, err := w.AccountByToken(t.Context(), bad)
		wantKind(t, "a wrong token", err, fault.Forbidden)
	}
	_, err = w.EnsureToken(t.Context(), "short")
	wantKind(t, "a short token", err, fault.Invalid)
	if n := query[int](t, w, "select count(*) from tokens where digest = convert_to($1, 'UTF8')", token); n != 0 {
		t.Error("the token itself is stored")
	}

	key, err := w.CreateSession(t.Context(), accounts.NewSession{Account: w.account,
		ExpiresAt: time.Now().Add(time.Hour)})
	must(t, err)
	ended, err := w.CreateSession(t.Context(), accounts.NewSession{Account: w.account,
		ExpiresAt: time.Now().Add(-time.Second)})
	must(t, err)
	if got, err := w.AccountBySession(t.Context(), key, time.Now()); err != nil || got != w.account {
		t.Errorf("the session is of %s: %v", got, err)
	}
	for what, k := range map[string]string{"a session that has ended": ended, "no session": "x"} {
		_, err := w.AccountBySession(t.Context(), k, time.Now())
		wantKind(t, what, err, fault.Forbidden)
	}
	must(t, w.DeleteSession(t.Context(), key))
	must(t, w.DeleteSession(t.Context(), key))
	_, err = w.AccountBySession(t.Context(), key, time.Now())
	wantKind(t, "a session signed out", err, fault.Forbidden)
	_, err = w.CreateSession(t.Context(), accounts.NewSession{Account: "01890000-0000-7000-8000-000000000000",
		ExpiresAt: time.Now().Add(time.Hour)})
	wantKind(t, "a session of an account that is not there", err, fault.NotFound)
}

// A machine that is cut off in the middle of a transaction holds its locks a
// minute, and not until its connection is given up.
func TestASilentTransactionIsEnded(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	const name = "idle_in_transaction_session_timeout"
	usual, _, patient := strings.Cut(w.db.ServiceURL, "&"+name)
	if !patient {
		t.Error("tests have the same patience")
	}
	store := postgrestest.Open(t, postgrestest.Database{ServiceURL: usual})
	err := store.InAccount(t.Context(), w.account, func(ctx context.Context, _ *postgres.AccountTx) error {
		got, err := postgres.SettingIn(ctx, name)
		if got != "1min" {
			t.Errorf("a transaction may be silent for %s", got)
		}
		return err
	})
	must(t, err)
}
