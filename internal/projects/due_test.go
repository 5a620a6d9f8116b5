package projects_test

import (
	"context"
	"errors"
	"testing"
	"time"

	"dryslot/internal/jobs"
	"dryslot/internal/work"
)

// That deliveries can't be listed keeps no project from being looked at.
func TestWhatCannotBeLookedForKeepsNothingElseFromBeingFound(t *testing.T) {
	t.Parallel()
	w, p := newAlerted(t)
	w.evening(p)
	s := &spy{Store: w.store.Projects()}
	w.Store = s
	list := &unlisted{w.store.Alerts(), errors.New("the list of deliveries is torn")}
	w.alerting.Store = list
	all := jobs.Services{Projects: w.Service, Alerts: w.alerting, Fetching: w.fetching}
	w.later(9 * time.Hour) // the alert has lost its job
	if err := all.EnqueueDue(context.Background()); !errors.Is(err, list.why) {
		t.Errorf("it is not said that deliveries can't be listed: %v", err)
	}
	if !s.asked(work.RaiseAlerts{Account: w.account, Project: p.ID}) {
		t.Errorf("asked for %+v", s.work)
	}
	list.why = nil
	if err := all.EnqueueDue(context.Background()); err != nil {
		t.Error(err)
	}
}
