package feedtest

import (
	"math"
	"math/rand"
	"slices"
	"testing"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/forecast"
	"dryslot/internal/place"
)

func testConventions(t *testing.T, s Subject) {
	for seed := range int64(5) {
		tb := NewTable(rand.New(rand.NewSource(seed)), start, 24+int(seed)*37)
		fc := s.must(t, tb, cell)
		s.compare(t, tb, &fc)
	}
}

// A day in a zone has 24 hours, 23 or 25, and may begin at half past an hour
// of UTC; hours of UTC don't care.
func testZones(t *testing.T, s Subject) {
	for _, z := range []struct {
		zone  string
		place place.Cell
		from  time.Time
	}{
		{"Australia/Adelaide", place.CellOf(-34.9, 138.6), time.Date(2026, 7, 1, 0, 0, 0, 0, time.UTC)},
		{"Asia/Kathmandu", place.CellOf(27.7, 85.3), time.Date(2026, 7, 1, 0, 0, 0, 0, time.UTC)},
		{"America/St_Johns", place.CellOf(47.6, -52.7), time.Date(2026, 3, 7, 0, 0, 0, 0, time.UTC)},
		{"America/Toronto", place.CellOf(43.7, -79.4), time.Date(2026, 3, 7, 0, 0, 0, 0, time.UTC)},
		{"America/Toronto", place.CellOf(43.7, -79.4), time.Date(2026, 10, 31, 0, 0, 0, 0, time.UTC)},
		{"Europe/Berlin", place.CellOf(52.5, 13.4), time.Date(2026, 3, 28, 12, 0, 0, 0, time.UTC)},
		// changes by half an hour
		{"Australia/Lord_Howe", place.CellOf(-31.5, 159.1), time.Date(2026, 4, 4, 0, 0, 0, 0, time.UTC)},
		{"Pacific/Kiritimati", place.CellOf(1.9, -157.4), time.Date(2026, 4, 4, 0, 0, 0, 0, time.UTC)},
	} {
		loc, err := time.LoadLocation(z.zone)
		if err != nil {
			t.Fatal(err)
		}
		tb := NewTable(rand.New(rand.NewSource(7)), z.from, 72)
		tb.Zone = loc
		fc := s.must(t, tb, z.place)
		s.compare(t, tb, &fc)
	}
}

// Without light there is no radiation, whatever the clouds, and in the polar
// day there is some at midnight.
func testPolar(t *testing.T, s Subject) {
	svalbard := place.CellOf(78.2, 15.6)
	for _, c := range []struct {
		from time.Time
		dark bool
	}{{time.Date(2026, 12, 15, 0, 0, 0, 0, time.UTC), true}, {time.Date(2026, 6, 15, 0, 0, 0, 0, time.UTC), false}} {
		tb := NewTable(rand.New(rand.NewSource(3)), c.from, 48)
		tb.Omit[forecast.ShortwaveWM2] = true
		fc := s.must(t, tb, svalbard)
		fc.Fill()
		for i := range fc.Hours {
			sun := fc.Hours[i].Get(forecast.ShortwaveWM2)
			if !fc.Hours[i].Get(forecast.CloudPct).Known && !c.dark {
				continue
			}
			if !sun.Known || (sun.V == 0) != c.dark {
				t.Errorf("shortwave at %v is %+v in the dark: %v", fc.Hours[i].Start, sun, c.dark)
			}
		}
	}
}

// What a document leaves out is unknown everywhere; without air temperature,
// or without rain and its chance, no forecast is made of it.
func testOmitted(t *testing.T, s Subject) {
	for _, v := range s.Gives {
		tb := NewTable(rand.New(rand.NewSource(int64(v))), start, 30)
		tb.Omit[v] = true
		if v == forecast.RainMM {
			tb.Omit[forecast.SnowMM] = true // the water of snow is a part of it
		}
		if v == forecast.AirC {
			_, err := s.fetch(t, tb, cell)
			refused(t, "without air temperature", err, fault.Invalid, "air_c")
			continue
		}
		rainless := v == forecast.RainMM && !slices.Contains(s.Gives, forecast.RainChance)
		if rainless {
			continue
		}
		fc := s.must(t, tb, cell)
		s.compare(t, tb, &fc)
	}
	tb := NewTable(rand.New(rand.NewSource(1)), start, 30)
	tb.Omit[forecast.RainMM], tb.Omit[forecast.SnowMM], tb.Omit[forecast.RainChance] = true, true, true
	_, err := s.fetch(t, tb, cell)
	refused(t, "without rain", err, fault.Invalid, "rain_mm", "rain_chance")
}

