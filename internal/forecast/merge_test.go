package forecast_test

import (
	"errors"
	"math"
	"math/rand"
	"testing"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/forecast"
	"dryslot/internal/place"
	"dryslot/internal/unit"
)

var (
	noon  = time.Date(2026, 4, 9, 12, 0, 0, 0, time.UTC)
	wet   = forecast.WetEvent{OverMM: 0.1, Period: time.Hour}
	where = place.CellOf(52, 0)
)

// made is a forecast of a feed, with every value known that the function gives.
func made(
	t *testing.T,
	feed string,
	first time.Time,
	hours int,
	event forecast.WetEvent,
	value func(hour int, v forecast.Variable) float64,
) forecast.Forecast {
	t.Helper()
	d, err := forecast.NewDraft(where, forecast.Source{Feed: feed, FetchedAt: first}, event, first, hours)
	if err != nil {
		t.Fatal(err)
	}
	for i := range hours {
		for v := range forecast.NumVariables {
			d.Put(i, v, value(i, v), "x", i)
		}
	}
	fc, err := d.Done()
	if err != nil {
		t.Fatal(err)
	}
	return fc
}

// Any forecasts merge so that each value is that of the first feed that has
// it, with its source, but for what must stay together.
func TestMergeTakesTheFirstThatKnows(t *testing.T) {
	r := rand.New(rand.NewSource(1))
	names := []string{"a", "b", "c"}
	for range 200 {
		var fs []forecast.Forecast
		for _, name := range names[:1+r.Intn(3)] {
			first := noon.Add(time.Duration(r.Intn(20)-10) * time.Hour)
			fs = append(fs, made(t, name, first, 1+r.Intn(30), wet, func(int, forecast.Variable) float64 {
				if r.Intn(3) == 0 {
					return math.NaN()
				}
				return r.Float64()
			}))
		}
		got, err := forecast.Merge(fs...)
		if err != nil {
			t.Fatal(err)
		}
		for i := range got.Hours {
			if i > 0 && got.Hours[i].Start.Sub(got.Hours[i-1].Start) != time.Hour {
				t.Fatal("the hours are not consecutive")
			}
			for v := range forecast.NumVariables {
				checkFirstThatKnows(t, fs, &got, i, v)
			}
		}
		for k := range fs {
			for i := range fs[k].Hours {
				if hourAt(&got, fs[k].Hours[i].Start) == nil {
					t.Fatalf("the hour %v is lost", fs[k].Hours[i].Start)
				}
			}
		}
	}
}

// hourAt is the hour of a forecast that begins at an instant; nil: it has none.
func hourAt(f *forecast.Forecast, start time.Time) *forecast.Hour {
	for i := range f.Hours {
		if f.Hours[i].Start.Equal(start) {
			return &f.Hours[i]
		}
	}
	return nil
}

// checkFirstThatKnows checks one value of a merged hour, and its source. Snow is
// of the feed that the rain is of, where rain is known.
func checkFirstThatKnows(t *testing.T, fs []forecast.Forecast, got *forecast.Forecast, hour int, v forecast.Variable) {
	t.Helper()
	h := &got.Hours[hour]
	var want unit.Opt
	from := ""
	for k := range fs {
		feed := fs[k].Sources[0].Feed
		src := hourAt(&fs[k], h.Start)
		if src == nil || !src.Get(v).Known {
			continue
		}
		if v == forecast.SnowMM && h.Get(forecast.RainMM).Known && got.Sources[h.From[forecast.RainMM]].Feed != feed {
			continue
		}
		want, from = src.Get(v), feed
		break
	}
	if h.Get(v) != want || (want.Known && got.Sources[h.From[v]].Feed != from) {
		t.Fatalf("%v at %v is %+v, want %+v of %s", v, h.Start, h.Get(v), want, from)
	}
}

// A chance is the chance of one event: feeds with another one give none.
func TestMergeKeepsOneWetEvent(t *testing.T) {
	nan := math.NaN()
	only := func(v forecast.Variable, x float64) func(int, forecast.Variable) float64 {
		return func(_ int, got forecast.Variable) float64 {
			if got == v || got == forecast.AirC {
				return x
			}
			return nan
		}
	}
	half := forecast.WetEvent{OverMM: 0.25, Period: 12 * time.Hour}
	a := made(t, "a", noon, 2, wet, only(forecast.AirC, 1))
	b := made(t, "b", noon, 2, half, only(forecast.RainChance, 0.5))
	c := made(t, "c", noon, 4, wet, only(forecast.RainChance, 0.25))
	b.Hours[1].ChanceHours = 24
	got, err := forecast.Merge(a, b, c)
	if err != nil {
		t.Fatal(err)
	}
	if got.Wet != half {
		t.Errorf("the wet event is %+v, want that of the first feed with chances, %+v", got.Wet, half)
	}
	if got.Hours[0].Get(forecast.RainChance).V != 0.5 || got.Hours[1].ChanceHours != 24 ||
		got.Hours[2].Get(forecast.RainChance).Known {
		t.Errorf(
			"chances are %+v, %+v over %d h, %+v",
			got.Hours[0].Get(forecast.RainChance),
			got.Hours[1].Get(forecast.RainChance),
			got.Hours[1].ChanceHours,
			got.Hours[2].Get(forecast.RainChance),
		)
	}
}

