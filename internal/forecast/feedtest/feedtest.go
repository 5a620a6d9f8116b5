// Package feedtest holds what every feed must get right, whatever its
// provider's format: one suite, run by each feed's tests against a loopback
// server, over documents written in the feed's own format and over recorded
// ones.
//
//	feedtest.Run(t, feedtest.Subject{Name: "open-meteo", Open: open, Write: write, ...})
package feedtest

import (
	"context"
	"errors"
	"math"
	"math/rand"
	"slices"
	"testing"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/forecast"
	"dryslot/internal/place"
)

// Contact is what every feed under test is opened with.
const Contact = "weather-desk@example.org"

// Feed is what is tested.
type Feed interface {
	Name() string
	Limits() forecast.Limits
	Fetch(ctx context.Context, cell place.Cell, validator string, now time.Time) (forecast.Forecast, error)
}

// Subject is one feed with what its format can say.
type Subject struct {
	Name string
	// Open opens the feed against a server, with Contact and that timeout.
	Open func(t testing.TB, base string, timeout time.Duration) Feed
	// Write writes a table in the feed's format: a body for each path.
	Write func(Table) map[string][]byte
	// Gives are the variables that the format can hold, thunder apart.
	Gives []forecast.Variable
	// ContentType is that of the feed's documents.
	ContentType string
	// TimeField is part of the name of the field that holds an hour's time.
	TimeField string
	// Decode reads the main document alone.
	Decode func(body []byte) (forecast.Forecast, error)
	// Real are recorded documents.
	Real []Document
}

// Table is a weather to be written in a feed's format.
type Table struct {
	Start time.Time
	Zone  *time.Location // in which the provider would label its hours, if it did
	Rows  []Row
	// Order lists the rows as they are written; a row left out is a gap.
	Order []int
	Omit  map[forecast.Variable]bool // variables that the document leaves out
	Place *place.Cell                // that the document says it is of; nil: it does not say
}

// Row is one hour; NaN is a null.
type Row [forecast.NumVariables]float64

// At returns the start of a row's hour.
func (tb *Table) At(row int) time.Time { return tb.Start.Add(time.Duration(row) * time.Hour) }

// Value returns a value as the document holds it: NaN before the first row and
// behind the last.
func (tb *Table) Value(row int, v forecast.Variable) float64 {
	if row < 0 || row >= len(tb.Rows) || tb.Omit[v] {
		return math.NaN()
	}
	return tb.Rows[row][v]
}

// NewTable invents hours of weather without thunder.
func NewTable(r *rand.Rand, start time.Time, hours int) Table {
	tb := Table{Start: start, Zone: time.UTC, Rows: make([]Row, hours), Omit: map[forecast.Variable]bool{}}
	tenth := func(lo, hi float64) float64 { return math.Round((lo+(hi-lo)*r.Float64())*10) / 10 }
	for i := range tb.Rows {
		row := &tb.Rows[i]
		row[forecast.AirC] = tenth(-20, 35)
		row[forecast.HumidityPct] = tenth(20, 100)
		row[forecast.DewPointC] = tenth(-25, 20)
		row[forecast.WindMS] = tenth(0, 20)
		row[forecast.GustMS] = tenth(0, 35)
		row[forecast.CloudPct] = tenth(0, 100)
		row[forecast.ShortwaveWM2] = tenth(0, 900)
		row[forecast.RainMM] = tenth(0, 5)
		row[forecast.RainChance] = tenth(0, 10) / 10
		if row[forecast.AirC] < 0 {
			row[forecast.SnowMM] = row[forecast.RainMM]
		}
		tb.Order = append(tb.Order, i)
	}
	return tb
}

var (
	// Start is the first hour of most tables.
	start = time.Date(2026, 4, 9, 13, 0, 0, 0, time.UTC)
	cell  = place.Cell{Latitude: 51.123456, Longitude: -0.987654}
)

const enough = time.Minute // for a loopback server on a busy machine

