package postgres_test

import (
	"context"
	"errors"
	"fmt"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"dryslot/internal/accounts"
	"dryslot/internal/fault"
	"dryslot/internal/fetching"
	"dryslot/internal/forecast"
	"dryslot/internal/message"
	"dryslot/internal/place"
	"dryslot/internal/postgres"
	"dryslot/internal/work"
)

func (w *world) cell(t *testing.T, cell place.Cell) (c fetching.CellState) {
	t.Helper()
	w.system(t, func(ctx context.Context, tx *postgres.SystemTx) (err error) {
		c, err = tx.CellState(ctx, cell)
		return err
	})
	return c
}

func TestACellFromWatchedToFetched(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p, q := w.newProject(t), w.newProject(t)
	watchCell := func(project string, first time.Time) {
		w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error {
			return tx.WatchCell(ctx, quayCell, project, first)
		})
	}
	watchCell(p.ID, noon)
	watchCell(q.ID, noon.Add(-time.Hour))
	if got, want := w.cell(t, quayCell),
		(fetching.CellState{Cell: quayCell, NextFetchAt: noon}); !reflect.DeepEqual(got,
		want) {
		t.Errorf("a watched cell is %+v, want %+v", got, want)
	}
	lease := func(now time.Time) (ok bool) {
		w.system(t, func(ctx context.Context, tx *postgres.SystemTx) (err error) {
			_, ok, err = tx.LeaseCell(ctx, quayCell, now, now.Add(30*time.Second))
			return err
		})
		return ok
	}
	if lease(noon.Add(-time.Second)) {
		t.Error("leased before its time")
	}
	if !lease(noon) || lease(noon.Add(29*time.Second)) {
		t.Error("not leased exactly once")
	}
	if !lease(noon.Add(30 * time.Second)) {
		t.Error("not leased once the lease had run out")
	}
	silent := message.New("feed_no_answer", message.Name("feed", "nws"))
	w.system(t, func(ctx context.Context, tx *postgres.SystemTx) error {
		_, err := tx.Forecast(ctx, quayCell)
		wantKind(t, "the forecast before the first", err, fault.NotFound)
		why := fetching.Trouble{Text: "no answer\x00", Data: []message.Message{message.New("feed_refused_saying",
			message.Text("reason", "\x00"))}}
		return errors.Join(tx.FetchFailed(ctx, quayCell, noon, noon.Add(time.Minute), why),
			tx.FetchFailed(ctx, quayCell, noon, noon.Add(2*time.Minute),
				fetching.Trouble{Text: "no answer", Data: []message.Message{silent}}))
	})
	want := fetching.CellState{Cell: quayCell, NextFetchAt: noon.Add(2 * time.Minute), LastTriedAt: noon, Failures: 2,
		Trouble: fetching.Trouble{Text: "no answer", Data: []message.Message{silent}}}
	if got := w.cell(t, quayCell); !reflect.DeepEqual(got, want) {
		t.Errorf("a failing cell is %+v, want %+v", got, want)
	}
	w.system(t, func(ctx context.Context, tx *postgres.SystemTx) error {
		return tx.PostponeFetch(ctx, quayCell, noon.Add(time.Hour),
			fetching.Trouble{Text: "the provider's limit is reached"})
	})
	if got := w.cell(t, quayCell); got.Failures != 2 || !got.NextFetchAt.Equal(noon.Add(time.Hour)) ||
		got.Trouble.Data[0].Code != message.StoredText {
		t.Errorf("a postponed cell is %+v", got)
	}
	f := aForecast(noon)
	var kept forecast.Kept
	w.system(t, func(ctx context.Context, tx *postgres.SystemTx) (err error) {
		kept, err = tx.KeepForecast(ctx, f, noon.Add(time.Hour))
		return err
	})
	want = fetching.CellState{Cell: quayCell, ForecastID: kept.ID, NextFetchAt: noon.Add(time.Hour), LastTriedAt: noon,
		Validator: f.Validator}
	if got := w.cell(t, quayCell); !reflect.DeepEqual(got, want) {
		t.Errorf("a fetched cell is %+v, want %+v", got, want)
	}
	w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error {
		newest, err := tx.Forecast(ctx, quayCell)
		byID, byIDErr := tx.ForecastByID(ctx, kept.ID)
		if !reflect.DeepEqual(newest, kept) || !reflect.DeepEqual(byID.Forecast, f) {
			t.Errorf("the forecast came back as %+v and %+v, want %+v", newest, byID, kept)
		}
		return errors.Join(err, byIDErr)
	})
	w.system(t, func(ctx context.Context, tx *postgres.SystemTx) error {
		refs, err := tx.ProjectsOfCell(ctx, quayCell)
		want := []work.ProjectRef{{Account: w.account, Project: p.ID}, {Account: w.account, Project: q.ID}}
		if !reflect.DeepEqual(refs, want) {
			t.Errorf("the cell's projects are %v, want %v", refs, want)
		}
		return err
	})
}

