package planner

import (
	"context"
	"errors"
	"testing"

	"dryslot/internal/planner/jobtest"
)

// doneAfter is a context that is done once it has been asked so many times.
type doneAfter struct {
	context.Context
	asks int
}

func (c *doneAfter) Err() error {
	if c.asks--; c.asks < 0 {
		return context.Canceled
	}
	return nil
}

// A context that is done at any moment of the work ends it at the next look,
// with the context's error and without half a plan.
func TestMakeStopsWithItsContext(t *testing.T) {
	job := jobtest.JobFor(jobtest.JobJ12(), jobtest.Weather(11, 31, 3, jobtest.Mild, jobtest.Showers(5, 0.05)), 10)
	whole := &doneAfter{t.Context(), 1 << 30}
	if _, err := Make(whole, job); err != nil {
		t.Fatal(err)
	}
	looks := 1<<30 - whole.asks
	if looks < 10 {
		t.Fatalf("the context was looked at %d times in the whole plan", looks)
	}
	for _, n := range []int{0, 1, looks / 2, looks - 1} {
		c := &doneAfter{t.Context(), n}
		res, err := Make(c, job)
		if res != nil || !errors.Is(err, context.Canceled) {
			t.Errorf("after %d of %d looks: %v, %v", n, looks, res, err)
		}
		if c.asks != -1 {
			t.Errorf("after %d looks the work went on for %d more", n, -1-c.asks)
		}
	}
}
