// Package skytest owns a feed of invented mild weather for tests, dry unless a
// test says otherwise, that fails, ends early or answers for another place on demand.
package skytest

import (
	"context"
	"math"
	"sync"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/forecast"
	"dryslot/internal/place"
	"dryslot/internal/unit"
)

// Sky is the feed. Its fields may be set before it is asked; later through Set
// and Nowcast. It is safe for use by several goroutines.
type Sky struct {
	Named  string
	Rain   func(t time.Time) float64 // mm in the hour of t, certain where more than 0; nil: dry
	Chance float64                   // of rain in an hour without any
	Air    func(t time.Time) float64 // C; nil: 10 to 20 C
	Gust   func(t time.Time) float64 // m/s; nil: not given
	Bolts  func(t time.Time) float64 // chance of thunder; nil: 0
	Wind   float64                   // m/s; 0: 2
	Damp   float64                   // per cent; 0: 65
	Gaps   bool                      // wind is unknown
	NoPast bool                      // it begins with the hour at hand
	Since  time.Time                 // its document is of then; zero: of the hour at hand
	Late   time.Duration             // its hours lie so far from now
	Place  *place.Cell               // that it says it is of
	Days   int                       // it looks so many days ahead; 0: twelve
	Limit  forecast.Limits
	Short  func(now time.Time) (forecast.ShortRange, error) // nil: it has no short-range product

	mu    sync.Mutex
	fail  error
	calls int
}

// Name returns the feed's name.
func (s *Sky) Name() string { return s.Named }

// Limits returns the limits that the test has set.
func (s *Sky) Limits() forecast.Limits {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.Limit
}

// Set changes rain and failure from now on.
func (s *Sky) Set(rain func(time.Time) float64, fail error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.Rain, s.fail = rain, fail
}

// Nowcast sets the short-range product from now on.
func (s *Sky) Nowcast(short func(time.Time) (forecast.ShortRange, error)) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.Short = short
}

// Called is how often the forecast was asked for.
func (s *Sky) Called() int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.calls
}

// Fetch answers with the weather as it is set: two days behind, Days ahead.
func (s *Sky) Fetch(_ context.Context, cell place.Cell, _ string, now time.Time) (forecast.Forecast, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.calls++
	if s.fail != nil {
		return forecast.Forecast{}, s.fail
	}
	first := now.UTC().Truncate(time.Hour)
	if !s.Since.IsZero() {
		first = s.Since.UTC().Truncate(time.Hour)
	}
	if !s.NoPast {
		first = first.Add(-48 * time.Hour)
	}
	first = first.Add(s.Late)
	hours := (2 + or(s.Days, 12)) * 24
	d, err := forecast.NewDraft(cell, forecast.Source{Feed: s.Named, FetchedAt: now, Attribution: "Invented by a test"},
		forecast.WetEvent{OverMM: 0.1, Period: time.Hour}, first, hours)
	if err != nil {
		return forecast.Forecast{}, err
	}
	for i := range hours {
		s.hour(d, i, first.Add(time.Duration(i)*time.Hour))
	}
	f, err := d.Done()
	f.Place = s.Place
	return f, err
}

func (s *Sky) hour(d *forecast.Draft, i int, t time.Time) {
	set := func(v forecast.Variable, x float64) { d.Put(i, v, x, forecast.Names[v], i) }
	mm, chance := 0.0, s.Chance
	if s.Rain != nil {
		if mm = s.Rain(t); mm > 0 {
			chance = 1
		}
	}
	air := 15 + 5*math.Sin(float64(t.Hour()-9)/24*2*math.Pi)
	if s.Air != nil {
		air = s.Air(t)
	}
	set(forecast.AirC, air)
	set(forecast.HumidityPct, or(s.Damp, 65))
	if !s.Gaps {
		set(forecast.WindMS, or(s.Wind, 2))
	}
	if s.Gust != nil {
		set(forecast.GustMS, s.Gust(t))
	}
	set(forecast.CloudPct, 40)
	set(forecast.RainMM, mm)
	set(forecast.RainChance, chance)
	bolts := 0.0
	if s.Bolts != nil {
		bolts = s.Bolts(t)
	}
	set(forecast.ThunderChance, bolts)
}

func or[T int | float64](v, otherwise T) T {
	if v != 0 {
		return v
	}
	return otherwise
}

// FetchShort answers as the test wants, and leaves it to the service to judge.
func (s *Sky) FetchShort(_ context.Context, cell place.Cell, now time.Time) (forecast.ShortRange, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.Short == nil {
		return forecast.ShortRange{}, fault.New(fault.Invalid, s.Named+": no short-range product here")
	}
	out, err := s.Short(now)
	out.Cell = cell
	return out, err
}

// Quarters is a short-range product of n quarter hours from a time on, with a
// rate of rain in each, in mm/h.
func Quarters(feed string, fetched, from time.Time, n int, rate func(time.Time) float64) forecast.ShortRange {
	out := forecast.ShortRange{Source: forecast.Source{Feed: feed, FetchedAt: fetched}, ChanceOver: time.Hour}
	for i := range n {
		t := from.Add(time.Duration(i) * 15 * time.Minute)
		out.Steps = append(out.Steps, forecast.ShortStep{Start: t, Length: 15 * time.Minute,
			RainMMH: unit.Some(rate(t))})
	}
	return out
}