func TestForecastsThatCannotBeKept(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	infinite := aForecast(noon)
	infinite.Members = []forecast.Member{{Name: "control"}}
	infinite.Members[0].Values[forecast.AirC] = forecast.Series{1, inf()}
	noSource, noHours, wrongSource := aForecast(noon), aForecast(noon), aForecast(noon)
	noSource.Sources, noHours.Hours = nil, nil
	wrongSource.Hours[3].From[forecast.AirC] = 4
	for name, f := range map[string]forecast.Forecast{"an infinite value": infinite, "no source": noSource,
		"no hours": noHours, "a source that is not named": wrongSource} {
		err := w.InSystem(t.Context(), func(ctx context.Context, tx *postgres.SystemTx) error {
			_, err := tx.KeepForecast(ctx, f, noon)
			return err
		})
		wantKind(t, name, err, fault.Invalid)
	}
	if n := query[int](t, w, "select count(*) from forecasts"); n != 0 {
		t.Errorf("%d forecasts were kept", n)
	}
}

func TestAFeedsStateIsOneForAll(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	const many = 8
	together(t, many, func(_ int, meet func()) bool {
		err := w.InSystem(context.Background(), func(ctx context.Context, tx *postgres.SystemTx) error {
			s, err := tx.FeedState(ctx, "nws")
			if err != nil {
				return err
			}
			s.Failures++
			s.Taken = append(s.Taken, fetching.Taken{At: noon.Unix(), Weight: 1.5})
			s.Trouble = "x\x00"
			return tx.SetFeedState(ctx, s)
		})
		if err != nil {
			t.Error(err)
		}
		return true
	})
	w.system(t, func(ctx context.Context, tx *postgres.SystemTx) error {
		s, err := tx.FeedState(ctx, "nws")
		if s.Failures != many || len(s.Taken) != many || s.Feed != "nws" || s.Trouble != "x\uFFFD" ||
			!s.OpenUntil.IsZero() {
			t.Errorf("after %d changes at once the state is %+v", many, s)
		}
		fresh, freshErr := tx.FeedState(ctx, "replay")
		if !reflect.DeepEqual(fresh, fetching.FeedState{Feed: "replay"}) {
			t.Errorf("a new feed's state is %+v", fresh)
		}
		return errors.Join(err, freshErr)
	})
}

func TestPruningKeepsWhatIsStillNeeded(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := w.newProject(t)
	lonely := place.CellOf(-33.4, 151.2)
	var ids []int64
	w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error {
		return tx.WatchCell(ctx, quayCell, p.ID, noon)
	})
	w.system(t, func(ctx context.Context, tx *postgres.SystemTx) error {
		for i := range 3 {
			kept, err := tx.KeepForecast(ctx, aForecast(noon.Add(time.Duration(i)*time.Hour)), noon)
			if err != nil {
				return err
			}
			ids = append(ids, kept.ID)
		}
		f := aForecast(noon)
		f.Cell = lonely
		_, err := tx.KeepForecast(ctx, f, noon)
		return err
	})
	w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error {
		k := aPlan("from the first forecast")
		k.ForecastID = ids[0]
		_, err := tx.AddPlan(ctx, p.ID, k)
		return err
	})
	_, err := w.CreateSession(t.Context(), accounts.NewSession{Account: w.account,
		ExpiresAt: time.Now().Add(-time.Hour)})
	must(t, err)
	prune := func(now time.Time) {
		w.system(t, func(ctx context.Context, tx *postgres.SystemTx) error {
			more, err := tx.Prune(ctx, now, 100)
			if more {
				t.Error("there is said to be more to forget than 100 rows")
			}
			return err
		})
	}
	prune(noon.Add(24 * time.Hour))
	if n := query[int](t, w, "select count(*) from forecasts"); n != 4 {
		t.Errorf("%d forecasts a day later, want all 4", n)
	}
	if n := query[int](t, w, "select count(*) from sessions"); n != 0 {
		t.Error("an ended session stayed")
	}
	prune(noon.Add(60 * 24 * time.Hour))
	got := query[[]int64](t, w, "select array_agg(id order by id) from forecasts")
	if want := []int64{ids[0], ids[2]}; !reflect.DeepEqual(got, want) {
		t.Errorf("two months later the forecasts %v are kept, want the current plan's and the newest, %v", got, want)
	}
	if n := query[int](t, w, "select count(*) from cells"); n != 1 {
		t.Errorf("%d cells, want the one that is planned from", n)
	}
	err = w.InSystem(t.Context(), func(ctx context.Context, tx *postgres.SystemTx) error {
		return tx.FetchFailed(ctx, lonely, noon, noon, fetching.Trouble{Text: "x"})
	})
	wantKind(t, "a cell that was pruned", err, fault.NotFound)
}

