package postgres_test

import (
	"context"
	"errors"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"dryslot/internal/alerts"
	"dryslot/internal/fault"
	"dryslot/internal/paging"
	"dryslot/internal/postgres"
	"dryslot/internal/pour"
)

func TestAProjectComesBackAsItWasGiven(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	made := w.newProject(t)
	if made.ID == "" || made.Revision != 1 || len(made.CalendarKey) < 40 || !made.CreatedAt.Equal(noon) ||
		made.Account != w.account {
		t.Errorf("made %+v", made)
	}
	w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error {
		got, err := tx.Project(ctx, made.ID)
		if !reflect.DeepEqual(got, made) {
			t.Errorf("got  %+v\nwant %+v", got, made)
		}
		return err
	})
	account, project, err := w.ProjectByCalendarKey(t.Context(), made.CalendarKey)
	if err != nil || account != w.account || project != made.ID {
		t.Errorf("the calendar key opens %s %s: %v", account, project, err)
	}
	_, _, err = w.ProjectByCalendarKey(t.Context(), "another")
	wantKind(t, "a wrong calendar key", err, fault.NotFound)
}

func TestAChangeNeedsTheRevisionItWasMadeAt(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := w.newProject(t)
	p.Name = "Crane pads, moved"
	w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error {
		got, err := tx.UpdateProject(ctx, p, 1)
		if err == nil && (got.Revision != 2 || got.Name != p.Name || got.CalendarKey != p.CalendarKey) {
			t.Errorf("changed to %+v", got)
		}
		return err
	})
	for _, revision := range []int64{0, 1, 3} {
		err := w.InAccount(t.Context(), w.account, func(ctx context.Context, tx *postgres.AccountTx) error {
			_, err := tx.UpdateProject(ctx, p, revision)
			return err
		})
		wantKind(t, fmt.Sprintf("a change at revision %d of 2", revision), err, fault.Stale)
	}
}

// Of many changes made from one revision at once, one holds.
func TestOneChangeOfManyAtOnceHolds(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := w.newProject(t)
	const many = 8
	errs := make([]error, many)
	var wg sync.WaitGroup
	for i := range many {
		wg.Go(func() {
			errs[i] = w.InAccount(t.Context(), w.account, func(ctx context.Context, tx *postgres.AccountTx) error {
				q := p
				q.Name = fmt.Sprint("change ", i)
				_, err := tx.UpdateProject(ctx, q, 1)
				return err
			})
		})
	}
	wg.Wait()
	held := 0
	for _, err := range errs {
		switch {
		case err == nil:
			held++
		case !errors.Is(err, fault.Stale):
			t.Error(err)
		}
	}
	if held != 1 {
		t.Errorf("%d changes held, want 1", held)
	}
}

func TestAPadWithLogEntriesStays(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := w.newProject(t)
	w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error {
		_, placed := tx.AppendLog(ctx, p.ID, pour.LogEntry{Kind: pour.EntryPlaced, Pad: "P1", At: noon,
			RecordedAt: noon})
		// An entry for every pad speaks of those that it had an effect on.
		_, rained := tx.AppendLog(ctx, p.ID, pour.LogEntry{Kind: pour.EntryRainedOn, At: noon, RecordedAt: noon,
			Effects: []pour.Effect{{Pad: "P2", Inspect: "rain on the fresh surface"}}})
		return errors.Join(placed, rained)
	})
	without := func(gone ...string) error {
		return w.InAccount(t.Context(), w.account, func(ctx context.Context, tx *postgres.AccountTx) error {
			q, err := tx.Project(ctx, p.ID)
			if err != nil {
				return err
			}
			q.Pads = slices.DeleteFunc(slices.Clone(q.Pads), func(pad pour.Pad) bool {
				return slices.Contains(gone, pad.Name)
			})
			_, err = tx.UpdateProject(ctx, q, q.Revision)
			return err
		})
	}
	err := without("P1", "P2", "P3")
	var f *fault.Error
	if !errors.As(err, &f) || f.Kind != fault.Conflict || len(f.Fields) != 2 || f.Fields[0].Value != "P1" ||
		f.Fields[1].Value != "P2" {
		t.Errorf("removing all pads gave %v, want a conflict that names P1 and P2", err)
	}
	if err := without("P3"); err != nil {
		t.Errorf("a pad without log entries could not go: %v", err)
	}
	err = w.InAccount(t.Context(), w.account, func(ctx context.Context, tx *postgres.AccountTx) error {
		_, err := tx.AppendLog(ctx, p.ID, pour.LogEntry{Kind: pour.EntryPlaced, Pad: "P3", At: noon, RecordedAt: noon})
		return err
	})
	wantKind(t, "a log entry on a pad that is gone", err, fault.Invalid)
}

