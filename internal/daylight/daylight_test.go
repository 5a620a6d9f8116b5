package daylight

import (
	"bufio"
	"errors"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"
	"time"

	"dryslot/internal/checkedtest"
	"dryslot/internal/fault"
	"dryslot/internal/unit"
)

const (
	usnoRows    = "US Naval Observatory rise and set times (carried by cosinekitty/astronomy)"
	usnoTables  = "US Naval Observatory annual tables 2012, 2019, 2023"
	usno2024    = "US Naval Observatory tables 2024 (Boston)"
	orlando     = "Orlando twilight table, unnamed source with minutes cut off"
	dayLengths  = "NOAA solar equations (Meeus), day lengths"
	byEphem     = "PyEphem 4.1.4"
	bySuncalc   = "suncalc 2.0.2"
	polarSource = "NOAA solar equations (Meeus), polar cases at 69.65 N 18.96 E"
)

// event returns the instant of one kind nearest to t, among the days around
// it, by our own iteration.
func event(t time.Time, lat, lon float64, kind string) time.Time {
	var best time.Time
	for i := -1; i <= 1; i++ {
		d, _ := compute(unit.DateOf(t, time.UTC).AddDays(i), lat, lon, time.UTC)
		e := map[string]time.Time{"first_light": d.FirstLight, "sunrise": d.Sunrise, "sunset": d.Sunset,
			"last_light": d.LastLight}[kind]
		if !e.IsZero() && (best.IsZero() || e.Sub(t).Abs() < best.Sub(t).Abs()) {
			best = e
		}
	}
	return best
}

type observed struct {
	lat, lon float64
	at       time.Time
	kind     string
}

func usno(t *testing.T) []observed {
	t.Helper()
	var rows []observed
	in := bufio.NewScanner(checkedtest.Open(t, "handbook/usno_sun_rows.txt"))
	for in.Scan() {
		f := strings.Fields(in.Text())
		if len(f) != 5 || f[0] != "Sun" {
			continue
		}
		lon, err1 := strconv.ParseFloat(f[1], 64)
		lat, err2 := strconv.ParseFloat(f[2], 64)
		at, err3 := time.Parse("2006-01-02T15:04Z", f[3])
		if err := errors.Join(err1, err2, err3, in.Err()); err != nil {
			t.Fatalf("%q: %v", in.Text(), err)
		}
		rows = append(rows, observed{lat, lon, at, map[string]string{"r": "sunrise", "s": "sunset"}[f[4]]})
	}
	if len(rows) < 2900 {
		t.Fatalf("only %d rows", len(rows))
	}
	return rows
}

// TestOwnIterationAgainstTheNavalObservatory takes every row; Of adds the
// library, which costs a third of a second a call under the race detector,
// and is held against this iteration and a share of the same rows below.
func TestOwnIterationAgainstTheNavalObservatory(t *testing.T) {
	polar, worst := 0, time.Duration(0)
	for _, r := range usno(t) {
		got := event(r.at, r.lat, r.lon, r.kind)
		off := got.Sub(r.at).Abs()
		if r.lat > 65 || r.lat < -65 {
			// At 88 degrees and beyond the sun skims the horizon for days; at the
			// pole itself there is no meridian and no answer is expected.
			if r.lat < 90 && r.lat > -90 {
				polar++
				checkedtest.Between(t, usnoRows, "minutes off beyond 65 degrees", off.Minutes(), 0, 10)
			}
			continue
		}
		worst = max(worst, off)
		checkedtest.Between(t, usnoRows, r.kind+" at "+r.at.String()+", minutes off", off.Minutes(), 0, 1)
	}
	t.Logf("worst up to 65 degrees: %v; %d rows beyond", worst, polar)
}

func TestOfAgainstTheNavalObservatory(t *testing.T) {
	rows := usno(t)
	for i := 0; i < len(rows); i += 421 {
		r := rows[i]
		if r.lat > 65 || r.lat < -65 || r.at.Year() < 1900 {
			continue
		}
		zone := time.FixedZone("mean time", int(r.lon*240))
		d, err := Of(unit.DateOf(r.at, zone), r.lat, r.lon, zone)
		if err != nil {
			t.Fatal(err)
		}
		got := map[string]time.Time{"sunrise": d.Sunrise, "sunset": d.Sunset}[r.kind]
		checkedtest.Between(t, usnoRows, r.kind+" at "+r.at.String()+", minutes off", got.Sub(r.at).Abs().Minutes(),
			0, 1)
	}
}

