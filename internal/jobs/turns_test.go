package jobs_test

import (
	"context"
	"sync"
	"testing"

	"dryslot/internal/jobs"
	"dryslot/internal/planner/job"
	"dryslot/internal/planner/plannertest"
	"dryslot/internal/postgres"
	"dryslot/internal/pour"
	"dryslot/internal/projects"
)

func (r *rig) projectOf(account, name string) pour.Project {
	r.t.Helper()
	spec := pour.DefaultSpec()
	spec.Name, spec.Latitude, spec.Longitude, spec.TimeZone = name, 38.55, -7.90, "Europe/Lisbon"
	spec.Pads = []pour.Pad{{Name: "A", LengthM: 1, WidthM: 1, ThicknessM: 0.075}}
	p, err := r.CreateProject(context.Background(), account, spec)
	if err != nil {
		r.t.Fatal(err)
	}
	return p
}

// Another account's one project is planned after two of the many that an
// account posted before it, at most: turns are counted, not timed.
func TestAnAccountWithManyProjectsDelaysNobody(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	other, err := r.store.EnsureToken(context.Background(), "another token of thirty-two characters or more")
	if err != nil {
		t.Fatal(err)
	}
	const many = 30
	var mu sync.Mutex
	var order []string
	all := make(chan struct{})
	r.Service.Plan = func(ctx context.Context, in job.Job) (*job.Result, error) {
		mu.Lock()
		defer mu.Unlock()
		if order = append(order, in.Spec.Name); len(order) == many+1 {
			close(all)
		}
		return plannertest.Plan(ctx, in)
	}
	for range many {
		r.projectOf(r.account, "one of many")
	}
	r.projectOf(other, "the only one")
	r.work(jobs.Options{Planners: 1})
	<-all
	mu.Lock()
	defer mu.Unlock()
	// Its turn is the second. While a forecast that came in asks for it once more,
	// its row is locked and others are taken; without turns it would be the last.
	for i, name := range order {
		if name == "the only one" && i > many/3 {
			t.Errorf("planned after %d others", i)
		}
	}
}

// A stop cancels a plan that does not end by itself; its turn is free at once
// for the next worker.
func TestAStopPutsAPlanBack(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	begun, cut := make(chan struct{}), make(chan struct{})
	r.Service.Plan = func(ctx context.Context, _ job.Job) (*job.Result, error) {
		close(begun)
		<-ctx.Done()
		close(cut)
		return nil, ctx.Err()
	}
	w, err := jobs.New(r.store.Driver(), r.services(), jobs.Options{Planners: 1})
	if err != nil {
		t.Fatal(err)
	}
	if err := w.Start(context.Background()); err != nil {
		t.Fatal(err)
	}
	p := r.projectOf(r.account, "slow")
	<-begun
	hurried, cancel := context.WithCancel(context.Background())
	cancel()
	if err := w.Stop(hurried); err != nil {
		t.Fatal(err)
	}
	<-cut
	var turn projects.Turn
	taken := false
	err = r.store.InSystem(context.Background(), func(ctx context.Context, tx *postgres.SystemTx) (err error) {
		turn, taken, err = tx.TakeTurn(ctx, 0)
		return err
	})
	if err != nil || !taken || turn.Project != p.ID || turn.Tries != 0 {
		t.Errorf("the turn is %+v, taken %v, %v", turn, taken, err)
	}
}
