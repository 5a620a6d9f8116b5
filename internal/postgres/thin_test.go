package postgres_test

import (
	"context"
	"slices"
	"testing"
	"time"

	"dryslot/internal/postgres"
)

// Of plans that were followed by another those of seven days stay, of ninety
// each day's last, and the one in force however old it is. Another project's and
// another account's stay as they are.
func TestPlansThinOut(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p, beside := w.newProject(t), w.newProject(t)
	var made []time.Time // by version
	add := func(project string, at time.Time) {
		w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error {
			k := aPlan("again")
			k.Plan.MadeAt = at
			_, err := tx.AddPlan(ctx, project, k)
			return err
		})
	}
	add(beside.ID, noon.Add(-200*24*time.Hour))
	add(beside.ID, noon.Add(-199*24*time.Hour))
	for day := -110; day <= 0; day += 2 {
		for _, hour := range []int{1, 9} {
			at := noon.AddDate(0, 0, day).Add(time.Duration(hour) * time.Hour)
			add(p.ID, at)
			made = append(made, at)
		}
	}
	last := made[len(made)-1]
	var want []int32
	for i, at := range made {
		lastOfDay := i+1 == len(made) || made[i+1].YearDay() != at.YearDay()
		if i+1 == len(made) || !at.Before(last.AddDate(0, 0, -7)) || lastOfDay && !at.Before(last.AddDate(0, 0, -90)) {
			want = append(want, int32(i+1))
		}
	}
	versions := func(project string) []int32 {
		return query[[]int32](t, w, `select array_agg(version order by version) from plans where project = $1`, project)
	}
	if got := versions(p.ID); !slices.Equal(got, want) {
		t.Errorf("the versions %v are left, want %v", got, want)
	}
	if got := versions(beside.ID); !slices.Equal(got, []int32{1, 2}) {
		t.Errorf("of another project %v are left", got)
	}
	// Whoever gives a later instant thins no more than the database's clock does,
	// and nothing of an account that is not set.
	conn := service(t, w)
	_, err := conn.Exec(t.Context(), `select thin_plans($1, now() + interval '1000 years')`, beside.ID)
	must(t, err)
	if got := versions(beside.ID); !slices.Equal(got, []int32{1, 2}) {
		t.Errorf("without an account %v are left", got)
	}
	// A long rest leaves the one in force.
	add(p.ID, last.AddDate(0, 0, 200))
	if got := versions(p.ID); len(got) != 1 || int(got[0]) != len(made)+1 {
		t.Errorf("after a long rest %v are left", got)
	}
}