func TestTheLogIsInTheOrderOfWhatHappened(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := w.newProject(t)
	litres, zone := 15.5, time.FixedZone("", 7200)
	late := pour.LogEntry{Kind: pour.EntryFinished, Pad: "P1", At: noon.Add(2 * time.Hour).In(zone),
		RecordedAt: noon.Add(3 * time.Hour)}
	early := pour.LogEntry{Kind: pour.EntryPlaced, Pad: "P1", At: noon.In(zone), RecordedAt: noon.Add(4 * time.Hour),
		WaterL: &litres, Text: "stiff mix \u00b7 \"dry\""}
	w.in(t, func(ctx context.Context, tx *postgres.AccountTx) (err error) {
		for _, e := range []*pour.LogEntry{&late, &early} {
			if *e, err = tx.AppendLog(ctx, p.ID, *e); err != nil {
				return err
			}
		}
		got, err := tx.WholeLog(ctx, p.ID)
		if len(got) != 2 || got[0].ID != early.ID || got[1].ID != late.ID {
			t.Errorf("the log is %+v", got)
		} else if g := got[0]; !g.At.Equal(early.At) || g.At.Format(time.RFC3339) != "2026-04-14T14:00:00+02:00" ||
			*g.WaterL != litres || g.Bags != nil || g.Text != early.Text {
			t.Errorf("an entry came back as %+v", g)
		}
		return err
	})
}

// Every list, cut into pages of any size, is the whole list once.
func TestPagesMakeTheWholeList(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	const n = 7
	first := w.newProject(t)
	r := w.newRecipient(t, first.ID)
	for i := range n {
		if i > 0 {
			w.newProject(t)
		}
		w.newAlert(t, first.ID, r.ID, fmt.Sprintf("k%d", i))
		w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error {
			at := noon.Add(time.Duration(i%3) * time.Hour) // some at the same instant
			_, logged := tx.AppendLog(ctx, first.ID, pour.LogEntry{Kind: pour.EntryNote, At: at, RecordedAt: noon})
			_, planned := tx.AddPlan(ctx, first.ID, aPlan("again"))
			return errors.Join(logged, planned)
		})
	}
	lists := map[string]func(context.Context, *postgres.AccountTx, paging.Page) ([]string, string, error){
		"projects": func(ctx context.Context, tx *postgres.AccountTx, p paging.Page) ([]string, string, error) {
			all, next, err := tx.Projects(ctx, p)
			return names(all, func(p pour.Project) string { return p.ID }), next, err
		},
		"log": func(ctx context.Context, tx *postgres.AccountTx, p paging.Page) ([]string, string, error) {
			all, next, err := tx.Log(ctx, first.ID, p)
			return names(all, func(e pour.LogEntry) string { return e.ID }), next, err
		},
		"plans": func(ctx context.Context, tx *postgres.AccountTx, p paging.Page) ([]string, string, error) {
			all, next, err := tx.Plans(ctx, first.ID, p)
			return names(all, func(p pour.Plan) string { return fmt.Sprint(*p.Version) }), next, err
		},
		"alerts": func(ctx context.Context, tx *postgres.AccountTx, p paging.Page) ([]string, string, error) {
			all, next, err := tx.Alerts(ctx, first.ID, p)
			return names(all, func(d alerts.Delivery) string { return d.Key }), next, err
		},
	}
	foreign := map[string]string{}
	for list, get := range lists {
		w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error {
			whole, next, err := get(ctx, tx, paging.Page{Limit: 200})
			if len(whole) != n || next != "" {
				t.Errorf("%s: %d items and then %q, want %d and the end", list, len(whole), next, n)
			}
			for limit := 1; limit <= n+1 && err == nil; limit++ {
				var all []string
				page := paging.Page{Limit: limit}
				for pages := 0; ; pages++ {
					var items []string
					if items, page.Cursor, err = get(ctx, tx, page); err != nil {
						break
					}
					foreign[list] = max(foreign[list], page.Cursor)
					all = append(all, items...)
					if page.Cursor == "" {
						break
					}
					if len(items) != limit || pages > n {
						t.Fatalf("%s: a page of %d has %d items", list, limit, len(items))
					}
				}
				if !slices.Equal(all, whole) {
					t.Errorf("%s in pages of %d is %v, want %v", list, limit, all, whole)
				}
			}
			return err
		})
	}
	for list, get := range lists {
		bad := []paging.Page{{Limit: 0}, {Limit: 201}, {Limit: -1}, {Limit: 5, Cursor: "x"}, {Limit: 5, Cursor: "!!"},
			{Limit: 5, Cursor: strings.Repeat("A", 5000)}}
		for other, c := range foreign {
			if other != list {
				bad = append(bad, paging.Page{Limit: 5, Cursor: c})
			}
		}
		for _, page := range bad {
			err := w.InAccount(t.Context(), w.account, func(ctx context.Context, tx *postgres.AccountTx) error {
				_, _, err := get(ctx, tx, page)
				return err
			})
			wantKind(t, fmt.Sprintf("%s with %.60v", list, page), err, fault.Invalid)
		}
	}
}

func names[T any](all []T, name func(T) string) []string {
	out := make([]string, len(all))
	for i, v := range all {
		out[i] = name(v)
	}
	return out
}

