package postgres

import (
	"bytes"
	"compress/gzip"
	"errors"
	"math"
	"math/rand/v2"
	"reflect"
	"testing"
	"time"

	"dryslot/internal/forecast"
	"dryslot/internal/place"
	"dryslot/internal/unit"
)

// anyForecast returns a forecast at random, as odd as the type allows.
func anyForecast(r *rand.Rand) forecast.Forecast {
	start := time.Date(2026, 4, 14, 5, 0, 0, 0, time.UTC)
	f := forecast.Forecast{
		Cell:      place.CellOf(r.Float64()*180-90, r.Float64()*360-180),
		Wet:       forecast.WetEvent{OverMM: r.Float64(), Period: time.Duration(1+r.IntN(6)) * time.Hour},
		Validator: []string{"", `"etag"`}[r.IntN(2)],
		Hours:     make([]forecast.Hour, r.IntN(60)),
	}
	for range 1 + r.IntN(3) {
		s := forecast.Source{Feed: "feed", FetchedAt: start.Add(time.Duration(r.Int64N(1e15))),
			Attribution: "by \"them\" <x> \u00e9"}
		if r.IntN(2) == 0 {
			issued := start.Add(-time.Hour)
			s.IssuedAt = &issued
		}
		f.Sources = append(f.Sources, s)
	}
	if r.IntN(2) == 0 {
		f.NextFetch = start.Add(time.Minute)
	}
	value := func() float64 {
		switch r.IntN(4) {
		case 0:
			return 0
		case 1:
			return math.Round(r.Float64()*1000) / 10
		case 2:
			return r.NormFloat64() * 1e-7
		}
		return r.NormFloat64() * 1e9
	}
	for i := range f.Hours {
		f.Hours[i].Start = start.Add(time.Duration(i) * time.Hour)
		for v := range f.Hours[i].Values {
			if v%3 != 0 && r.IntN(5) > 0 {
				f.Hours[i].Values[v] = unit.Some(value())
				f.Hours[i].From[v] = uint8(r.IntN(len(f.Sources)))
			}
		}
	}
	for range r.IntN(4) {
		m := forecast.Member{Name: "member"}
		for v := range m.Values {
			if r.IntN(2) == 0 {
				continue
			}
			m.Values[v] = make(forecast.Series, len(f.Hours))
			for i := range m.Values[v] {
				m.Values[v][i] = value()
				if r.IntN(6) == 0 {
					m.Values[v][i] = math.NaN()
				}
			}
		}
		f.Members = append(f.Members, m)
	}
	return f
}

// same compares two forecasts; unknown equals unknown.
func same(a, b forecast.Forecast) bool {
	if len(a.Members) != len(b.Members) {
		return false
	}
	for m := range a.Members {
		for v := range a.Members[m].Values {
			x, y := a.Members[m].Values[v], b.Members[m].Values[v]
			if (x == nil) != (y == nil) || len(x) != len(y) {
				return false
			}
			for i := range x {
				if x[i] != y[i] && !(math.IsNaN(x[i]) && math.IsNaN(y[i])) {
					return false
				}
			}
		}
		if a.Members[m].Name != b.Members[m].Name {
			return false
		}
	}
	a.Members, b.Members = nil, nil
	return reflect.DeepEqual(a, b)
}

func TestAForecastComesBackAsItWas(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(4, 14))
	for range 200 {
		f := anyForecast(r)
		doc, err := encodeForecast(&f)
		if err != nil {
			t.Fatal(err)
		}
		got, err := decodeForecast(doc)
		if err != nil {
			t.Fatal(err)
		}
		if !same(got, f) {
			t.Fatalf("came back as\n%+v, want\n%+v", got, f)
		}
	}
}

