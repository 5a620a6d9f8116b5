package forecast

import (
	"math"
	"slices"
	"testing"
	"time"

	"dryslot/internal/place"
	"dryslot/internal/unit"
)

func twoDays() Forecast {
	at := time.Date(2026, 4, 14, 0, 0, 0, 0, time.UTC)
	f := Forecast{Cell: place.CellOf(50, 5), Wet: WetEvent{OverMM: 0.1, Period: time.Hour},
		Sources: []Source{{Feed: "a", FetchedAt: at, Attribution: "A"}, {Feed: "b", FetchedAt: at, Attribution: "B"}},
		Hours:   make([]Hour, 48)}
	for i := range f.Hours {
		f.Hours[i].Start = at.Add(time.Duration(i) * time.Hour)
		f.Hours[i].Values[AirC] = unit.Some(float64(i))
		f.Hours[i].Values[RainMM] = unit.Some(0.1)
	}
	m := Member{Name: "member01"}
	m.Values[RainMM] = slices.Repeat(Series{0.5}, 48)
	m.Values[RainMM][7] = math.NaN()
	f.Members = []Member{m}
	return f
}

// What a plan reads tells two forecasts apart; when they were fetched, and how
// far the earlier one reaches back, do not.
func TestTheSameWeather(t *testing.T) {
	t.Parallel()
	for what, c := range map[string]struct {
		change func(*Forecast)
		same   bool
	}{
		"nothing": {func(*Forecast) {}, true},
		"when it was fetched": {func(f *Forecast) {
			f.Sources[0].FetchedAt = f.Sources[0].FetchedAt.Add(time.Hour)
			f.Validator = "x"
		}, true},
		"where it begins": {func(f *Forecast) {
			f.Hours = f.Hours[24:]
			f.Members[0].Values[RainMM] = f.Members[0].Values[RainMM][24:]
		}, true},
		"an unused source":    {func(f *Forecast) { f.Sources[1].Feed = "c" }, true},
		"a value":             {func(f *Forecast) { f.Hours[40].Values[AirC] = unit.Some(3) }, false},
		"a value unknown":     {func(f *Forecast) { f.Hours[40].Values[AirC].Known = false }, false},
		"a value's source":    {func(f *Forecast) { f.Hours[40].From[AirC] = 1 }, false},
		"a member's value":    {func(f *Forecast) { f.Members[0].Values[RainMM][47] = 0 }, false},
		"a member's unknown":  {func(f *Forecast) { f.Members[0].Values[RainMM][8] = math.NaN() }, false},
		"a member's variable": {func(f *Forecast) { f.Members[0].Values[RainMM] = nil }, false},
		"a member less":       {func(f *Forecast) { f.Members = nil }, false},
		"where it ends": {func(f *Forecast) {
			f.Hours = f.Hours[:47]
			f.Members[0].Values[RainMM] = f.Members[0].Values[RainMM][:47]
		}, false},
		"an hour more": {func(f *Forecast) {
			f.Hours = append(f.Hours, Hour{Start: f.Hours[47].Start.Add(time.Hour)})
		}, false},
		"the event":            {func(f *Forecast) { f.Wet.OverMM = 1 }, false},
		"the cell":             {func(f *Forecast) { f.Cell = place.CellOf(51, 5) }, false},
		"when it was issued":   {func(f *Forecast) { at := f.Hours[0].Start; f.Sources[0].IssuedAt = &at }, false},
		"whom to credit":       {func(f *Forecast) { f.Sources[0].Attribution = "Z" }, false},
		"what the chance's of": {func(f *Forecast) { f.Hours[3].ChanceHours = 6 }, false},
		"no hour":              {func(f *Forecast) { f.Hours = nil }, false},
	} {
		f, earlier := twoDays(), twoDays()
		c.change(&f)
		if got := f.SameWeather(&earlier); got != c.same {
			t.Errorf("%s: the same is %t", what, got)
		}
	}
}