// What one feed gives goes before what was computed from another's values.
func TestMergePrefersGivenToComputed(t *testing.T) {
	nan := math.NaN()
	d, err := forecast.NewDraft(where, forecast.Source{Feed: "a", FetchedAt: noon}, wet, noon, 2)
	if err != nil {
		t.Fatal(err)
	}
	d.Put(0, forecast.AirC, 3, "x", 0)
	d.PutComputed(1, forecast.AirC, 4, "x", 1)
	d.PutComputed(1, forecast.CloudPct, 40, "x", 1)
	a, err := d.Done()
	if err != nil {
		t.Fatal(err)
	}
	b := made(t, "b", noon, 2, wet, func(_ int, v forecast.Variable) float64 {
		if v == forecast.AirC {
			return 9
		}
		return nan
	})
	b.NextFetch = noon.Add(time.Hour)
	b.Members = []forecast.Member{{Name: "control"}, {Name: "member01"}}
	b.Members[1].Values[forecast.RainMM] = forecast.Series{1, 2}
	got, err := forecast.Merge(a, b)
	if err != nil {
		t.Fatal(err)
	}
	source := func(hour int, v forecast.Variable) string { return got.Sources[got.Hours[hour].From[v]].Feed }
	if source(0, forecast.AirC) != "a" || source(1, forecast.AirC) != "b" ||
		source(1, forecast.CloudPct) != forecast.Computed {
		t.Errorf("sources are %s, %s, %s", source(0, forecast.AirC), source(1, forecast.AirC),
			source(1, forecast.CloudPct))
	}
	if got.Sources[0].Feed != "a" || len(got.Sources) != 3 || !got.NextFetch.Equal(b.NextFetch) ||
		len(got.Members) != 2 {
		t.Errorf("sources %+v, next fetch %v, %d members", got.Sources, got.NextFetch, len(got.Members))
	}
}

func TestMergeRefuses(t *testing.T) {
	a := made(t, "a", noon, 1, wet, func(int, forecast.Variable) float64 { return 0 })
	b := a
	b.Cell = place.CellOf(1, 1)
	for name, fs := range map[string][]forecast.Forecast{"none": nil, "two cells": {a, b},
		"no hours": {a, {Cell: a.Cell}}} {
		if _, err := forecast.Merge(fs...); !errors.Is(err, fault.Invalid) {
			t.Errorf("%s: error is %v", name, err)
		}
	}
}

func TestTrustFallsWithAge(t *testing.T) {
	issued := noon.Add(-2 * time.Hour)
	for _, c := range []struct {
		at    time.Duration
		iss   bool
		trust forecast.Trust
		age   time.Duration
	}{
		{-time.Hour, false, forecast.Fresh, 0},
		{6 * time.Hour, false, forecast.Fresh, 6 * time.Hour},
		{6*time.Hour + 1, false, forecast.Aged, 6*time.Hour + 1},
		{4*time.Hour + 1, true, forecast.Aged, 6*time.Hour + 1},
		{24 * time.Hour, false, forecast.Aged, 24 * time.Hour},
		{24*time.Hour + 1, false, forecast.Old, 24*time.Hour + 1},
	} {
		f := forecast.Forecast{
			Sources: []forecast.Source{{Feed: "a", FetchedAt: noon}, {Feed: "b", FetchedAt: noon.AddDate(1, 0, 0)}},
		}
		if c.iss {
			f.Sources[0].IssuedAt = &issued
		}
		if trust, age := f.TrustAt(noon.Add(c.at)); trust != c.trust || age != c.age {
			t.Errorf("after %v (issued: %v): trust %d, age %v; want %d, %v", c.at, c.iss, trust, age, c.trust, c.age)
		}
	}
	if trust, _ := (&forecast.Forecast{}).TrustAt(noon); trust != forecast.Old {
		t.Errorf("no source: trust %d, want %d", trust, forecast.Old)
	}
}