func testNulls(t *testing.T, s Subject) {
	r := rand.New(rand.NewSource(11))
	tb := NewTable(r, start, 60)
	for i := range tb.Rows {
		for v := range forecast.NumVariables {
			if r.Float64() < 0.2 {
				tb.Rows[i][v] = math.NaN()
			}
		}
		if math.IsNaN(tb.Rows[i][forecast.RainMM]) {
			tb.Rows[i][forecast.SnowMM] = math.NaN()
		} else if math.IsNaN(tb.Rows[i][forecast.SnowMM]) {
			tb.Rows[i][forecast.SnowMM] = 0
		}
	}
	fc := s.must(t, tb, cell)
	s.compare(t, tb, &fc)
}

// A missing hour stays in its place with its values unknown or computed, and
// moves no other.
func testGaps(t *testing.T, s Subject) {
	tb := NewTable(rand.New(rand.NewSource(5)), start, 40)
	const gap = 17
	tb.Order = slices.Delete(tb.Order, gap, gap+1)
	fc := s.must(t, tb, cell)
	computed := func(i int, v forecast.Variable) bool {
		return fc.Sources[fc.Hours[i].From[v]].Feed == forecast.Computed
	}
	for i := range fc.Hours {
		row := int(fc.Hours[i].Start.Sub(tb.Start).Hours())
		for _, v := range s.Gives {
			got := fc.Hours[i].Get(v)
			if row == gap && v == forecast.AirC && got.Known && !computed(i, v) {
				t.Errorf("the missing hour has an air temperature of %v", got.V)
			}
			near := row == gap || row == gap-1 // where sums are labelled with an hour's end
			if !near && !same(got.Float(), tb.Value(row, v)) {
				t.Errorf("%v at %v is %v, want %v", v, fc.Hours[i].Start, got.Float(), tb.Value(row, v))
			}
			if near && got.Known && !computed(i, v) && !same(got.V, tb.Value(row, v)) {
				t.Errorf("%v at %v is %v, want %v or unknown", v, fc.Hours[i].Start, got.V, tb.Value(row, v))
			}
		}
	}
}

func testDisorder(t *testing.T, s Subject) {
	tb := NewTable(rand.New(rand.NewSource(6)), start, 12)
	tb.Order = slices.Insert(tb.Order, 5, 5)
	_, err := s.fetch(t, tb, cell)
	refused(t, "an hour twice", err, fault.Invalid, s.TimeField, "one before it")
	tb = NewTable(rand.New(rand.NewSource(6)), start, 12)
	tb.Order[4], tb.Order[5] = tb.Order[5], tb.Order[4]
	_, err = s.fetch(t, tb, cell)
	refused(t, "hours out of order", err, fault.Invalid, s.TimeField, "one before it")
}

func testTooManyHours(t *testing.T, s Subject) {
	tb := NewTable(rand.New(rand.NewSource(8)), start, forecast.MaxHours+100)
	_, err := s.fetch(t, tb, cell)
	refused(t, "too many hours", err, fault.Invalid, "1080")
	// Few, but years apart.
	tb = NewTable(rand.New(rand.NewSource(8)), start, 3*365*24)
	tb.Order = []int{0, 3*365*24 - 1}
	_, err = s.fetch(t, tb, cell)
	refused(t, "hours years apart", err, fault.Invalid, "1080")
}

// One value out of its range and the whole document is refused, by name.
func testRanges(t *testing.T, s Subject) {
	for _, v := range s.Gives {
		lo, hi := v.Range()
		for _, x := range []float64{hi + 1 + hi/2, lo - 1, -9999} {
			tb := NewTable(rand.New(rand.NewSource(9)), start, 12)
			tb.Rows[6][v] = x
			name := v.String()
			if v == forecast.SnowMM {
				tb.Rows[6][forecast.RainMM] = x // of which snow is a part
				name = "_mm"
			}
			_, err := s.fetch(t, tb, cell)
			refused(t, v.String(), err, fault.Invalid, name+" must be between")
		}
	}
}

// Thunder in an hour is seen in it, and nowhere more than an hour away.
func testThunder(t *testing.T, s Subject) {
	tb := NewTable(rand.New(rand.NewSource(10)), start, 24)
	const at = 9
	tb.Rows[at][forecast.ThunderChance] = 1
	fc := s.must(t, tb, cell)
	for i := range fc.Hours {
		row := int(fc.Hours[i].Start.Sub(tb.Start).Hours())
		got := fc.Hours[i].Get(forecast.ThunderChance)
		switch {
		case row >= len(tb.Rows):
		case row == at && (!got.Known || got.V != 1):
			t.Errorf("chance of thunder in its own hour is %+v, want 1", got)
		case (row < at-1 || row > at+1) && (!got.Known || got.V != 0):
			t.Errorf("chance of thunder at %v is %+v, want 0", fc.Hours[i].Start, got)
		}
	}
}
