package projects_test

import (
	"context"
	"errors"
	"hash/fnv"
	"math"
	"reflect"
	"strconv"
	"sync"
	"testing"
	"time"

	"golang.org/x/sync/errgroup"

	"dryslot/internal/alerts"
	"dryslot/internal/fetching"
	"dryslot/internal/forecast"
	"dryslot/internal/place"
	"dryslot/internal/planner/plannertest"
	"dryslot/internal/postgres"
	"dryslot/internal/postgres/postgrestest"
	"dryslot/internal/pour"
	"dryslot/internal/projects"
	"dryslot/internal/retention"
	"dryslot/internal/unit"
)

// proving is a service whose feed is as reliable as the test wants it.
type proving struct {
	*projects.Service
	fetching *fetching.Service
	store    *postgres.Store
	db       postgrestest.Database
	now      time.Time
}

var (
	provingStart = time.Date(2026, 5, 4, 6, 20, 0, 0, time.UTC)
	provingPlace = struct{ lat, lon float64 }{38.55, -7.90}
	provingCell  = place.CellOf(38.55, -7.90)
)

func newProving(t *testing.T, truth func(p float64) float64) *proving {
	p := &proving{db: postgrestest.URLs(t), now: provingStart}
	p.store = postgrestest.Open(t, p.db)
	p.Service = &projects.Service{Store: p.store.Projects(), Plan: plannertest.Plan,
		Now: func() time.Time { return p.now }}
	p.Alerts = &alerts.Service{Store: p.store.Alerts(), Projects: p.Service, Now: p.Now}
	p.fetching = &fetching.Service{Store: p.store.Fetching(), Feeds: []fetching.Feed{told{truth}}, Now: p.Now}
	return p
}

// told is a feed that states the same chance of an hour from wherever it
// stands, and rain that follows the chance as truth has it.
type told struct{ truth func(p float64) float64 }

func (told) Name() string { return "told" }

func (f told) Fetch(_ context.Context, cell place.Cell, _ string, now time.Time) (forecast.Forecast, error) {
	const past, coming = 48, 180
	fc := forecast.Forecast{Cell: cell, Wet: forecast.DefaultWet,
		Sources: []forecast.Source{{Feed: "told", FetchedAt: now, Attribution: "invented"}}}
	first := now.Truncate(time.Hour).Add(-past * time.Hour)
	for h := range past + coming {
		hr := forecast.Hour{Start: first.Add(time.Duration(h) * time.Hour)}
		chance, mm := f.hour(hr.Start)
		hr.Values[forecast.AirC] = unit.Some(15)
		hr.Values[forecast.RainChance], hr.Values[forecast.RainMM] = unit.Some(chance), unit.Some(mm)
		fc.Hours = append(fc.Hours, hr)
	}
	return fc, nil
}

func (f told) hour(start time.Time) (chance, mm float64) {
	chance = math.Round(math.Pow(uniform("chance", start), 2.5)*100) / 100
	if uniform("rain", start) < f.truth(chance) {
		mm = 1.2
	}
	return chance, mm
}

// uniform is a number between 0 and 1 that belongs to a name and an hour.
func uniform(name string, t time.Time) float64 {
	h := fnv.New64a()
	_, _ = h.Write([]byte(name + strconv.FormatInt(t.Unix(), 10) + "told"))
	x := h.Sum64()
	x ^= x >> 33
	x *= 0xff51afd7ed558ccd // the finaliser of MurmurHash3: neighbouring hours must differ
	x ^= x >> 33
	return float64(x>>11) / (1 << 53)
}

func (p *proving) project(t *testing.T) (account string, made pour.Project) {
	t.Helper()
	ctx := context.Background()
	account, err := p.store.EnsureToken(ctx, "a token of thirty-two characters or more")
	if err != nil {
		t.Fatal(err)
	}
	spec := pour.DefaultSpec()
	spec.Name, spec.Latitude, spec.Longitude = "Cider press footing", provingPlace.lat, provingPlace.lon
	spec.Pads = []pour.Pad{{Name: "A", LengthM: 1, WidthM: 1, ThicknessM: 0.08}}
	if made, err = p.CreateProject(ctx, account, spec); err != nil {
		t.Fatal(err)
	}
	return account, made
}

