package forecast_test

import (
	"testing"
	"time"

	"dryslot/internal/forecast"
	"dryslot/internal/place"
	"dryslot/internal/unit"
)

// fromNow is a forecast of a feed that begins with the hour at hand.
func fromNow(feed string, at time.Time, hours int, mm float64) *forecast.Forecast {
	f := &forecast.Forecast{Cell: place.CellOf(47, 8), Wet: forecast.WetEvent{OverMM: 0.1, Period: time.Hour},
		Sources: []forecast.Source{{Feed: feed, FetchedAt: at, Attribution: feed}}, Hours: make([]forecast.Hour, hours)}
	for i := range f.Hours {
		h := &f.Hours[i]
		h.Start = at.Truncate(time.Hour).Add(time.Duration(i) * time.Hour)
		h.Values[forecast.AirC], h.Values[forecast.RainMM] = unit.Some(float64(h.Start.Hour())), unit.Some(mm)
		h.Values[forecast.RainChance] = unit.Some(0.5)
	}
	return f
}

func TestTheNightIsRemembered(t *testing.T) {
	evening := weekZero.Add(20*time.Hour + 10*time.Minute)
	var held *forecast.Forecast
	for at := evening; at.Before(evening.Add(100 * time.Hour)); at = at.Add(time.Hour) { // fetched hour by hour
		f := fromNow("a", at, 48, 2)
		if held != nil {
			f.Remember(held, at.Add(-forecast.PastHours))
		}
		held = f
	}
	now := evening.Add(99 * time.Hour)
	if n := len(held.Hours); n != 48+71 { // those that began within 72 h
		t.Errorf("%d hours", n)
	}
	for i, h := range held.Hours {
		if i > 0 && !h.Start.Equal(held.Hours[i-1].Start.Add(time.Hour)) {
			t.Fatal("the hours are not consecutive")
		}
		past := h.Start.Before(now.Truncate(time.Hour))
		if v := h.Get(forecast.AirC); !v.Known || v.V != float64(h.Start.Hour()) ||
			held.Sources[h.From[forecast.AirC]].Past != past {
			t.Fatalf("%s: %+v from %+v", h.Start, v, held.Sources[h.From[forecast.AirC]])
		}
	}
	if len(held.Sources) != 2 || held.Sources[0].Past || !held.FetchedAt().Equal(now) ||
		held.Sources[1].Attribution != "a" {
		t.Errorf("sources %+v", held.Sources)
	}
	if _, err := forecast.Draw(held, forecast.DrawOptions{}); err != nil {
		t.Error(err)
	}
	var rain forecast.Rain
	rain.Note(held, now)
	if wet, known := rain.Wet(held.Wet, now.Add(-3*time.Hour)); wet || known {
		t.Error("a forecast of an hour is taken for an account of it")
	}
}

func TestWhatIsRememberedOfAnotherForecast(t *testing.T) {
	at := weekZero.Add(30 * time.Hour)
	old := fromNow("a", at.Add(-10*time.Hour), 7, 1) // ends three hours before the new one begins
	old.Wet.OverMM = 0.254
	f := fromNow("b", at, 24, 0)
	series := make(forecast.Series, 24)
	f.Members = make([]forecast.Member, 2)
	for i := range f.Members {
		f.Members[i].Values[forecast.RainMM] = series
	}
	f.Remember(old, at.Add(-forecast.PastHours))
	if len(f.Hours) != 34 {
		t.Fatalf("%d hours", len(f.Hours))
	}
	for i := range f.Hours {
		h := &f.Hours[i]
		if air, want := h.Get(forecast.AirC).Known, i < 7 || i >= 10; air != want {
			t.Errorf("hour %d: air known %v", i, air)
		}
		if h.Get(forecast.RainChance).Known != (i >= 10) {
			t.Errorf("hour %d: the chance of another event is believed, or its own is not", i)
		}
		if rain := f.Members[1].Values[forecast.RainMM][i]; (rain == 0) != (i >= 10) {
			t.Errorf("hour %d: a member has %v mm", i, rain)
		}
	}
	if _, err := forecast.Draw(f, forecast.DrawOptions{}); err != nil {
		t.Error(err)
	}
	for name, g := range map[string]*forecast.Forecast{"of nothing before": fromNow("b", at, 24, 0),
		"of long ago": fromNow("b", at.Add(400*time.Hour), 24, 0)} {
		g.Remember(fromNow("a", at, 24, 1), at.Add(300*time.Hour))
		if len(g.Hours) != 24 || len(g.Sources) != 1 {
			t.Errorf("%s: %d hours, %d sources", name, len(g.Hours), len(g.Sources))
		}
	}
	g := fromNow("b", at, 24, 0)
	g.Cell = place.CellOf(10, 10)
	if g.Remember(old, at.Add(-forecast.PastHours)); len(g.Hours) != 24 {
		t.Error("another cell's hours are remembered")
	}
}

// A document confirmed as the newest still says what it said when it was
// issued: its hours that have gone by are no account of them.
func TestAnIssuedForecastIsNoAccountOfItsHours(t *testing.T) {
	now := weekZero.Add(30 * time.Hour)
	f := fromNow("a", now.Add(-4*time.Hour), 24, 3)
	issued := now.Add(-5 * time.Hour)
	f.Sources[0].IssuedAt, f.Sources[0].FetchedAt = &issued, now
	var rain forecast.Rain
	rain.Note(f, now)
	if _, known := rain.Wet(f.Wet, now.Add(-2*time.Hour)); known {
		t.Error("a forecast proves itself right")
	}
}
