package projects_test

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/fetching"
	"dryslot/internal/forecast"
	"dryslot/internal/forecast/skytest"
	"dryslot/internal/place"
	"dryslot/internal/postgres"
	"dryslot/internal/pour"
	"dryslot/internal/today"
	"dryslot/internal/work"
)

// dueShorts lists what is due, as a worker does.
func (w *world) dueShorts() (cells []place.Cell) {
	w.t.Helper()
	w.system(func(ctx context.Context, tx *postgres.SystemTx) (err error) {
		cells, err = tx.DueShort(ctx, w.clock(), w.clock(), 10)
		return err
	})
	return cells
}

func (w *world) system(fn func(context.Context, *postgres.SystemTx) error) {
	w.t.Helper()
	if err := w.store.InSystem(context.Background(), fn); err != nil {
		w.t.Fatal(err)
	}
}

func (w *world) shortRange(p pour.Project) (s fetching.ShortState) {
	w.t.Helper()
	w.system(func(ctx context.Context, tx *postgres.SystemTx) (err error) {
		s, err = tx.ShortState(ctx, cellOf(p))
		return err
	})
	return s
}

// refreshShort fetches what is due.
func (w *world) refreshShort() int {
	w.t.Helper()
	cells := w.dueShorts()
	for _, c := range cells {
		if err := w.fetching.RefreshShort(context.Background(), c); err != nil {
			w.t.Fatal(err)
		}
	}
	return len(cells)
}

func dry(time.Time) float64 { return 0 }

// Quarter hours are fetched while a day is near or under way, and not otherwise;
// the answer for this minute goes by them.
func TestShortRangesAreFetchedWhileADayIsUnderWay(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.planned()
	p := w.project()
	w.feed.Nowcast(func(now time.Time) (forecast.ShortRange, error) {
		return skytest.Quarters("sky", now, now.Truncate(15*time.Minute), 48, dry), nil
	})
	w.weather(p)
	w.look(p)
	if n := w.refreshShort(); n != 0 {
		t.Errorf("in the evening %d cells are due", n)
	}
	w.at(10, 4, 31) // an hour and a half before setting up
	w.look(p)
	if n := w.refreshShort(); n != 1 {
		t.Fatalf("before the start %d cells are due", n)
	}
	s := w.shortRange(p)
	if s.Product == nil || len(s.Product.Steps) != 48 || s.Trouble.Text != "" {
		t.Errorf("held: %+v", s)
	}
	if wait := s.NextFetchAt.Sub(w.clock()); wait < 15*time.Minute || wait > 16*time.Minute {
		t.Errorf("the next in %v", wait)
	}
	if n := w.refreshShort(); n != 0 {
		t.Errorf("at once again %d cells are due", n)
	}
	var refs []work.ProjectRef
	w.system(func(ctx context.Context, tx *postgres.SystemTx) (err error) {
		refs, err = tx.LiveProjects(ctx, cellOf(p), w.clock())
		return err
	})
	if len(refs) != 1 || refs[0].Project != p.ID {
		t.Errorf("under way: %v", refs)
	}
	w.at(10, 7, 30)
	w.record(p, pour.LogEntry{Kind: pour.EntryStarted, At: w.clock().Add(-time.Hour)})
	w.record(p, pour.LogEntry{Kind: pour.EntryPlaced, Pads: []string{"A"}, At: w.clock()})
	if n := w.today(p); n.Advice.Do != today.GoOn {
		t.Errorf("dry, as far as is known: %+v", n.Advice)
	}
	w.feed.Nowcast(func(now time.Time) (forecast.ShortRange, error) {
		return skytest.Quarters("sky", now, now.Truncate(15*time.Minute), 48, func(time.Time) float64 { return 8 }), nil
	})
	w.feed.Chance = 0.3
	w.later(time.Hour)
	w.weather(p)
	before := w.today(p)
	if n := w.refreshShort(); n != 1 {
		t.Fatalf("while concrete is soft %d cells are due", n)
	}
	if n := w.today(p); n.Advice.Do == today.GoOn || n.Rain.Hours[0].Chance <= before.Rain.Hours[0].Chance {
		t.Errorf("heavy rain from now on: %+v, %+v", n.Advice, n.Rain)
	}
	w.at(11, 20, 0) // all has set
	w.weather(p)
	w.look(p)
	w.at(11, 21, 0)
	if n := w.refreshShort(); n != 0 {
		t.Errorf("when all has set %d cells are due", n)
	}
}