// live lets days go by with a fetch every six hours.
func (p *proving) live(t *testing.T, days int, refresh func(context.Context, place.Cell) error) {
	t.Helper()
	for range days * 4 {
		p.now = p.now.Add(6 * time.Hour)
		if err := refresh(context.Background(), provingCell); err != nil {
			t.Fatal(err)
		}
	}
}

func (p *proving) proved(t *testing.T, account string) (kept forecast.Kept, reports fetching.Reports) {
	t.Helper()
	err := p.store.InAccount(context.Background(), account, func(ctx context.Context,
		tx *postgres.AccountTx) (err error) {
		if kept, err = tx.Forecast(ctx, provingCell); err != nil {
			return err
		}
		_, reports, _, err = p.fetching.Proved(ctx, account, kept)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return kept, reports
}

func TestAFeedThatStatesTooMuchIsCorrectedAndDrawnSo(t *testing.T) {
	t.Parallel()
	p := newProving(t, func(c float64) float64 { return c * c })
	account, _ := p.project(t)
	p.live(t, 44, p.fetching.Refresh)
	kept, reports := p.proved(t, account)
	if kept.Recalibration == nil {
		t.Fatal("nothing was learned")
	}
	for i, r := range reports {
		if !r.Recalibrated || r.After >= r.Before {
			t.Errorf("band %d: not corrected, or held-back Brier %.4f from %.4f", i, r.After, r.Before)
		}
		if r.Here.Bias < 0.05 {
			t.Errorf("band %d: bias %.3f of a feed that states far too much", i, r.Here.Bias)
		}
	}
	raw, err := forecast.Draw(&kept.Forecast, forecast.DrawOptions{})
	if err != nil {
		t.Fatal(err)
	}
	drawn, err := forecast.Draw(&kept.Forecast, forecast.DrawOptions{Recalibration: kept.Recalibration})
	if err != nil {
		t.Fatal(err)
	}
	before, after, truth := 0.0, 0.0, 0.0
	for h := 60; h < 200; h++ {
		c := kept.Forecast.Hours[h].Get(forecast.RainChance).V
		before, after, truth = before+raw.ChanceWet(h, 0.1), after+drawn.ChanceWet(h, 0.1), truth+c*c
	}
	if math.Abs(after-truth) > 0.4*math.Abs(before-truth) {
		t.Errorf("wet hours expected: %.1f as stated, %.1f as drawn, %.1f in truth", before, after, truth)
	}
}

func TestAFeedThatIsRightIsLeftAlone(t *testing.T) {
	t.Parallel()
	p := newProving(t, func(c float64) float64 { return c })
	account, _ := p.project(t)
	p.live(t, 44, p.fetching.Refresh)
	kept, reports := p.proved(t, account)
	if kept.Recalibration != nil { // of how heavy its rain is, which the feed does not state
		for i, b := range kept.Recalibration.Bands {
			if b.On {
				t.Errorf("band %d of a right feed is corrected by %+v", i, b)
			}
		}
	}
	for i, r := range reports {
		if r.Here.Pairs < 35*24 || r.Here.Skill < 0.2 || math.Abs(r.Here.Bias) > 0.03 || r.Here.Gap > 0.05 {
			t.Errorf("band %d of a right feed scores %+v", i, r.Here)
		}
	}
}

// losing is a store that undoes what was done, now and then, as a server that
// goes away before a commit does.
type losing struct {
	fetching.Store
	mu sync.Mutex
	n  int
}

var errLost = errors.New("the connection was lost")

func (l *losing) InSystem(ctx context.Context, fn func(context.Context, fetching.SystemTx) error) error {
	l.mu.Lock()
	l.n++
	lost := l.n%7 == 0
	l.mu.Unlock()
	return l.Store.InSystem(ctx, func(ctx context.Context, tx fetching.SystemTx) error {
		if err := fn(ctx, tx); err != nil {
			return err
		}
		if lost {
			return errLost
		}
		return nil
	})
}

// However often work is lost, done again or done by two at once, every hour
// counts once in every band.
func TestRetriesCountOnce(t *testing.T) {
	t.Parallel()
	p := newProving(t, func(c float64) float64 { return c })
	account, _ := p.project(t)
	second := &fetching.Service{Store: postgrestest.Open(t, p.db).Fetching(), Feeds: p.fetching.Feeds, Now: p.Now}
	p.fetching.Store = &losing{Store: p.store.Fetching()}
	p.live(t, 12, func(ctx context.Context, cell place.Cell) error {
		var both errgroup.Group
		for _, s := range []*fetching.Service{p.fetching, second, p.fetching} {
			both.Go(func() error {
				err := s.Refresh(ctx, cell)
				if errors.Is(err, errLost) {
					return nil // the queue tries again later
				}
				return err
			})
		}
		return both.Wait()
	})
	var here, everywhere forecast.Counts
	var stated []forecast.Stated
	err := p.store.InSystem(context.Background(), func(ctx context.Context, tx *postgres.SystemTx) error {
		f, err := tx.Forecast(ctx, provingCell)
		if err != nil {
			return err
		}
		s, _ := f.Forecast.Stated()
		stated, err = tx.Stated(ctx, provingCell, s.Of, time.Time{})
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	err = p.store.InAccount(context.Background(), account, func(ctx context.Context,
		tx *postgres.AccountTx) (err error) {
		here, everywhere, err = tx.Counted(ctx, provingCell, stated[0].Of)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	if here != everywhere {
		t.Error("one cell's counts and those of all cells, of which it is the only one, differ")
	}
	// All at once, from what was stated and what fell.
	rain := forecast.Rain{Start: provingStart.Truncate(time.Hour)}
	for at := rain.Start; !at.After(here.Last); at = at.Add(time.Hour) {
		_, mm := told{func(c float64) float64 { return c }}.hour(at)
		rain.MM = append(rain.MM, mm)
	}
	want := forecast.CountDue(stated, &rain, rain.Start, here.Last.Add(time.Hour))
	if here != *want || want.Pairs() < 4*200 {
		t.Errorf("%d pairs were counted bit by bit, %d at once", here.Pairs(), want.Pairs())
	}
}

// Rain that a builder saw counts against a feed that saw none, unless the entry
// is undone before its hour is counted.
func TestLoggedRainCountsAgainstAFeedThatSawNone(t *testing.T) {
	t.Parallel()
	for _, undone := range []bool{false, true} {
		p := newProving(t, func(float64) float64 { return 0 })
		account, made := p.project(t)
		p.live(t, 2, p.fetching.Refresh)
		mm := 3.0
		at := p.now.Add(-20 * time.Minute)
		out, err := p.Record(context.Background(), account, made.ID,
			pour.LogEntry{Kind: pour.EntryRainedOn, At: at, RainMM: &mm})
		if err != nil {
			t.Fatal(err)
		}
		wet := 1.0
		if undone {
			wet = 0
			entry := pour.LogEntry{Kind: pour.EntryUndone, At: p.now, Entry: out.Entry.ID}
			if _, err := p.Record(context.Background(), account, made.ID, entry); err != nil {
				t.Fatal(err)
			}
		}
		p.live(t, 1, p.fetching.Refresh)
		_, reports := p.proved(t, account)
		s := reports[0].Here
		if math.Abs(s.Climate*float64(s.Pairs)-wet*(1-wet/float64(s.Pairs))) > 1e-9 {
			t.Errorf("undone %v: %v wet hours were logged, scored: %+v", undone, wet, s)
		}
	}
}

// After 30 days what a forecast stated is forgotten; what it scored is not.
func TestScoresOutliveForecasts(t *testing.T) {
	t.Parallel()
	p := newProving(t, func(c float64) float64 { return c })
	account, _ := p.project(t)
	p.live(t, 4, p.fetching.Refresh)
	_, before := p.proved(t, account)
	stated := func() (n int) {
		err := p.store.InSystem(context.Background(), func(ctx context.Context, tx *postgres.SystemTx) error {
			f, err := tx.Forecast(ctx, provingCell)
			if err != nil {
				return err
			}
			s, _ := f.Forecast.Stated()
			all, err := tx.Stated(ctx, provingCell, s.Of, time.Time{})
			n = len(all)
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
		return n
	}
	if n := stated(); n != 16 {
		t.Errorf("%d forecasts' chances are kept, want 16", n)
	}
	p.now = p.now.Add(40 * 24 * time.Hour)
	if err := (&retention.Service{Store: p.store.Retention(), Now: p.Now}).Prune(context.Background()); err != nil {
		t.Fatal(err)
	}
	if n := stated(); n != 1 {
		t.Errorf("%d forecasts' chances are kept after 40 days, want the newest alone", n)
	}
	if _, after := p.proved(t, account); !reflect.DeepEqual(after, before) {
		t.Error("scores have changed by pruning")
	}
}
