package postgres_test

import (
	"context"
	"testing"
	"time"

	"dryslot/internal/postgres"
	"dryslot/internal/projects"
	"dryslot/internal/work"
)

// ask asks for plans of new projects of an account.
func (w *world) ask(t *testing.T, account string, projects int) {
	t.Helper()
	must(t, w.InAccount(t.Context(), account, func(ctx context.Context, tx *postgres.AccountTx) error {
		for range projects {
			p, err := tx.CreateProject(ctx, wharf(), noon)
			if err != nil {
				return err
			}
			if err := tx.Enqueue(ctx, work.Replan{Account: account, Project: p.ID, Because: "asked for"}); err != nil {
				return err
			}
		}
		return nil
	}))
}

func (w *world) take(t *testing.T) (turn projects.Turn, ok bool) {
	t.Helper()
	w.system(t, func(ctx context.Context, tx *postgres.SystemTx) (err error) {
		turn, ok, err = tx.TakeTurn(ctx, time.Hour)
		return err
	})
	return turn, ok
}

func (w *world) end(t *testing.T, turn projects.Turn) {
	t.Helper()
	w.system(t, func(ctx context.Context, tx *postgres.SystemTx) error { return tx.EndTurn(ctx, turn) })
}

// An account that asks for many plans waits behind its own: others come next
// but one, however many went before.
func TestAccountsTakeTurns(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	other, third := w.newAccount(t, "b"), w.newAccount(t, "c")
	w.ask(t, w.account, 100)
	for range 10 { // ten are made before anybody else comes
		turn, _ := w.take(t)
		w.end(t, turn)
	}
	w.ask(t, other, 2)
	w.ask(t, third, 1)
	served := map[string][]int{}
	n := 0
	for ; ; n++ {
		turn, ok := w.take(t)
		if !ok {
			break
		}
		served[turn.Account] = append(served[turn.Account], n)
		w.end(t, turn)
	}
	if n != 93 {
		t.Fatalf("%d plans were made, want 93", n)
	}
	for account, want := range map[string]int{other: 2, third: 2} {
		if first := served[account][0]; first > want {
			t.Errorf("an account that came late waited for %d plans, want %d", first, want)
		}
	}
	if second := served[other][1]; second > 4 {
		t.Errorf("its second plan waited for %d, want 4 at most", second)
	}
}

// A plan under way is taken by nobody else; asked for again meanwhile, it is
// made again; put back, it keeps its turn.
func TestATurnIsTakenOnce(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.ask(t, w.account, 1)
	turn, ok := w.take(t)
	if !ok || turn.Because != "asked for" {
		t.Fatalf("took %+v", turn)
	}
	if again, ok := w.take(t); ok {
		t.Errorf("taken twice: %+v", again)
	}
	w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error { return tx.Enqueue(ctx, turn.Replan) })
	w.end(t, turn)
	again, ok := w.take(t)
	if !ok || again.Project != turn.Project {
		t.Fatalf("what was asked for meanwhile is not made: %+v", again)
	}
	w.system(t, func(ctx context.Context, tx *postgres.SystemTx) error { return tx.PutBack(ctx, again, 0, true) })
	if again, ok = w.take(t); !ok || again.Tries != 1 {
		t.Errorf("put back: %+v, %v", again, ok)
	}
	w.system(t, func(ctx context.Context, tx *postgres.SystemTx) error {
		return tx.PutBack(ctx, again, time.Hour, false)
	})
	if again, ok = w.take(t); ok {
		t.Errorf("taken before its time: %+v", again)
	}
}

// A plan whose job was lost is asked for again, and no other is.
func TestLostTurnsAreCounted(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	lost := func() (n int) {
		w.system(t, func(ctx context.Context, tx *postgres.SystemTx) (err error) {
			n, err = tx.LostTurns(ctx)
			return err
		})
		return n
	}
	w.ask(t, w.account, 3)
	if n := lost(); n != 0 {
		t.Errorf("%d turns are lost, want none", n)
	}
	fill(t, w, "delete from river_job where id in (select id from river_job limit 2)")
	if n := lost(); n != 2 {
		t.Errorf("%d turns are lost, want 2", n)
	}
}

// Plans are asked for of all projects of a cell at once, while others look at one of
// them each and ask for its plan too: nobody waits in a circle. The bound only ends a
// test that hangs.
func TestAskingForAPlanWaitsForNoLook(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := w.newProject(t)
	plan := work.Replan{Account: w.account, Project: p.ID, Because: "new forecast"}
	must(t, w.InAccount(t.Context(), w.account, func(ctx context.Context, tx *postgres.AccountTx) error {
		if _, err := tx.LockProject(ctx, p.ID); err != nil {
			return err
		}
		apart, cancel := context.WithTimeout(context.Background(), time.Minute) // another transaction
		defer cancel()
		if err := w.InSystem(apart, func(ctx context.Context, tx *postgres.SystemTx) error {
			return tx.Enqueue(ctx, plan)
		}); err != nil {
			return err
		}
		return tx.Enqueue(ctx, plan)
	}))
}