func TestAnnualTables(t *testing.T) {
	for i, r := range checkedtest.Rows(t, "handbook/daylight_sunrise_sunset.csv") {
		lat, lon := r.Float("lat"), r.Float("lon_east_positive")
		date, err := unit.ParseDate(r.Text("local_date"))
		if err != nil {
			t.Fatal(err)
		}
		zone := time.UTC
		switch r.Text("zone") {
		case "UTC-8":
			zone = time.FixedZone("UTC-8", -8*3600)
		case "UTC-7":
			zone = time.FixedZone("UTC-7", -7*3600)
		case "UTC timestamps":
			zone = time.FixedZone("mean time", int(lon*240))
		}
		d, _ := compute(date, lat, lon, zone)
		if i%6 == 0 { // the library too, which is slow
			if d, err = Of(date, lat, lon, zone); err != nil {
				t.Fatal(err)
			}
		}
		if d.Case != Ordinary {
			t.Errorf("%s %v: %s", r.Text("place"), date, d.Case)
		}
		for column, got := range map[string]time.Time{"sunrise": d.Sunrise, "sunset": d.Sunset} {
			want, err := time.Parse("2006-01-02T15:04Z", r.Text(column))
			if err != nil {
				c, err := unit.ParseClock(r.Text(column))
				if err != nil {
					t.Fatal(err)
				}
				want = date.At(c, zone)
			}
			checkedtest.Between(t, usnoTables, column+" "+r.Text("place")+" "+date.String()+", minutes off",
				got.Sub(want).Abs().Minutes(), 0, 1)
		}
	}
}

func TestTwilightTables(t *testing.T) {
	for _, r := range checkedtest.Rows(t, "handbook/daylight_twilight.csv") {
		source, tol := orlando, 1.5 // minutes are cut off, not rounded
		if strings.Contains(r.Text("place"), "USNO") {
			source, tol = usno2024, 1
		}
		// The tables' nautical and astronomical columns use the same code at
		// 12 and 18 degrees (USNO definitions).
		for column, height := range map[string]float64{"civil_dawn": -6, "naut_dawn": -12, "astro_dawn": -18,
			"civil_dusk": -6, "naut_dusk": -12, "astro_dusk": -18} {
			if r.Text(column) == "" {
				continue
			}
			want, err := time.Parse("2006-01-02T15:04Z", r.Text(column))
			if err != nil {
				t.Fatal(err)
			}
			top := noon(want, r.Float("lon"))
			lo, hi := top.Add(-12*time.Hour), top
			if want.After(top) {
				lo, hi = top, top.Add(12*time.Hour)
			}
			got := crossing(lo, hi, r.Float("lat"), r.Float("lon"), height)
			checkedtest.Between(t, source, column+" "+r.Text("place")+" "+r.Text(column)+", minutes off",
				got.Sub(want).Abs().Minutes(), 0, tol)
		}
	}
}

func TestDayLengths(t *testing.T) {
	for _, r := range checkedtest.Rows(t, "handbook/daylength_calc.csv") {
		date, err := unit.ParseDate(r.Text("date"))
		if err != nil {
			t.Fatal(err)
		}
		d, _ := compute(date, r.Float("lat"), 0, time.UTC)
		what := "at " + r.Text("lat") + " on " + r.Text("date")
		checkedtest.Near(t, dayLengths, "sunrise to sunset "+what, d.Sunset.Sub(d.Sunrise).Hours(),
			r.Float("sunrise_to_sunset_h_calc"), 0.01)
		if r.Text("civil_dawn_to_dusk_h_calc") == "always" {
			checkedtest.That(t, dayLengths, d.AllCivil && d.FirstLight.IsZero() && d.LastLight.IsZero(),
				"civil light should last %s", what)
			continue
		}
		checkedtest.Near(t, dayLengths, "dawn to dusk "+what, d.LastLight.Sub(d.FirstLight).Hours(),
			r.Float("civil_dawn_to_dusk_h_calc"), 0.01)
	}
}

