package planner

import (
	"dryslot/internal/planner/job"
	"testing"
)

func mustMake(t testing.TB, in job.Job) *job.Result {
	t.Helper()
	r, err := Make(t.Context(), in)
	if err != nil {
		t.Fatal(err)
	}
	return r
}