// A document that was damaged on disk is an error, never half a forecast.
func TestADamagedDocumentIsRefused(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(1, 2))
	f := anyForecast(r)
	for len(f.Hours) < 10 {
		f = anyForecast(r)
	}
	doc, err := encodeForecast(&f)
	if err != nil {
		t.Fatal(err)
	}
	for cut := range doc {
		if _, err := decodeForecast(doc[:cut]); err == nil {
			t.Fatalf("a document cut to %d of %d bytes was read", cut, len(doc))
		}
	}
	const header = 10 // of gzip: times and flags there do not touch the content
	for range 300 {
		bad := bytes.Clone(doc)
		bad[header+r.IntN(len(bad)-header)] ^= 1 << r.IntN(8)
		if got, err := decodeForecast(bad); err == nil && !same(got, f) {
			t.Fatal("a damaged document was read as something else")
		}
	}
}

// zip compresses text as pack does, without checking it.
func zip(t testing.TB, text []byte) []byte {
	t.Helper()
	var b bytes.Buffer
	w := gzip.NewWriter(&b)
	_, err := w.Write(text)
	if err = errors.Join(err, w.Close()); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// Whatever a document says, it is refused or read as a forecast that can be
// stored again and stays the same.
func FuzzDecodeForecast(f *testing.F) {
	for _, text := range []string{
		`{}`, `{"starts":[0],"values":{"air_c":[1,2]}}`, `{"values":{"air_c":3}}`,
		`{"starts":[0],"values":{"air_c":[[1]]}}`,
		`{"starts":[0],"from":{"air_c":"AQ=="}}`, `{"starts":[0],"values":{"air_c":[1e999]}}`,
		`{"starts":[0],"values":{"air_c":["x"]}}`,
		`{"latitude":47.25,"longitude":-122.45,"sources":[{"feed":"nws","issued_at":"2026-04-14T05:00:00Z",
			"fetched_at":"2026-04-14T06:00:00Z","attribution":"NOAA"}],
		"wet_over_mm":0.254,"wet_period_ns":3600000000000,"starts":[1776142800,1776146400],"values":{"air_c":[6.1,null],
		"rain_chance":[0,0.12]}, "from":{"air_c":"AAA="},"members":[{"name":"control","values":{"rain_mm":[0.1,null]}}],
		"next_fetch":"2026-04-14T07:00:00Z","validator":"x"}`,
	} {
		f.Add([]byte(text))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		fc, err := decodeForecast(zip(t, text))
		if err != nil {
			return
		}
		doc, err := encodeForecast(&fc)
		if err != nil {
			return // such as a value that comes from no source
		}
		again, err := decodeForecast(doc)
		if err != nil || !same(again, fc) {
			t.Errorf("read as\n%+v, stored and read again as\n%+v (%v)", fc, again, err)
		}
	})
}

// BenchmarkDocument shows how storing an ensemble of 31 members compares with
// storing one run.
func BenchmarkDocument(b *testing.B) {
	for name, members := range map[string]int{"one run": 0, "31 members": 31} {
		f := forecast.Forecast{Sources: []forecast.Source{{Feed: "f"}}, Hours: make([]forecast.Hour, 264)}
		r := rand.New(rand.NewPCG(1, 1))
		series := func() forecast.Series {
			s := make(forecast.Series, len(f.Hours))
			for i := range s {
				s[i] = math.Round(r.NormFloat64()*100) / 10
			}
			return s
		}
		for v := range forecast.NumVariables {
			for i, x := range series() {
				f.Hours[i].Values[v] = unit.Some(x)
			}
		}
		for range members {
			m := forecast.Member{Name: "m"}
			for v := range m.Values {
				m.Values[v] = series()
			}
			f.Members = append(f.Members, m)
		}
		doc, err := encodeForecast(&f)
		if err != nil {
			b.Fatal(err)
		}
		b.Run(name+"/encode", func(b *testing.B) {
			for b.Loop() {
				if _, err := encodeForecast(&f); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(len(doc)), "bytes")
		})
		b.Run(name+"/decode", func(b *testing.B) {
			for b.Loop() {
				if _, err := decodeForecast(doc); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