// A cell whose last project is gone is fetched no more, and again when one comes.
func TestCellsThatNobodyPlansFromRest(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := w.newProject(t)
	w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error {
		return tx.WatchCell(ctx, quayCell, p.ID, noon)
	})
	due := func() (keys []string) {
		w.system(t, func(ctx context.Context, tx *postgres.SystemTx) error {
			cells, err := tx.DueCells(ctx, noon, noon, 10) // a lease that ends at once
			for _, c := range cells {
				keys = append(keys, c.Cell.Key())
			}
			return err
		})
		return keys
	}
	if got := strings.Join(due(), " "); got != quayCell.Key() {
		t.Errorf("due are %q, want %s", got, quayCell.Key())
	}
	moved := place.CellOf(53.2, 6.55)
	w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error { return tx.WatchCell(ctx, moved, p.ID, noon) })
	if got := strings.Join(due(), " "); got != moved.Key() {
		t.Errorf("after the project moved due are %q, want %s", got, moved.Key())
	}
	w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error { return tx.DeleteProject(ctx, p.ID) })
	if got := due(); len(got) != 0 {
		t.Errorf("after the project went due are %v", got)
	}
}

// An operator may add a partition for each day, and drop old ones.
func TestForecastsPartitionedByDay(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	adminExec(t, w.db,
		`set role dryslot_owner; create table forecasts_day partition of forecasts for
			values from ('2026-04-14') to ('2026-04-15')`)
	var ids []int64
	w.system(t, func(ctx context.Context, tx *postgres.SystemTx) error {
		for _, at := range []time.Time{noon, noon.Add(24 * time.Hour)} {
			kept, err := tx.KeepForecast(ctx, aForecast(at), at)
			if err != nil {
				return err
			}
			ids = append(ids, kept.ID)
		}
		return nil
	})
	if got := query[int64](t, w, "select id from forecasts_day"); got != ids[0] {
		t.Errorf("the day's partition holds forecast %d, want %d", got, ids[0])
	}
	adminExec(t, w.db, `drop table forecasts_day`)
	w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error {
		_, err := tx.ForecastByID(ctx, ids[0])
		wantKind(t, "a forecast whose partition was dropped", err, fault.NotFound)
		newest, err := tx.Forecast(ctx, quayCell)
		if newest.ID != ids[1] {
			t.Errorf("the newest forecast is %d, want %d", newest.ID, ids[1])
		}
		return err
	})
}

// A forecast that is confirmed costs little log, however many plan from it.
func TestAConfirmedForecastCostsLittleLog(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	const projects = 200
	w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error {
		for range projects {
			p, err := tx.CreateProject(ctx, wharf(), noon)
			if err == nil {
				err = tx.WatchCell(ctx, quayCell, p.ID, noon)
			}
			if err != nil {
				return err
			}
		}
		return nil
	})
	f := aForecast(noon)
	w.system(t, func(ctx context.Context, tx *postgres.SystemTx) error {
		_, err := tx.KeepForecast(ctx, f, noon.Add(time.Hour))
		return err
	})
	at := noon.Add(time.Hour)
	var seen asked
	store, err := postgres.OpenTraced(t.Context(), w.db.ServiceURL, &seen)
	must(t, err)
	t.Cleanup(store.Close)
	seen.take()
	must(t, store.InSystem(t.Context(), func(ctx context.Context, tx *postgres.SystemTx) error {
		return tx.ConfirmForecast(ctx, quayCell, at, at.Add(time.Hour), "v2")
	}))
	conn, log := service(t, w), 0
	for _, s := range seen.take()[1:] { // the first sets the account
		rows, err := conn.Query(t.Context(), "explain (analyze, wal) "+s.sql, s.args...)
		must(t, err)
		lines, err := pgx.CollectRows(rows, pgx.RowTo[string])
		must(t, err)
		_, bytes, found := strings.Cut(strings.Join(lines, " "), "bytes=")
		var n int
		if _, err := fmt.Sscan(bytes, &n); err != nil || !found {
			t.Fatalf("%s: %q", s.sql, lines)
		}
		log += n
	}
	if log == 0 || log > 512*projects {
		t.Errorf("%d bytes of log for %d projects", log, projects)
	}
	w.system(t, func(ctx context.Context, tx *postgres.SystemTx) error {
		k, err := tx.Forecast(ctx, quayCell)
		if err == nil && (!k.Forecast.FetchedAt().Equal(at) || k.ID == 0) {
			t.Errorf("fetched at %s", k.Forecast.FetchedAt())
		}
		return err
	})
}