func TestSunAgainstOtherLibraries(t *testing.T) {
	for file, source := range map[string]string{"sun/sun_ephem.csv": byEphem, "sun/sun_suncalc.csv": bySuncalc} {
		for _, r := range checkedtest.Rows(t, file) {
			at, err := time.Parse(time.RFC3339, r.Text("time"))
			if err != nil {
				t.Fatal(err)
			}
			lat, lon, kind := r.Float("latitude"), r.Float("longitude"), r.Text("event")
			if kind == "height" {
				// 0.02: parallax 0.002, series 0.01 degree.
				checkedtest.Near(t, source, "height at "+r.Text("time"), SunHeight(at, lat, lon), r.Float("height_deg"),
					0.02)
				continue
			}
			got := event(at, lat, lon, kind)
			tol := 20.0
			if lat > 65 {
				tol = 60 // the sun skims: 0.01 degree is worth up to a minute
			}
			checkedtest.Between(t, source, kind+" at "+r.Text("time")+", seconds off", got.Sub(at).Abs().Seconds(),
				0, tol)
		}
	}
}

func TestPolarCases(t *testing.T) {
	oslo, err := time.LoadLocation("Europe/Oslo")
	if err != nil {
		t.Fatal(err)
	}
	const lat, lon = 69.65, 18.96
	june, err := Of(unit.Date{Year: 2024, Month: 6, Day: 21}, lat, lon, oslo)
	if err != nil {
		t.Fatal(err)
	}
	checkedtest.That(t, polarSource, june.Case == AlwaysUp && june.AllCivil && june.Sunrise.IsZero() &&
		june.LastLight.IsZero(), "June: %+v", june)
	from, until, ok := june.Light(oslo)
	if !ok || until.Sub(from) != 24*time.Hour {
		t.Errorf("light in June: %v to %v, %v", from, until, ok)
	}

	dec, err := Of(unit.Date{Year: 2024, Month: 12, Day: 21}, lat, lon, oslo)
	if err != nil {
		t.Fatal(err)
	}
	checkedtest.That(t, polarSource, dec.Case == CivilOnly && !dec.AllCivil && dec.Sunrise.IsZero() &&
		dec.Sunset.IsZero(), "December: %+v", dec)
	for got, want := range map[time.Time]time.Time{
		dec.FirstLight: time.Date(2024, 12, 21, 8, 31, 0, 0, time.UTC),
		dec.LastLight:  time.Date(2024, 12, 21, 12, 53, 0, 0, time.UTC),
	} {
		checkedtest.Between(t, polarSource, "minutes off", got.Sub(want).Abs().Minutes(), 0, 1)
	}

	deep, err := Of(unit.Date{Year: 2024, Month: 12, Day: 21}, 80, lon, oslo)
	if err != nil {
		t.Fatal(err)
	}
	if _, _, ok := deep.Light(oslo); deep.Case != NeverUp || deep.AllCivil || ok {
		t.Errorf("80 N in December: %+v", deep)
	}
}

// TestLibraryAndIterationAgree shows that the library is used, where it can
// be: its answer differs from the iteration by its whole seconds only.
func TestLibraryAndIterationAgree(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 7))
	for range 4 {
		lat, lon := r.Float64()*130-65, r.Float64()*360-180
		d, top := compute(unit.Date{Year: 2026, Month: 1, Day: 1 + r.IntN(365)}, lat, lon, time.UTC)
		if d.Case != Ordinary {
			continue
		}
		rise, set, err := library(top, lat, lon)
		if err != nil {
			t.Fatal(err)
		}
		if a, b := rise.Sub(d.Sunrise).Abs(), set.Sub(d.Sunset).Abs(); a > 5*time.Second || b > 5*time.Second {
			t.Errorf("%.2f %.2f %v: library off by %v and %v", lat, lon, d.Date, a, b)
		}
	}
}