// What does not serve the next two hours is refused with the reason, what is held
// stays, and the next feed is asked.
func TestShortRangesThatDoNotServeAreRefused(t *testing.T) {
	t.Parallel()
	w, p := withSoftPad(t)
	good := func(now time.Time) (forecast.ShortRange, error) {
		return skytest.Quarters("sky", now, now.Truncate(15*time.Minute), 48, dry), nil
	}
	w.feed.Nowcast(good)
	if n := w.refreshShort(); n != 1 {
		t.Fatalf("%d cells are due", n)
	}
	held := w.shortRange(p).Product
	oslo := place.CellOf(59.91, 10.75)
	bad := map[string]func(now time.Time) (forecast.ShortRange, error){
		"old": func(now time.Time) (forecast.ShortRange, error) {
			return skytest.Quarters("sky", now, now.Add(-13*time.Hour).Truncate(15*time.Minute), 48, dry), nil
		},
		"short": func(now time.Time) (forecast.ShortRange, error) {
			return skytest.Quarters("sky", now, now.Truncate(15*time.Minute), 4, dry), nil
		},
		"future": func(now time.Time) (forecast.ShortRange, error) {
			return skytest.Quarters("sky", now, now.Add(2*time.Hour).Truncate(15*time.Minute), 48, dry), nil
		},
		"issued long ago": func(now time.Time) (forecast.ShortRange, error) {
			s := skytest.Quarters("sky", now, now.Truncate(15*time.Minute), 48, dry)
			at := now.Add(-time.Hour)
			s.Source.IssuedAt, s.OldAfter = &at, 20*time.Minute
			return s, nil
		},
		"foreign": func(now time.Time) (forecast.ShortRange, error) {
			s := skytest.Quarters("sky", now, now.Truncate(15*time.Minute), 48, dry)
			s.Place = &oslo
			return s, nil
		},
		"empty": func(now time.Time) (forecast.ShortRange, error) {
			return skytest.Quarters("sky", now, now, 0, dry), nil
		},
		"no answer": func(time.Time) (forecast.ShortRange, error) {
			return forecast.ShortRange{}, fault.New(fault.Unavailable, "no answer")
		},
	}
	for name, short := range bad {
		w.later(20 * time.Minute)
		w.look(p)
		w.feed.Nowcast(short)
		if n := w.refreshShort(); n != 1 {
			t.Fatalf("%s: %d cells are due", name, n)
		}
		s := w.shortRange(p)
		if s.Product == nil || !s.Product.Source.FetchedAt.Equal(held.Source.FetchedAt) {
			t.Errorf("%s replaced what was held: %+v", name, s.Product)
		}
		if !strings.Contains(s.Trouble.Text, "sky") || !s.NextFetchAt.After(w.clock()) {
			t.Errorf("%s: trouble %q, the next at %v", name, s.Trouble, s.NextFetchAt)
		}
	}
	// A second feed has what the first has not.
	other := &skytest.Sky{Named: "other", Short: func(now time.Time) (forecast.ShortRange, error) {
		return skytest.Quarters("other", now, now.Truncate(15*time.Minute), 48, dry), nil
	}}
	w.fetching.Feeds = append(w.fetching.Feeds, other)
	w.later(20 * time.Minute)
	w.look(p)
	w.refreshShort()
	if s := w.shortRange(p); s.Product.Source.Feed != "other" || !strings.Contains(s.Trouble.Text, "sky") {
		t.Errorf("held: %+v, trouble %q", s.Product.Source, s.Trouble)
	}
}

// unkept is a store that keeps no short-range product while why says so.
type unkept struct {
	fetching.Store
	why error
}

func (s *unkept) InSystem(ctx context.Context, fn func(context.Context, fetching.SystemTx) error) error {
	return s.Store.InSystem(ctx, func(ctx context.Context, tx fetching.SystemTx) error {
		return fn(ctx, unkeptTx{tx, s.why})
	})
}

type unkeptTx struct {
	fetching.SystemTx
	why error
}

func (t unkeptTx) KeepShort(ctx context.Context, s forecast.ShortRange, at, next time.Time,
	trouble fetching.Trouble) error {
	if t.why != nil {
		return t.why
	}
	return t.SystemTx.KeepShort(ctx, s, at, next, trouble)
}

// A product that could not be kept is fetched again by the job's next try, which does
// not wait for the lease of the one before to end.
func TestAShortRangeThatIsNotKeptIsFetchedAgain(t *testing.T) {
	t.Parallel()
	w, p := withSoftPad(t)
	w.feed.Nowcast(func(now time.Time) (forecast.ShortRange, error) {
		return skytest.Quarters("sky", now, now.Truncate(15*time.Minute), 48, dry), nil
	})
	store := &unkept{w.fetching.Store, errors.New("the connection broke")}
	w.fetching.Store = store
	cells := w.dueShorts()
	if len(cells) != 1 {
		t.Fatalf("due: %v", cells)
	}
	if err := w.fetching.RefreshShort(context.Background(), cells[0]); !errors.Is(err, store.why) {
		t.Errorf("not kept: %v", err)
	}
	store.why = nil
	if err := w.fetching.RefreshShort(context.Background(), cells[0]); err != nil {
		t.Fatal(err)
	}
	if s := w.shortRange(p); s.Product == nil || s.Failures != 0 {
		t.Errorf("held: %+v", s)
	}
}

// withSoftPad is a world at seven in the morning, in which pad A was just placed.
func withSoftPad(t *testing.T) (*world, pour.Project) {
	t.Helper()
	w := newWorld(t)
	p := w.project()
	w.at(10, 7, 0)
	w.weather(p)
	w.record(p, pour.LogEntry{Kind: pour.EntryPlaced, Pads: []string{"A"}, At: w.clock()})
	return w, p
}
