package postgres_test

import (
	"context"
	"testing"
	"time"

	"dryslot/internal/fetching"
	"dryslot/internal/metrics"
	"dryslot/internal/postgres"
	"dryslot/internal/projects"
	"dryslot/internal/work"
)

func TestFigures(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	ctx := context.Background()
	empty, err := w.Figures(ctx, noon)
	must(t, err)
	if empty.Cells != 0 || empty.Projects != 0 || empty.Deliveries != 0 || !empty.OldestForecast.IsZero() ||
		!empty.OldestDelivery.IsZero() || len(empty.Jobs) != 0 {
		t.Errorf("of an empty database: %+v", empty)
	}
	p := w.newProject(t)
	w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error {
		if err := tx.WatchCell(ctx, quayCell, p.ID, noon); err != nil {
			return err
		}
		if err := tx.SetDue(ctx, p.ID, projects.Due{NextPlanAt: noon.Add(time.Hour)}); err != nil {
			return err
		}
		return tx.Enqueue(ctx, work.FetchCell{Cell: quayCell})
	})
	w.system(t, func(ctx context.Context, tx *postgres.SystemTx) error {
		return tx.FetchFailed(ctx, quayCell, noon, noon.Add(30*time.Minute),
			fetching.Trouble{Text: "the feed was down"})
	})
	for after, want := range map[time.Duration][2]int{0: {0, 0}, 31 * time.Minute: {1, 0}, time.Hour: {1, 1}} {
		f, err := w.Figures(ctx, noon.Add(after))
		must(t, err)
		if f.Cells != 1 || f.CellsFailing != 1 || f.Projects != 1 || f.CellsOverdue != want[0] ||
			f.ProjectsOverdue != want[1] {
			t.Errorf("after %v: %+v", after, f)
		}
		if len(f.Jobs) != 1 || f.Jobs[0] != (metrics.JobCount{State: "available", Count: 1}) {
			t.Errorf("jobs %+v", f.Jobs)
		}
	}
}
