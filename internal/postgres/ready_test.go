package postgres_test

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/postgres"
	"dryslot/internal/projects"
	"dryslot/internal/ready"
)

// readies is a project with a plan whose answers are kept.
type readies struct {
	*world
	key   ready.Key
	token string
}

func newReadies(t *testing.T) readies {
	t.Helper()
	w := newWorld(t)
	p := w.newProject(t)
	w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error {
		_, err := tx.AddPlan(ctx, p.ID, aPlan("first"))
		return err
	})
	return readies{w, ready.Key{Project: p.ID, Name: "plan", Language: "es-419"}, strings.Repeat("a", 40)}
}

func (r readies) ask(t *testing.T, change func(*ready.Query)) ready.Found {
	t.Helper()
	q := ready.Query{Key: r.key, Now: noon.Add(time.Minute)}
	if change != nil {
		change(&q)
	}
	f, err := r.ReadyAnswer(t.Context(), r.token, q)
	must(t, err)
	if f.Account != r.account {
		t.Fatalf("the account is %q", f.Account)
	}
	return f
}

// keep keeps an answer and returns it.
func (r readies) keep(t *testing.T) ready.Answer {
	t.Helper()
	a, err := ready.New([][]byte{[]byte(strings.Repeat("a plan ", 1000))})
	must(t, err)
	a.Tag, a.Since, a.From, a.Until = `"t1"`, noon.Add(-time.Hour), noon, noon.Add(10*time.Hour)
	must(t, r.KeepReady(t.Context(), r.account, r.key, r.ask(t, nil).Basis, a))
	return a
}

func TestAnAnswerIsFoundWhileItHolds(t *testing.T) {
	t.Parallel()
	r := newReadies(t)
	if f := r.ask(t, nil); f.Tag != "" || f.Basis == "" {
		t.Errorf("before any is kept: %+v", f)
	}
	a := r.keep(t)
	for packed, body := range map[bool][]byte{false: a.Plain, true: a.Packed} {
		f := r.ask(t, func(q *ready.Query) { q.Packed = packed })
		if f.Tag != a.Tag || !f.Since.Equal(a.Since) || !slices.Equal(f.Body, body) {
			t.Errorf("packed %t: %.60v", packed, f)
		}
	}
	for _, held := range [][]string{{`"t1"`}, {`"other"`, `"t1"`}, {"*"}} {
		if f := r.ask(t, func(q *ready.Query) { q.Held = held }); f.Tag != a.Tag || f.Body != nil {
			t.Errorf("a client that has %v gets %q and %d bytes", held, f.Tag, len(f.Body))
		}
	}
	for what, change := range map[string]func(*ready.Query){
		"another name":       func(q *ready.Query) { q.Name = "mornings" },
		"another language":   func(q *ready.Query) { q.Language = "" },
		"when it has ended":  func(q *ready.Query) { q.Now = a.Until },
		"before it was made": func(q *ready.Query) { q.Now = noon.Add(-time.Second) },
	} {
		if f := r.ask(t, change); f.Tag != "" || f.Body != nil {
			t.Errorf("%s finds %q", what, f.Tag)
		}
	}
	_, err := r.ReadyAnswer(t.Context(), strings.Repeat("b", 40), ready.Query{Key: r.key, Now: noon})
	wantKind(t, "an unknown token", err, fault.Forbidden)
	other := r.newAccount(t, "c")
	f, err := r.ReadyAnswer(t.Context(), strings.Repeat("c", 40), ready.Query{Key: r.key, Now: noon.Add(time.Minute)})
	must(t, err)
	if f.Account != other || f.Tag != "" || f.Basis != "" || f.Body != nil {
		t.Errorf("another account finds %+v", f)
	}
}

// Whatever is written of a project ends its answers, with whichever statement.
func TestAnAnswerEndsWithWhatItWasMadeOf(t *testing.T) {
	t.Parallel()
	r := newReadies(t)
	id := r.key.Project
	changes := map[string]func(context.Context, *postgres.AccountTx) error{
		"a plan": func(ctx context.Context, tx *postgres.AccountTx) error {
			_, err := tx.AddPlan(ctx, id, aPlan("again"))
			return err
		},
		"mornings": func(ctx context.Context, tx *postgres.AccountTx) error {
			k, err := tx.CurrentPlan(ctx, id)
			if err != nil {
				return err
			}
			return tx.KeepMornings(ctx, id, k)
		},
		"the project": func(ctx context.Context, tx *postgres.AccountTx) error {
			p, err := tx.Project(ctx, id)
			if err != nil {
				return err
			}
			_, err = tx.UpdateProject(ctx, p, p.Revision)
			return err
		},
		"the log": func(ctx context.Context, tx *postgres.AccountTx) error { return appendText(ctx, tx, id, "a note") },
		"what is due": func(ctx context.Context, tx *postgres.AccountTx) error {
			return tx.SetDue(ctx, id, projects.Due{NextPlanAt: noon})
		},
		"where it is": func(ctx context.Context, tx *postgres.AccountTx) error {
			return tx.WatchCell(ctx, quayCell, id, noon)
		},
	}
	for what, change := range changes {
		r.keep(t)
		if f := r.ask(t, nil); f.Tag == "" {
			t.Fatalf("before %s no answer is found", what)
		}
		r.in(t, change)
		if f := r.ask(t, nil); f.Tag != "" {
			t.Errorf("after %s the answer of before is found", what)
		}
	}
}

// Answers that have ended go with the next that is kept of their project, and
// otherwise when their account's turn comes; those of a project go with it.
func TestAnswersThatHaveEndedAreForgotten(t *testing.T) {
	t.Parallel()
	r := newReadies(t)
	count := func() int { return query[int](t, r.world, "select count(*) from ready_answers") }
	a := r.keep(t)
	for i := range 3 {
		r.key.Name = fmt.Sprintf("mornings/%d", i)
		must(t, r.KeepReady(t.Context(), r.account, r.key, "1",
			ready.Answer{Plain: a.Plain, Packed: a.Packed, From: a.From, Until: a.Until}))
	}
	if n := count(); n != 4 {
		t.Errorf("%d answers are kept, want 4", n)
	}
	must(t, r.KeepReady(t.Context(), r.account, r.key, "1",
		ready.Answer{Plain: a.Plain, Packed: a.Packed, From: a.Until, Until: a.Until.Add(time.Hour)}))
	if n := count(); n != 1 {
		t.Errorf("%d answers are kept, want 1", n)
	}
	due := func(now time.Time) (accounts []string) {
		r.system(t, func(ctx context.Context, tx *postgres.SystemTx) (err error) {
			accounts, err = tx.DueAccounts(ctx, now, 10)
			return err
		})
		return accounts
	}
	later := a.Until.Add(49 * time.Hour)
	if len(due(a.Until)) != 0 || len(due(later)) != 1 {
		t.Errorf("due: %v, later %v", due(a.Until), due(later))
	}
	r.in(t, func(ctx context.Context, tx *postgres.AccountTx) error { return tx.ForgetAnswers(ctx, later, 10) })
	if n := count(); n != 0 || len(due(later.Add(time.Hour))) != 0 {
		t.Errorf("%d answers are kept, due are %v", n, due(later.Add(time.Hour)))
	}
	r.keep(t)
	r.in(t, func(ctx context.Context, tx *postgres.AccountTx) error { return tx.DeleteProject(ctx, r.key.Project) })
	if n := count(); n != 0 {
		t.Errorf("%d answers of a deleted project", n)
	}
}
