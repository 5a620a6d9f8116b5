package watch_test

import (
	"context"
	"errors"
	"testing"
	"time"

	"dryslot/internal/work"
)

// That deliveries can't be listed keeps no project from being looked at.
func TestWhatCannotBeLookedForKeepsNothingElseFromBeingFound(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := w.project()
	w.recipient(p)
	w.weather(p)
	a := w.evening(p)
	s := &spy{Store: w.store.Watch(), blind: errors.New("the list of deliveries is torn")}
	w.Store = s
	w.later(9 * time.Hour) // the alert has lost its job
	if err := w.Tick(context.Background()); !errors.Is(err, s.blind) {
		t.Errorf("it is not said that deliveries can't be listed: %v", err)
	}
	if !s.asked(work.RaiseAlerts{Account: w.account, Project: p.ID}) {
		t.Errorf("asked for %+v", s.work)
	}
	s.blind = nil
	if err := w.Tick(context.Background()); err != nil || !s.asked(work.Deliver{Account: w.account, Key: a.Key}) {
		t.Errorf("asked for %+v, %v", s.work, err)
	}
}
