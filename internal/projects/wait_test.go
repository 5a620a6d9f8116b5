package projects_test

import (
	"context"
	"errors"
	"slices"
	"testing"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/fetching"
	"dryslot/internal/forecast"
	"dryslot/internal/forecast/skytest"
	"dryslot/internal/place"
	"dryslot/internal/postgres"
)

// asked writes down how long was waited for; the wait is over at once, after
// what during does.
func (w *world) asked(during func()) *[]time.Duration {
	waits := &[]time.Duration{}
	w.fetching.After = func(d time.Duration) <-chan time.Time {
		*waits = append(*waits, d)
		if during != nil {
			during()
		}
		over := make(chan time.Time)
		close(over)
		return over
	}
	return waits
}

// underWay says that so many requests of other workers are under way.
func (w *world) underWay(n int) {
	w.t.Helper()
	s := fetching.FeedState{Feed: "sky"}
	for i := range n {
		s.InFlight = append(s.InFlight, w.clock().Add(20*time.Second+time.Duration(i)))
	}
	err := w.store.InSystem(context.Background(), func(ctx context.Context, tx *postgres.SystemTx) error {
		return tx.SetFeedState(ctx, s)
	})
	if err != nil {
		w.t.Fatal(err)
	}
}

func TestAFetchWaitsAMomentForItsTurn(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.feed.Limit = forecast.Limits{AtOnce: 1}
	p := w.project()
	w.underWay(1)
	n := 0
	waits := w.asked(func() {
		if n++; n == 3 {
			w.underWay(0)
		}
	})
	w.refresh(p)
	if w.feed.Called() != 1 || len(*waits) != 3 || w.cell(p).ForecastID == 0 {
		t.Errorf("fetched %d times after the waits %v", w.feed.Called(), *waits)
	}
}

// A wait is bounded by what was waited for, though no clock goes on meanwhile.
func TestAFetchThatGetsNoTurnGoesBackToTheQueue(t *testing.T) {
	t.Parallel()
	for name, patient := range map[string]bool{"after a moment": true, "at once": false} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			w := newWorld(t)
			w.feed.Limit = forecast.Limits{AtOnce: 1}
			p := w.project()
			w.underWay(1)
			waits := &[]time.Duration{}
			if patient {
				waits = w.asked(nil)
			}
			var e *fault.Error
			if err := w.fetching.Refresh(context.Background(), cellOf(p)); !errors.As(err, &e) ||
				e.Kind != fault.Unavailable || e.RetryAfter <= 0 || e.Message.Code != fetching.FeedBusy {
				t.Errorf("answered %v", err)
			}
			sum := time.Duration(0)
			for _, d := range *waits {
				sum += d
			}
			if sum > 3*time.Second || (sum > 2*time.Second) != patient || w.feed.Called() != 0 {
				t.Errorf("fetched %d times, waits %v", w.feed.Called(), *waits)
			}
			if c := w.cell(p); c.Failures != 0 || !c.NextFetchAt.After(w.clock()) {
				t.Errorf("the cell is %+v", c)
			}
		})
	}
}

func TestAStopEndsAWaitForATurn(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.feed.Limit = forecast.Limits{AtOnce: 1}
	p := w.project()
	w.underWay(1)
	ctx, stop := context.WithCancel(context.Background())
	w.fetching.After = func(time.Duration) <-chan time.Time {
		stop()
		return nil // never
	}
	if err := w.fetching.Refresh(ctx, cellOf(p)); err == nil || w.feed.Called() != 0 {
		t.Errorf("answered %v, fetched %d times", err, w.feed.Called())
	}
}

// busy is a feed that bears one request, which lasts until it is let go.
type busy struct {
	*skytest.Sky
	begun, let chan struct{}
}

func (b *busy) Fetch(ctx context.Context, c place.Cell, v string, now time.Time) (forecast.Forecast, error) {
	close(b.begun)
	<-b.let
	return b.Sky.Fetch(ctx, c, v, now)
}

// Within one process, too, one waits a moment while another is at it.
func TestAFetchDoesNotWaitLongForAnother(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.feed.Limit = forecast.Limits{AtOnce: 1}
	feed := &busy{Sky: w.feed, begun: make(chan struct{}), let: make(chan struct{})}
	w.fetching.Feeds = []fetching.Feed{feed}
	waits := w.asked(nil)
	first := w.project()
	spec := first.Spec
	spec.Latitude += 1
	second, err := w.CreateProject(context.Background(), w.account, spec)
	if err != nil {
		t.Fatal(err)
	}
	done := make(chan error)
	go func() { done <- w.fetching.Refresh(context.Background(), cellOf(first)) }()
	<-feed.begun
	var e *fault.Error
	if err := w.fetching.Refresh(context.Background(), cellOf(second)); !errors.As(err, &e) || e.RetryAfter <= 0 ||
		e.Message.Code != fetching.FeedNoSlot {
		t.Errorf("answered %v", err)
	}
	if !slices.Equal(*waits, []time.Duration{3 * time.Second}) {
		t.Errorf("waits %v", *waits)
	}
	close(feed.let)
	if err := <-done; err != nil || w.cell(first).ForecastID == 0 {
		t.Errorf("the first: %v", err)
	}
}
