package postgres_test

import (
	"context"
	"math"
	"reflect"
	"slices"
	"testing"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/fetching"
	"dryslot/internal/forecast"
	"dryslot/internal/postgres"
	"dryslot/internal/projects"
)

const quayOf = "open-meteo: stated chance of more than 0.1 mm in 1 h"

func statedAt(at time.Time) forecast.Stated {
	return forecast.Stated{Of: quayOf, Wet: forecast.DefaultWet, At: at, Start: at.Truncate(time.Hour).Add(time.Hour),
		Chances: []byte{0, 90, forecast.Unstated, 200}}
}

// What is kept for verifying reads back as it was, the unknown included.
func TestWhatWasCountedReadsBack(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	v := fetching.Verification{Of: quayOf, Until: noon, Rain: forecast.Rain{Start: noon.Add(-2 * time.Hour),
		MM: []float64{0, math.NaN(), 1.25}}}
	v.Counts.Add(2, noon, 90, true)
	v.Counts.Add(5, noon.Add(8*24*time.Hour), 0, false)
	w.system(t, func(ctx context.Context, tx *postgres.SystemTx) error {
		first, err := tx.LockVerification(ctx, quayCell, quayOf)
		if err != nil {
			return err
		}
		if !reflect.DeepEqual(first, fetching.Verification{Of: quayOf}) {
			t.Errorf("nothing was counted, and yet %+v", first)
		}
		return tx.KeepVerification(ctx, quayCell, v)
	})
	w.system(t, func(ctx context.Context, tx *postgres.SystemTx) error {
		got, err := tx.LockVerification(ctx, quayCell, quayOf)
		if err != nil {
			return err
		}
		if got.Counts != v.Counts || !got.Until.Equal(v.Until) || !got.Rain.Start.Equal(v.Rain.Start) ||
			len(got.Rain.MM) != 3 ||
			got.Rain.MM[0] != 0 || !math.IsNaN(got.Rain.MM[1]) || got.Rain.MM[2] != 1.25 {
			t.Errorf("%+v reads back as %+v", v, got)
		}
		for range 2 {
			if _, err := tx.CountEverywhere(ctx, quayOf, &v.Counts); err != nil {
				return err
			}
		}
		all, err := tx.CountEverywhere(ctx, quayOf, &forecast.Counts{})
		if all.Pairs() != 2*v.Counts.Pairs() {
			t.Errorf("%d pairs everywhere, want twice %d", all.Pairs(), v.Counts.Pairs())
		}
		return err
	})
}

// A forecast comes with the correction that was learned by then, and what it
// stated is kept once.
func TestStatedChancesAreKeptWithTheirCorrection(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	cal := &forecast.Recalibration{Bands: []forecast.Band{{UpTo: 6 * time.Hour, On: true, Shift: -0.7, Slope: 0.9}},
		Heavy: 1.5, Amounts: forecast.AmountFit{Shift: 0.1, Slope: 0.8, Spread: 0.9}}
	s := statedAt(noon)
	s.Heavy, s.Amounts = []byte{20, forecast.Unstated}, []byte{60, forecast.Unstated}
	w.system(t, func(ctx context.Context, tx *postgres.SystemTx) error {
		kept, err := tx.KeepForecast(ctx, aForecast(noon), noon)
		if err != nil {
			return err
		}
		for range 2 {
			if err := tx.KeepStated(ctx, kept.ID, quayCell, s, cal); err != nil {
				return err
			}
		}
		again, err := tx.Forecast(ctx, quayCell)
		if err != nil {
			return err
		}
		if !reflect.DeepEqual(again.Recalibration, cal) {
			t.Errorf("corrected by %+v, want %+v", again.Recalibration, cal)
		}
		got, err := tx.Stated(ctx, quayCell, quayOf, noon)
		if !reflect.DeepEqual(got, []forecast.Stated{s}) {
			t.Errorf("stated %+v, want %+v", got, s)
		}
		if later, _ := tx.Stated(ctx, quayCell, quayOf, noon.Add(time.Second)); len(later) != 0 {
			t.Errorf("%d were stated later", len(later))
		}
		if other, _ := tx.Stated(ctx, quayCell, "another feed's", noon); len(other) != 0 {
			t.Errorf("%d of another feed", len(other))
		}
		return err
	})
}

// Each account counts once, with the most rain that its projects saw. The median
// counts, and what the version before kept is one more account.
func TestSeenRainIsTheMedianOfTheAccounts(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	seen := func(mm ...float64) (out []projects.SeenRain) {
		for i, x := range mm {
			out = append(out, projects.SeenRain{Hour: noon.Add(time.Duration(i) * time.Hour), MM: x})
		}
		return out
	}
	keep := func(account, project string, r []projects.SeenRain) {
		must(t, w.InAccount(t.Context(), account, func(ctx context.Context, tx *postgres.AccountTx) error {
			return tx.KeepSeenRain(ctx, project, quayCell, noon, r)
		}))
	}
	want := func(mm ...float64) {
		t.Helper()
		w.system(t, func(ctx context.Context, tx *postgres.SystemTx) error {
			var r forecast.Rain
			err := tx.SeenRain(ctx, quayCell, noon, &r)
			if len(mm) > 0 && !r.Start.Equal(noon) || !slices.Equal(r.MM, mm) {
				t.Errorf("seen from %v: %v, want %v", r.Start, r.MM, mm)
			}
			return err
		})
	}
	b, c := w.newAccount(t, "b"), w.newAccount(t, "c")
	keep(w.account, "p1", seen(1, 3))
	want(1, 3)
	keep(w.account, "p2", seen(2)) // no second voice
	want(2, 3)
	keep(b, "p3", seen(80, 80))
	want(2, 3)
	keep(c, "p4", seen(4, 4))
	want(4, 4)
	keep(b, "p3", nil) // undone
	keep(c, "p4", nil)
	want(2, 3)
	fill(t, w, `insert into logged_rain (cell, hour, mm) values ($1, $2, 0.5)`, quayCell.Key(), noon)
	want(0.5, 3)
	keep(w.account, "p1", nil)
	keep(w.account, "p2", nil)
	want(0.5)
}

// Counts of another version are told from a database that fails, so that no
// forecast is lost for them.
func TestCountsOfAnotherVersionAreInvalid(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.system(t, func(ctx context.Context, tx *postgres.SystemTx) error {
		_, err := tx.LockVerification(ctx, quayCell, quayOf)
		return err
	})
	query[string](t, w, `update verifications set counts = '{"steps": 100, "bins": 3, "rows": []}' returning scope`)
	err := w.InSystem(t.Context(), func(ctx context.Context, tx *postgres.SystemTx) error {
		_, err := tx.LockVerification(ctx, quayCell, quayOf)
		return err
	})
	wantKind(t, "counts in other steps", err, fault.Invalid)
}
