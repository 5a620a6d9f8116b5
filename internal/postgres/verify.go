package postgres

import (
	"context"
	"encoding/json"
	"errors"
	"math"
	"time"

	"github.com/jackc/pgx/v5"

	"dryslot/internal/fault"
	"dryslot/internal/fetching"
	"dryslot/internal/forecast"
	"dryslot/internal/place"
	"dryslot/internal/projects"
)

// KeepStated implements fetching.SystemVerify.
func (t *SystemTx) KeepStated(ctx context.Context, forecastID int64, cell place.Cell, s forecast.Stated,
	cal *forecast.Recalibration) error {
	var doc any // null: no correction was used
	if cal != nil {
		var err error
		if doc, err = jsonb(cal); err != nil {
			return fault.Wrap(fault.Invalid, "the correction can't be stored", err)
		}
	}
	_, err := t.tx.Exec(ctx, `insert into stated_chances
		(forecast, cell, stated_of, wet_over_mm, wet_hours, members, stated_at, first_hour, chances, heavy, amounts,
		recalibration) values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12) on conflict (forecast) do nothing`,
		forecastID, cell.Key(), clean(s.Of), s.Wet.OverMM, int(s.Wet.Period/time.Hour), s.Members, s.At, s.Start,
		s.Chances, s.Heavy, s.Amounts, doc)
	return wrap("keeping the chances of a forecast", err)
}

// Stated implements fetching.SystemVerify.
func (t *SystemTx) Stated(ctx context.Context, cell place.Cell, of string, since time.Time) ([]forecast.Stated, error) {
	rows, err := t.tx.Query(ctx, `select stated_of, wet_over_mm, wet_hours, members, stated_at, first_hour, chances,
		heavy, amounts
		from stated_chances where cell = $1 and stated_at >= $3 and stated_of = $2 order by stated_at, forecast`,
		cell.Key(), clean(of), since)
	if err != nil {
		return nil, wrap("reading the chances of forecasts", err)
	}
	out, err := pgx.CollectRows(rows, func(r pgx.CollectableRow) (forecast.Stated, error) {
		var s forecast.Stated
		var hours int
		err := r.Scan(&s.Of, &s.Wet.OverMM, &hours, &s.Members, &s.At, &s.Start, &s.Chances, &s.Heavy,
			&s.Amounts)
		s.Wet.Period, s.At, s.Start = time.Duration(hours)*time.Hour, s.At.UTC(), s.Start.UTC()
		return s, err
	})
	return out, wrap("reading the chances of forecasts", err)
}

// SeenRain implements fetching.SystemVerify. Of an even number of accounts the
// lesser of the two in the middle counts.
func (t *SystemTx) SeenRain(ctx context.Context, cell place.Cell, since time.Time, r *forecast.Rain) error {
	rows, err := t.tx.Query(ctx, `select hour, percentile_disc(0.5) within group (order by mm) from (
			select hour, max(mm) as mm from seen_rain where cell = $1 and hour >= $2 group by hour, observer
			union all select hour, mm from logged_rain where cell = $1 and hour >= $2) as voices
		group by hour order by hour`, cell.Key(), since)
	if err != nil {
		return wrap("reading seen rain", err)
	}
	var hour time.Time
	var mm float64
	_, err = pgx.ForEachRow(rows, []any{&hour, &mm}, func() error {
		r.Logged(hour.UTC(), mm)
		return nil
	})
	return wrap("reading seen rain", err)
}

// LockVerification implements fetching.SystemVerify.
func (t *SystemTx) LockVerification(ctx context.Context, cell place.Cell, of string) (fetching.Verification, error) {
	v := fetching.Verification{Of: of}
	var until, from *time.Time
	var rain []*float64
	var doc []byte
	err := t.lock(ctx, cell.Key(), of, `until, rain_from, rain, counts`, &until, &from, &rain, &doc)
	if err != nil {
		return v, err
	}
	v.Until, v.Rain.Start = instant(until), instant(from)
	for _, mm := range rain {
		x := math.NaN()
		if mm != nil {
			x = *mm
		}
		v.Rain.MM = append(v.Rain.MM, x)
	}
	return v, readCounts(doc, cell.Key(), &v.Counts)
}

