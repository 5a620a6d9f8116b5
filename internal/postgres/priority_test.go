package postgres_test

import (
	"context"
	"slices"
	"testing"

	"dryslot/internal/postgres"
	"dryslot/internal/work"
)

// The queue is told what bears waiting: the last added comes first here.
func TestWorkWaitsByHowMuchItBearsTo(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := w.newProject(t)
	w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error {
		return tx.Enqueue(ctx, work.FetchCell{Cell: quayCell}, work.Replan{Account: w.account, Project: p.ID},
			work.RaiseAlerts{Account: w.account, Project: p.ID}, work.Deliver{Account: w.account, Key: "k"})
	})
	got := query[[]string](t, w, "select array_agg(kind order by priority, id) from river_job")
	if want := []string{"deliver", "raise_alerts", "next_plan", "fetch_cell"}; !slices.Equal(got, want) {
		t.Errorf("the order is %v, want %v", got, want)
	}
	if n := query[int](t, w, "select count(distinct priority) from river_job"); n != 4 {
		t.Errorf("%d priorities for 4 kinds", n)
	}
}