// Run runs the whole suite.
func Run(t *testing.T, s Subject) {
	for _, part := range []struct {
		name string
		test func(*testing.T, Subject)
	}{
		{"every value in its hour", testConventions},
		{"zones and clock changes", testZones},
		{"polar night and day", testPolar},
		{"variables left out", testOmitted},
		{"nulls", testNulls},
		{"gaps", testGaps},
		{"hours twice or out of order", testDisorder},
		{"too many hours", testTooManyHours},
		{"values that can't be", testRanges},
		{"thunder", testThunder},
		{"documents cut or added to", testBroken},
		{"documents of another form", testOtherForms},
		{"refusals", testRefusals},
		{"wrong kinds of content", testContentTypes},
		{"bodies without end", testEndless},
		{"slow and broken connections", testConnections},
		{"manners", testManners},
		{"documents that do not serve the days ahead", testAhead},
		{"recorded documents", testReal},
	} {
		t.Run(part.name, func(t *testing.T) { part.test(t, s) })
	}
}

// fetch writes the table, serves it and fetches it.
func (s *Subject) fetch(t *testing.T, tb Table, c place.Cell) (forecast.Forecast, error) {
	t.Helper()
	base := serve(t, s.routes(tb))
	return s.Open(t, base, enough).Fetch(context.Background(), c, "", start)
}

func (s *Subject) must(t *testing.T, tb Table, c place.Cell) forecast.Forecast {
	t.Helper()
	fc, err := s.fetch(t, tb, c)
	if err != nil {
		t.Fatalf("fetch: %v", err)
	}
	consecutive(t, &fc)
	if len(fc.Sources) == 0 || fc.Sources[0].Feed != s.Name || fc.Sources[0].Attribution == "" ||
		!fc.Sources[0].FetchedAt.Equal(start) {
		t.Fatalf("sources are %+v, want %s with attribution, fetched at %v", fc.Sources, s.Name, start)
	}
	if fc.Cell != c {
		t.Fatalf("cell is %v, want %v", fc.Cell, c)
	}
	return fc
}

func (s *Subject) routes(tb Table) map[string]Answer {
	routes := make(map[string]Answer)
	for path, body := range s.Write(tb) {
		routes[path] = Answer{Status: 200, Header: map[string]string{"Content-Type": s.ContentType}, Body: body}
	}
	return routes
}

func consecutive(t *testing.T, fc *forecast.Forecast) {
	t.Helper()
	for i := range fc.Hours {
		at := fc.Hours[i].Start
		if !at.Equal(at.Truncate(time.Hour)) || at.Location() != time.UTC {
			t.Fatalf("hour %d starts at %v, no whole hour of UTC", i, at)
		}
		if i > 0 && at.Sub(fc.Hours[i-1].Start) != time.Hour {
			t.Fatalf("hour %d starts at %v, an hour after %v would be next", i, at, fc.Hours[i-1].Start)
		}
	}
}

// compare checks that every value of the table is in its hour, and nothing
// else is known.
func (s *Subject) compare(t *testing.T, tb Table, fc *forecast.Forecast) {
	t.Helper()
	wrong := 0
	for i := range fc.Hours {
		row := int(math.Round(fc.Hours[i].Start.Sub(tb.Start).Hours()))
		for v := range forecast.NumVariables {
			want := math.NaN()
			if slices.Contains(s.Gives, v) {
				want = tb.Value(row, v)
			}
			if v == forecast.ThunderChance {
				continue
			}
			if got := fc.Hours[i].Get(v).Float(); !same(got, want) {
				if wrong++; wrong < 10 {
					t.Errorf("%v at %v is %v, want %v", v, fc.Hours[i].Start, got, want)
				}
			}
		}
	}
	for row := range tb.Rows {
		if at := tb.At(row); at.Before(fc.Hours[0].Start) || at.After(fc.Hours[len(fc.Hours)-1].Start) {
			t.Errorf("the hour %v is lost", at)
		}
	}
}

// same allows for the rounding of units turned to and fro.
func same(a, b float64) bool {
	if math.IsNaN(a) || math.IsNaN(b) {
		return math.IsNaN(a) == math.IsNaN(b)
	}
	return math.Abs(a-b) <= 1e-9*math.Max(1, math.Abs(b))
}

// refused checks that an error is of a kind and says each of the words.
func refused(t *testing.T, what string, err error, kind fault.Kind, words ...string) {
	t.Helper()
	if !errors.Is(err, kind) {
		t.Errorf("%s: error is %v, want %v", what, err, kind)
		return
	}
	for _, w := range words {
		if !contains(err.Error(), w) {
			t.Errorf("%s: error is %q, which does not say %q", what, err, w)
		}
	}
}