// lock reads columns of a scope's row, locked for this transaction, and made
// first if it is not there.
func (t *SystemTx) lock(ctx context.Context, scope, of, columns string, into ...any) error {
	read := func() error {
		return t.tx.QueryRow(ctx, `select `+columns+` from verifications where scope = $1 and stated_of = $2
			for update`,
			scope, clean(of)).Scan(into...)
	}
	err := read()
	if errors.Is(err, pgx.ErrNoRows) {
		empty, e := jsonb(forecast.Counts{})
		if e != nil {
			return wrap("reading how forecasts proved", e)
		}
		if _, err = t.tx.Exec(ctx,
			`insert into verifications (scope, stated_of, counts) values ($1, $2, $3) on conflict do nothing`, scope,
			clean(of),
			empty); err == nil {
			err = read()
		}
	}
	return wrap("reading how forecasts proved", err)
}

func readCounts(doc []byte, scope string, into *forecast.Counts) error {
	if err := json.Unmarshal(doc, into); err != nil {
		return fault.Wrap(fault.Invalid, "what was counted of forecasts of "+scope+" can't be read", err)
	}
	return nil
}

// counts returns the counts of a scope, empty where there are none.
func (w weather) counts(ctx context.Context, scope, of string) (counts forecast.Counts, err error) {
	var doc []byte
	err = w.tx.QueryRow(ctx, `select counts from verifications where scope = $1 and stated_of = $2`, scope,
		clean(of)).Scan(&doc)
	if errors.Is(err, pgx.ErrNoRows) {
		return counts, nil
	}
	if err != nil {
		return counts, wrap("reading how forecasts proved", err)
	}
	return counts, readCounts(doc, scope, &counts)
}

// KeepVerification implements fetching.SystemVerify.
func (t *SystemTx) KeepVerification(ctx context.Context, cell place.Cell, v fetching.Verification) error {
	rain := make([]*float64, len(v.Rain.MM))
	for i, mm := range v.Rain.MM {
		if !math.IsNaN(mm) {
			rain[i] = &v.Rain.MM[i]
		}
	}
	doc, err := jsonb(v.Counts)
	if err != nil {
		return fault.Wrap(fault.Invalid, "the counts can't be stored", err)
	}
	_, err = t.tx.Exec(ctx,
		`update verifications set until = $3, rain_from = $4, rain = $5, counts = $6 where scope = $1
			and stated_of = $2`,
		cell.Key(), clean(v.Of), maybe(v.Until), maybe(v.Rain.Start), rain, doc)
	return wrap("keeping how forecasts proved", err)
}

// CountEverywhere implements fetching.SystemVerify.
func (t *SystemTx) CountEverywhere(ctx context.Context, of string, add *forecast.Counts) (forecast.Counts, error) {
	if add.Pairs() == 0 {
		return t.counts(ctx, fetching.Everywhere, of)
	}
	var counts forecast.Counts
	var doc []byte
	if err := t.lock(ctx, fetching.Everywhere, of, `counts`, &doc); err != nil {
		return counts, err
	}
	if err := readCounts(doc, fetching.Everywhere, &counts); err != nil {
		return counts, err
	}
	counts.Merge(add)
	merged, err := jsonb(counts)
	if err != nil {
		return counts, fault.Wrap(fault.Invalid, "the counts can't be stored", err)
	}
	_, err = t.tx.Exec(ctx, `update verifications set counts = $3 where scope = $1 and stated_of = $2`,
		fetching.Everywhere, clean(of), merged)
	return counts, wrap("keeping how forecasts proved", err)
}

// KeepSeenRain implements projects.Tx.
func (t *AccountTx) KeepSeenRain(ctx context.Context, project string, cell place.Cell, since time.Time,
	seen []projects.SeenRain) error {
	hours, mm := make([]time.Time, len(seen)), make([]float64, len(seen))
	for i, r := range seen {
		hours[i], mm[i] = r.Hour, r.MM
	}
	if _, err := t.tx.Exec(ctx, `delete from seen_rain where project = $1 and hour >= $2`, digest(project),
		since); err != nil {
		return wrap("forgetting seen rain", err)
	}
	_, err := t.tx.Exec(ctx, `insert into seen_rain (cell, hour, project, observer, mm)
		select $1, hour, $2, $3, mm from unnest($4::timestamptz[], $5::float8[]) as r (hour, mm)
		on conflict do nothing`, cell.Key(), digest(project), digest(t.account), hours, mm)
	return wrap("keeping seen rain", err)
}

// Counted implements fetching.Tx.
func (t *AccountTx) Counted(ctx context.Context, cell place.Cell,
	of string) (here, everywhere forecast.Counts, err error) {
	if here, err = t.counts(ctx, cell.Key(), of); err != nil {
		return here, everywhere, err
	}
	everywhere, err = t.counts(ctx, fetching.Everywhere, of)
	return here, everywhere, err
}
