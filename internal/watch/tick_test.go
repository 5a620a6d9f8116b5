package watch_test

import (
	"context"
	"errors"
	"testing"
	"time"

	"dryslot/internal/work"
)

// That cells can't be listed keeps nobody from being told.
func TestWhatCannotBeLookedForKeepsNothingElseFromBeingFound(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := w.project()
	w.recipient(p)
	w.weather(p)
	a := w.evening(p)
	s := &spy{Store: w.store, blind: errors.New("the list of cells is torn")}
	w.Store = s
	w.later(9 * time.Hour) // the alert has lost its job, and so has the fetch
	if err := w.Tick(context.Background()); !errors.Is(err, s.blind) {
		t.Errorf("it is not said that cells can't be listed: %v", err)
	}
	if !s.asked(work.Deliver{Account: w.account, Key: a.Key}) || !s.asked(work.RaiseAlerts{Account: w.account, Project: p.ID}) {
		t.Errorf("asked for %+v", s.work)
	}
	s.blind = nil
	if err := w.Tick(context.Background()); err != nil || !s.asked(work.FetchCell{Cell: cellOf(p)}) {
		t.Errorf("asked for %+v, %v", s.work, err)
	}
}