// Quick is Of without the library: the same case and twilight, and sunrise and
// sunset within what the two may differ by.
func TestQuickIsOfWithoutTheLibrary(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 8))
	for range 4 {
		date, lat, lon := unit.Date{Year: 2026, Month: 1, Day: 1 + r.IntN(365)}, r.Float64()*140-70, r.Float64()*360-180
		quick, err := Quick(date, lat, lon, time.UTC)
		if err != nil {
			t.Fatal(err)
		}
		d, err := Of(date, lat, lon, time.UTC)
		if err != nil {
			t.Fatal(err)
		}
		if quick.Sunrise.Sub(d.Sunrise).Abs() > agree || quick.Sunset.Sub(d.Sunset).Abs() > agree {
			t.Errorf("%.2f %.2f %v: %v to %v, Of says %v to %v", lat, lon, date, quick.Sunrise, quick.Sunset, d.Sunrise,
				d.Sunset)
		}
		quick.Sunrise, quick.Sunset = d.Sunrise, d.Sunset
		if quick != d {
			t.Errorf("%+v, Of says %+v", quick, d)
		}
	}
	if _, err := Quick(unit.Date{Year: 1800, Month: 1, Day: 1}, 0, 0, time.UTC); err == nil {
		t.Error("a date beyond the years was taken")
	}
}

// TestWhereTheLibraryMisses takes days nearly 24 h long, whose sunset comes
// after the midnight of any offset: the library answers with an edge of its day.
func TestWhereTheLibraryMisses(t *testing.T) {
	fairbanks, err := time.LoadLocation("America/Anchorage")
	if err != nil {
		t.Fatal(err)
	}
	ordinary := 0
	for _, lat := range []float64{65.6, 65.7, 65.75} {
		d, err := Of(unit.Date{Year: 2026, Month: 6, Day: 21}, lat, -147.7, fairbanks)
		if err != nil {
			t.Fatal(err)
		}
		if d.Case == AlwaysUp {
			continue
		}
		ordinary++
		for _, at := range []time.Time{d.Sunrise, d.Sunset} {
			if h := SunHeight(at, lat, -147.7); h < riseHeight-0.02 || h > riseHeight+0.02 {
				t.Errorf("at %v, %v: the sun stands at %.3f degrees", lat, at, h)
			}
		}
	}
	if ordinary == 0 {
		t.Error("no day with a sunset near midnight was tried")
	}
}

func TestTheDayIsTheZonesDay(t *testing.T) {
	for _, c := range []struct {
		zone     string
		lat, lon float64
	}{{"Pacific/Kiritimati", 1.87, -157.4}, {"Pacific/Auckland", -36.85, 174.76}, {"Asia/Shanghai", 39.47, 75.99},
		{"America/Anchorage", 60.8, -149.5}, {"Asia/Kathmandu", 27.7, 85.3}, {"Pacific/Apia", -13.83, -171.77}} {
		zone, err := time.LoadLocation(c.zone)
		if err != nil {
			t.Fatal(err)
		}
		for _, date := range []unit.Date{{Year: 2026, Month: 3, Day: 8}, {Year: 2026, Month: 6, Day: 21},
			{Year: 2026, Month: 11, Day: 1}} {
			d, _ := compute(date, c.lat, c.lon, zone)
			from, until, ok := d.Light(zone)
			if !ok || !from.Before(d.Sunrise) || !d.Sunrise.Before(d.Sunset) || !d.Sunset.Before(until) {
				t.Errorf("%s %v: out of order: %+v", c.zone, date, d)
			}
			if unit.DateOf(d.Sunrise, zone) != date || d.Sunrise.Location() != zone {
				t.Errorf("%s %v: sunrise %v", c.zone, date, d.Sunrise)
			}
		}
	}
}

func TestBadInputIsNamed(t *testing.T) {
	_, err := Of(unit.Date{Year: 1700, Month: 1, Day: 1}, 91, 181, nil)
	var f *fault.Error
	if !errors.As(err, &f) || !errors.Is(err, fault.Invalid) || len(f.Fields) != 4 {
		t.Errorf("got %v", err)
	}
}

func BenchmarkSunHeight(b *testing.B) {
	t := time.Date(2026, 5, 4, 9, 0, 0, 0, time.UTC)
	for b.Loop() {
		SunHeight(t, 47.25, -122.44)
	}
}