func TestPlansAreNumberedWithoutGaps(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := w.newProject(t)
	w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error {
		_, err := tx.CurrentPlan(ctx, p.ID)
		wantKind(t, "the plan before the first", err, fault.NotFound)
		return nil
	})
	const many = 6
	var wg sync.WaitGroup
	for i := range many {
		wg.Go(func() {
			err := w.InAccount(t.Context(), w.account, func(ctx context.Context, tx *postgres.AccountTx) error {
				_, err := tx.AddPlan(ctx, p.ID, aPlan(fmt.Sprint("because ", i)))
				return err
			})
			if err != nil {
				t.Error(err)
			}
		})
	}
	wg.Wait()
	w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error {
		all, _, err := tx.Plans(ctx, p.ID, paging.Page{Limit: 200})
		for i, plan := range all {
			if *plan.Version != many-i {
				t.Errorf("plan %d from the newest has version %d", i, *plan.Version)
			}
		}
		current, currentErr := tx.CurrentPlan(ctx, p.ID)
		second, secondErr := tx.PlanVersion(ctx, p.ID, 2)
		if err := errors.Join(err, currentErr, secondErr); err != nil {
			return err
		}
		if *current.Plan.Version != many || *second.Plan.Version != 2 {
			t.Errorf("the current plan is %d and the second %d", *current.Plan.Version, *second.Plan.Version)
		}
		want := aPlan(current.Plan.Because)
		want.Plan.Version = current.Plan.Version
		if !reflect.DeepEqual(current, want) {
			t.Errorf("a plan came back as\n%+v, want\n%+v", current, want)
		}
		_, err = tx.PlanVersion(ctx, p.ID, many+1)
		wantKind(t, "a plan that is not there", err, fault.NotFound)
		return nil
	})
}

func TestWhatCannotBeStored(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := w.newProject(t)
	r := w.newRecipient(t, p.ID)
	nul := p
	nul.Name = "a\x00b"
	for name, row := range map[string]struct {
		kind fault.Kind
		try  func(context.Context, *postgres.AccountTx) error
	}{
		"a NUL in a name": {fault.Invalid, func(ctx context.Context, tx *postgres.AccountTx) error {
			_, err := tx.CreateProject(ctx, nul, noon)
			return err
		}},
		"a NUL in a change": {fault.Invalid, func(ctx context.Context, tx *postgres.AccountTx) error {
			_, err := tx.UpdateProject(ctx, nul, 1)
			return err
		}},
		"a NUL in a log text": {fault.Invalid, func(ctx context.Context, tx *postgres.AccountTx) error {
			return appendText(ctx, tx, p.ID, "x\x00")
		}},
		"a NUL in an address": {fault.Invalid, func(ctx context.Context, tx *postgres.AccountTx) error {
			_, err := tx.AddRecipient(ctx, notifyTo(p.ID, "a\x00@example.org"))
			return err
		}},
		"a NUL in an idempotency key": {fault.Invalid, func(ctx context.Context, tx *postgres.AccountTx) error {
			_, err := tx.Remembered(ctx, "POST /x", "a\x00", noon)
			return err
		}},
		"an id that is none": {fault.NotFound, func(ctx context.Context, tx *postgres.AccountTx) error {
			_, err := tx.Project(ctx, "17")
			return err
		}},
		"an id in braces": {fault.NotFound, func(ctx context.Context, tx *postgres.AccountTx) error {
			_, err := tx.Project(ctx, "{"+p.ID+"}")
			return err
		}},
		"an id with a NUL": {fault.NotFound, func(ctx context.Context, tx *postgres.AccountTx) error {
			_, err := tx.Project(ctx, p.ID[:35]+"\x00")
			return err
		}},
		"a recipient's id": {fault.NotFound, func(ctx context.Context, tx *postgres.AccountTx) error {
			return tx.DeleteRecipient(ctx, p.ID, "x")
		}},
		"another kind of id": {fault.NotFound, func(ctx context.Context, tx *postgres.AccountTx) error {
			_, err := tx.Project(ctx, r.ID)
			return err
		}},
		"a forecast not kept": {fault.NotFound, func(ctx context.Context, tx *postgres.AccountTx) error {
			_, err := tx.ForecastByID(ctx, 99)
			return err
		}},
		"a cell nobody plans from": {fault.NotFound, func(ctx context.Context, tx *postgres.AccountTx) error {
			_, err := tx.CellState(ctx, quayCell)
			return err
		}},
		"a plan's huge version": {fault.NotFound, func(ctx context.Context, tx *postgres.AccountTx) error {
			_, err := tx.PlanVersion(ctx, p.ID, 1<<31)
			return err
		}},
		"a plan's negative version": {fault.NotFound, func(ctx context.Context, tx *postgres.AccountTx) error {
			_, err := tx.PlanVersion(ctx, p.ID, -1)
			return err
		}},
	} {
		err := w.InAccount(t.Context(), w.account, row.try)
		wantKind(t, name, err, row.kind)
	}
	err := w.InAccount(t.Context(), "no account", func(context.Context, *postgres.AccountTx) error {
		t.Error("ran")
		return nil
	})
	wantKind(t, "an account that is none", err, fault.NotFound)
}
