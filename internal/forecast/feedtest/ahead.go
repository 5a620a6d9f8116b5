package feedtest

import (
	"context"
	"math"
	"math/rand"
	"slices"
	"testing"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/forecast"
	"dryslot/internal/place"
)

// Issued is when a table's document says that it was issued, where its format
// can: an hour before its first hour.
func (tb *Table) Issued() time.Time { return tb.Start.Add(-time.Hour) }

// A document that reads well may still not serve: it may be old, end too soon,
// begin too late, be of another place, or hold nothing.
func testAhead(t *testing.T, s Subject) {
	here := place.Cell{Latitude: cell.Latitude + 0.1, Longitude: cell.Longitude - 0.1} // of the grid
	table := func(start time.Time, hours int) Table {
		tb := NewTable(rand.New(rand.NewSource(7)), start, hours)
		tb.Place = &here
		return tb
	}
	gone := func(tb Table, v forecast.Variable, from, to int) Table {
		for i := from; i < to; i++ {
			tb.Rows[i][v] = math.NaN()
		}
		return tb
	}
	foreign, mirrored := table(start, 100), table(start, 100)
	foreign.Place = &place.Cell{Latitude: here.Latitude + 7, Longitude: here.Longitude}
	mirrored.Place = &place.Cell{Latitude: here.Latitude, Longitude: -here.Longitude + 4}
	silent := table(start, 100)
	silent.Place = nil
	for name, c := range map[string]struct {
		tb   Table
		says string // empty: it serves
	}{
		"whole":                 {table(start, 100), ""},
		"from two days before":  {table(start.Add(-48*time.Hour), 200), "issued?"},
		"no place told":         {silent, ""},
		"a few hours unknown":   {gone(table(start, 100), forecast.AirC, 20, 25), ""},
		"of two hours later":    {table(start.Add(2*time.Hour), 100), "issued?"},
		"old":                   {table(start.Add(-30*24*time.Hour), 100), "known in 0"},
		"ends within hours":     {table(start, 12), "known in 1"},
		"ends on the third day": {table(start, 60), "known in"},
		"future":                {table(start.Add(5*24*time.Hour), 100), "known in 0"},
		"foreign":               {foreign, "place"},
		"mirrored":              {mirrored, "place"},
		"no temperatures":       {gone(table(start, 100), forecast.AirC, 0, 70), "air_c"},
		"no rain": {gone(gone(table(start, 100), forecast.RainMM, 0, 70), forecast.RainChance, 0, 70),
			"rain_mm"},
	} {
		tb := c.tb
		if c.says == "issued?" { // the document's hours serve, and its age tells where it says one
			c.says = ""
			if fc, err := s.fetch(t, tb, cell); err == nil && fc.Sources[0].IssuedAt != nil && tb.Start.Before(start) {
				c.says = "issued_at"
			}
		}
		fc, err := s.fetch(t, tb, cell)
		if err == nil {
			err = fc.CheckAhead(start)
		}
		if c.says == "" {
			if err != nil {
				t.Errorf("%s: %v", name, err)
			}
			continue
		}
		refused(t, name, err, fault.Invalid, s.Name, c.says)
	}
	// An empty document is refused when it is read.
	empty := table(start, 100)
	for i := range empty.Rows {
		for v := range forecast.NumVariables {
			if slices.Contains(s.Gives, v) {
				empty.Rows[i][v] = math.NaN()
			}
		}
	}
	base := serve(t, s.routes(empty))
	_, err := s.Open(t, base, enough).Fetch(context.Background(), cell, "", start)
	refused(t, "empty", err, fault.Invalid, s.Name)
}
