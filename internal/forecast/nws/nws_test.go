package nws_test

import (
	"bytes"
	"context"
	"fmt"
	"log/slog"
	"math"
	"math/rand"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/forecast"
	"dryslot/internal/forecast/feedtest"
	"dryslot/internal/forecast/nws"
	"dryslot/internal/place"
)

// raw writes a grid of one layer.
func raw(layer, uom string, values ...string) []byte {
	return fmt.Appendf(nil, `{"properties":{"updateTime":"2022-02-04T03:15:41+00:00",%q:{"uom":%q,"values":[%s]}}}`, layer, uom, strings.Join(values, ","))
}

func span(valid string, v any) string { return fmt.Sprintf(`{"validTime":%q,"value":%v}`, valid, v) }

// A total is shared out over its interval, whatever its length, and kept.
func TestTotalsAreKept(t *testing.T) {
	fc, err := decode(raw("quantitativePrecipitation", "wmoUnit:mm",
		span("2022-02-03T21:00:00+00:00/PT3H", 1.5), span("2022-02-04T00:00:00+00:00/PT6H", 0), span("2022-02-04T06:00:00+00:00/P1DT6H", 6)))
	if err != nil {
		t.Fatal(err)
	}
	if len(fc.Hours) != 3+6+30 {
		t.Fatalf("%d hours, want 39", len(fc.Hours))
	}
	for i, want := range map[int]float64{0: 0.5, 2: 0.5, 3: 0, 8: 0, 9: 0.2, 38: 0.2} {
		if got := fc.Hours[i].Get(forecast.RainMM); !got.Known || math.Abs(got.V-want) > 1e-12 {
			t.Errorf("hour %d gets %+v mm, want %v", i, got, want)
		}
	}
}

// The chance is that of its interval: the commonest span is its period.
func TestChancesKeepTheirPeriod(t *testing.T) {
	for _, c := range []struct {
		spans []string
		want  time.Duration
	}{
		{[]string{"03T21:00:00+00:00/PT3H", "04T00:00:00+00:00/PT12H", "04T12:00:00+00:00/PT12H"}, 12 * time.Hour},
		{[]string{"03T21:00:00+00:00/PT3H", "04T00:00:00+00:00/PT6H", "04T06:00:00+00:00/PT12H", "04T18:00:00+00:00/PT6H"}, 6 * time.Hour},
		{[]string{"03T21:00:00+00:00/PT3H", "04T00:00:00+00:00/PT6H"}, 3 * time.Hour},
		{[]string{"03T21:00:00+00:00/P2D"}, 12 * time.Hour},
	} {
		var values []string
		for _, s := range c.spans {
			values = append(values, span("2022-02-"+s, 40))
		}
		fc, err := decode(raw("probabilityOfPrecipitation", "wmoUnit:percent", values...))
		if err != nil {
			t.Fatal(err)
		}
		if fc.Wet.Period != c.want || fc.Wet.OverMM != 0.25 || fc.Hours[0].Get(forecast.RainChance).V != 0.4 {
			t.Errorf("%v: the wet event is %+v with a chance of %v, want a period of %v", c.spans, fc.Wet, fc.Hours[0].Get(forecast.RainChance), c.want)
		}
	}
}

func TestDurations(t *testing.T) {
	for length, hours := range map[string]int{"PT1H": 1, "PT36H": 36, "P1D": 24, "P2DT15H": 63, "P1W": 168, "P1WT1H": 169, "PT2H0M0S": 2} {
		fc, err := decode(raw("temperature", "wmoUnit:degC", span("2022-02-03T21:00:00+00:00/"+length, 5)))
		if err != nil || len(fc.Hours) != hours {
			t.Errorf("%s: %d hours and %v, want %d", length, len(fc.Hours), err, hours)
		}
	}
	for _, valid := range []string{"", "/", "2022-02-03T21:00:00+00:00", "2022-02-03T21:00:00+00:00/", "2022-02-03T21:00:00+00:00/P", "2022-02-03T21:00:00+00:00/PT",
		"2022-02-03T21:00:00+00:00/PT0H", "2022-02-03T21:00:00+00:00/PT30M", "2022-02-03T21:00:00+00:00/-PT1H", "2022-02-03T21:00:00+00:00/P1H",
		"2022-02-03T21:00:00+00:00/PT1H1H", "2022-02-03T21:00:00+00:00/PT999999999999999999H", "2022-02-03T21:30:00+00:00/PT1H", "21:00/PT1H",
		"2022-02-03T21:00:00+00:00/P1M", "2022-02-03T21:00:00+00:00/PTH", "2022-02-03T21:00:00+00:00/PT1.5H", "2022-02-03T21:00:00+05:30/PT1H"} {
		if _, err := decode(raw("temperature", "wmoUnit:degC", span(valid, 5))); fault.KindOf(err) != fault.Invalid || !strings.Contains(err.Error(), "validTime") {
			t.Errorf("%q gives %v", valid, err)
		}
	}
}

// A layer that can be done without is unknown where its unit or its times are odd.
func TestOddLayersAreLeftOut(t *testing.T) {
	const at = "2022-02-03T21:00:00+00:00/PT2H"
	air := `"temperature":{"uom":"wmoUnit:degC","values":[` + span(at, 5) + `]}`
	for odd, want := range map[string]string{
		`"windSpeed":{"uom":"","values":[` + span(at, 3) + `]}`:                                  "properties.windSpeed.uom",
		`"skyCover":{"uom":"wmoUnit:percent","values":[` + span("later", 3) + `]}`:               "properties.skyCover.values[0].validTime",
		`"dewpoint":{"uom":"wmoUnit:degC","values":[` + span(at, 1) + `,` + span(at, 2) + `]}`:   "properties.dewpoint.values[1].validTime",
		`"weather":{"values":[{"validTime":"later","value":[{"weather":"thunderstorms"}]}]}`:     "properties.weather.values[0].validTime",
		`"probabilityOfThunder":{"uom":"wmoUnit:kg","values":[` + span(at, 3) + `]}`:             "properties.probabilityOfThunder.uom",
		`"snowfallAmount":{"uom":"wmoUnit:m","values":[` + span(at, 3) + `]},"windGust":{"x":1}`: "properties.snowfallAmount.uom",
	} {
		fc, err := decode([]byte(`{"properties":{` + air + `,` + odd + `}}`))
		if err != nil || !slices.Equal(fc.Sources[0].LeftOut, []string{want}) || fc.Hours[0].Get(forecast.AirC).V != 5 {
			t.Errorf("%s: %v, %+v", odd, err, fc.Sources)
			continue
		}
		for v := forecast.AirC + 1; v < forecast.NumVariables; v++ {
			if fc.Hours[0].Get(v).Known {
				t.Errorf("%s: %s is known", odd, v)
			}
		}
	}
	f, err := nws.DecodeHourly(hourly("1", "C", "breezy", "Sunny"), place.Cell{}, time.Time{})
	if err != nil || f.Hours[0].Get(forecast.WindMS).Known || f.Hours[0].Get(forecast.HumidityPct).V != 72 ||
		!slices.Equal(f.Sources[0].LeftOut, []string{"properties.periods.windSpeed"}) {
		t.Errorf("a wind in other words: %v, %+v", err, f)
	}
}

// Layers may be missing, empty or null; a wrong unit is no such thing.
func TestLayers(t *testing.T) {
	const at = "2022-02-03T21:00:00+00:00/PT2H"
	for body, says := range map[string]string{
		string(raw("temperature", "wmoUnit:K", span(at, 280))):                                                                "temperature.uom",
		string(raw("quantitativePrecipitation", "wmoUnit:m", span(at, 3))):                                                    "quantitativePrecipitation.uom",
		string(raw("temperature", "wmoUnit:degC", span(at, `"5"`))):                                                           "a number or null",
		string(raw("temperature", "wmoUnit:degC", span(at, 99))):                                                              "must be between",
		string(raw("temperature", "wmoUnit:degC")):                                                                            "must hold a layer",
		`{"properties":{"updateTime":"soon","temperature":{"values":[]}}}`:                                                    "updateTime",
		string(raw("temperature", "wmoUnit:degC", span(at, 1), span(at, 1))):                                                  "one before it",
		string(raw("temperature", "u", span("1970-01-01T00:00:00+00:00/PT1H", 1), span("9999-01-01T00:00:00+00:00/PT1H", 1))): "1080",
		string(raw("temperature", "u", span("0001-01-01T00:00:00+00:00/PT1H", 1))):                                            "since 1970",
	} {
		if _, err := decode([]byte(body)); fault.KindOf(err) != fault.Invalid || !strings.Contains(err.Error(), says) {
			t.Errorf("%s: error is %v, which does not say %q", body, err, says)
		}
	}
	fc, err := decode([]byte(`{"properties":{"temperature":{"uom":"wmoUnit:degF","values":[` + span(at, 50) + `]},"dewpoint":{"values":[]},
		"relativeHumidity":null,"windSpeed":{"uom":"wmoUnit:m_s-1","values":[` + span(at, 3) + `]},"skyCover":{"uom":null,"values":[` + span(at, "null") + `]},
		"snowfallAmount":{"uom":"wmoUnit:mm","values":[` + span(at, 40) + `]}}}`))
	if err != nil {
		t.Fatal(err)
	}
	h := &fc.Hours[1]
	if got := h.Get(forecast.AirC).V; math.Abs(got-10) > 1e-12 {
		t.Errorf("50 F are %v C", got)
	}
	if h.Get(forecast.WindMS).V != 3 || h.Get(forecast.CloudPct).Known || h.Get(forecast.HumidityPct).Known || fc.Sources[0].IssuedAt != nil {
		t.Errorf("the hour is %+v", h)
	}
	if got := h.Get(forecast.SnowMM).V; got != 2 {
		t.Errorf("20 mm of snow in an hour are %v mm of water, want 2", got)
	}
}

// What the office says of thunder, by its terms of coverage.
func TestThunderTerms(t *testing.T) {
	for term, want := range map[string]float64{"isolated": 0.2, "slight_chance": 0.2, "scattered": 0.5, "chance": 0.5, "likely": 0.7,
		"numerous": 0.7, "definite": 1, "widespread": 1, "areas": 1, "": 1} {
		body := []byte(`{"properties":{"weather":{"values":[{"validTime":"2022-02-03T21:00:00+00:00/PT3H","value":[
			{"coverage":"definite","weather":"rain_showers"},{"coverage":"` + term + `","weather":"thunderstorms"}]},
			{"validTime":"2022-02-04T00:00:00+00:00/PT3H","value":[{"coverage":null,"weather":null}]},
			{"validTime":"2022-02-04T03:00:00+00:00/PT3H","value":null}]},
			"probabilityOfThunder":{"values":[{"validTime":"2022-02-03T22:00:00+00:00/PT1H","value":33}]}}}`)
		fc, err := decode(body)
		if err != nil {
			t.Fatal(err)
		}
		for hour, w := range map[int]float64{0: want, 1: 0.33, 2: want, 3: 0, 8: 0} {
			if got := fc.Hours[hour].Get(forecast.ThunderChance); !got.Known || got.V != w {
				t.Errorf("%q: chance of thunder in hour %d is %+v, want %v", term, hour, got, w)
			}
		}
	}
}

func hourly(temperature, unit, wind, text string) []byte {
	return fmt.Appendf(nil, `{"properties":{"updateTime":"2026-02-06T20:53:00+00:00","periods":[{"startTime":"2026-02-06T16:00:00-05:00","temperature":%s,
		"temperatureUnit":%q,"windSpeed":%q,"shortForecast":%q,"probabilityOfPrecipitation":{"unitCode":"wmoUnit:percent","value":null},
		"dewpoint":{"unitCode":"wmoUnit:degC","value":null},"relativeHumidity":{"unitCode":"wmoUnit:percent","value":72}}]}}`, temperature, unit, wind, text)
}

func TestHourlyWords(t *testing.T) {
	for _, c := range []struct {
		wind string
		want float64
	}{{"10 mph", 4.4704}, {"5 to 10 mph", 4.4704}, {"36 km/h", 10}, {"18 to 36 km/h", 10}, {"0 mph", 0}} {
		fc, err := nws.DecodeHourly(hourly("50", "F", c.wind, "Chance Showers And Thunderstorms"), place.Cell{}, time.Time{})
		if err != nil {
			t.Fatal(err)
		}
		h := &fc.Hours[0]
		if got := h.Get(forecast.WindMS); !got.Known || math.Abs(got.V-c.want) > 1e-12 {
			t.Errorf("%s is %+v m/s, want %v", c.wind, got, c.want)
		}
		if got := h.Get(forecast.AirC).V; math.Abs(got-10) > 1e-12 {
			t.Errorf("50 F are %v C", got)
		}
		if h.Get(forecast.ThunderChance).V != 1 || h.Get(forecast.RainChance).Known || h.Get(forecast.RainMM).Known || h.Get(forecast.HumidityPct).V != 72 {
			t.Errorf("the hour is %+v", h)
		}
		if want := time.Date(2026, 2, 6, 21, 0, 0, 0, time.UTC); !h.Start.Equal(want) {
			t.Errorf("the hour starts at %v, want %v", h.Start, want)
		}
	}
	for body, says := range map[string]string{
		string(hourly("1", "K", "5 mph", "Sunny")): "temperature.unitCode",
		`{"properties":{"periods":[]}}`:            "periods",
	} {
		if _, err := nws.DecodeHourly([]byte(body), place.Cell{}, time.Time{}); fault.KindOf(err) != fault.Invalid || !strings.Contains(err.Error(), says) {
			t.Errorf("error is %v, which does not say %q", err, says)
		}
	}
}

// office serves a grid cell that may move, and counts what is asked.
type office struct {
	mu     sync.Mutex
	path   string
	grid   []byte
	hourly []byte
	asked  map[string]int
}

func (o *office) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.asked[r.URL.Path]++
	w.Header().Set("Content-Type", "application/geo+json")
	var body []byte
	switch {
	case strings.HasPrefix(r.URL.Path, "/points/"):
		var x, y int
		var id string
		if _, err := fmt.Sscanf(strings.ReplaceAll(o.path, "/", " "), " gridpoints %s %d,%d", &id, &x, &y); err != nil {
			panic(err)
		}
		body = fmt.Appendf(nil, `{"properties":{"gridId":%q,"gridX":%d,"gridY":%d}}`, id, x, y)
	case r.URL.Path == o.path:
		body = o.grid
	case r.URL.Path == o.path+"/forecast/hourly" && o.hourly != nil:
		body = o.hourly
	default:
		w.WriteHeader(http.StatusNotFound)
		return
	}
	if _, err := w.Write(body); err != nil {
		panic(err)
	}
}

var noon = time.Date(2026, 4, 9, 12, 0, 0, 0, time.UTC)

// A point is looked up once a day, and again when its cell has gone.
func TestPointsAreRemembered(t *testing.T) {
	o := &office{path: "/gridpoints/AKQ/1,2", grid: write(feedtest.NewTable(rand.New(rand.NewSource(1)), noon, 24))[gridPath], asked: map[string]int{}}
	srv := httptest.NewServer(o)
	defer srv.Close()
	feed := open(t, srv.URL, 10*time.Second)
	cell := place.Cell{Latitude: 37, Longitude: -76.5}
	fetch := func(now time.Time) error {
		_, err := feed.Fetch(context.Background(), cell, "", now)
		return err
	}
	check := func(what string, points int) {
		t.Helper()
		if got := o.asked["/points/37,-76.5"]; got != points {
			t.Errorf("%s: the point was looked up %d times, want %d", what, got, points)
		}
	}
	for range 3 {
		if err := fetch(noon); err != nil {
			t.Fatal(err)
		}
	}
	check("three fetches", 1)
	o.path = "/gridpoints/AKQ/3,4"
	if err := fetch(noon); err != nil {
		t.Errorf("after the cell moved: %v", err)
	}
	check("the cell moved", 2)
	if err := fetch(noon.Add(25 * time.Hour)); err != nil {
		t.Fatal(err)
	}
	check("a day later", 3)
}

// The hourly product fills what the layers lack, and nothing else; if it fails
// the layers stand alone and the log is told.
func TestHourlyFillsGaps(t *testing.T) {
	now := time.Date(2026, 2, 6, 21, 0, 0, 0, time.UTC)
	tb := feedtest.NewTable(rand.New(rand.NewSource(1)), time.Date(2026, 2, 6, 19, 0, 0, 0, time.UTC), 24)
	tb.Rows[2][forecast.WindMS] = math.NaN()
	tb.Rows[2][forecast.AirC] = -7
	o := &office{path: "/gridpoints/AKQ/1,2", grid: write(tb)[gridPath], hourly: feedtest.Read(t, "nws/washingtonDC_2026-02-06_hourly.json"), asked: map[string]int{}}
	srv := httptest.NewServer(o)
	defer srv.Close()
	var log bytes.Buffer
	feed, err := nws.New(nws.Config{BaseURL: srv.URL, Contact: feedtest.Contact, Log: slog.New(slog.NewTextHandler(&log, nil))})
	if err != nil {
		t.Fatal(err)
	}
	fc, err := feed.Fetch(context.Background(), place.CellOf(38.86, -77.04), "", now)
	if err != nil {
		t.Fatal(err)
	}
	// The product's first period is that of 21:00 UTC, with 4 km/h and 1 C.
	if got := fc.Hours[2].Get(forecast.WindMS); !got.Known || math.Abs(got.V-4/3.6) > 1e-12 {
		t.Errorf("the wind that the layers lack is %+v, want 4 km/h", got)
	}
	if got := fc.Hours[2].Get(forecast.AirC); got.V != -7 {
		t.Errorf("the air that the layers give is %+v, want -7", got)
	}
	if len(fc.Hours) != 24 || log.Len() > 0 {
		t.Errorf("%d hours, want 24; the log says %q", len(fc.Hours), log.String())
	}
	o.hourly = feedtest.Read(t, "nws/pynws_gridpoints_forecast_hourly_empty_us.json")
	fc, err = feed.Fetch(context.Background(), place.CellOf(38.86, -77.04), "", now)
	if err != nil || fc.Hours[2].Get(forecast.WindMS).Known || !strings.Contains(log.String(), "hourly") {
		t.Errorf("without the product: %v, wind %+v, log %q", err, fc.Hours[2].Get(forecast.WindMS), log.String())
	}
	// Layers without any chance take the product's, with its own period.
	tb.Omit[forecast.RainChance] = true
	o.grid, o.hourly = write(tb)[gridPath], feedtest.Read(t, "nws/washingtonDC_2026-02-06_hourly.json")
	fc, err = feed.Fetch(context.Background(), place.CellOf(38.86, -77.04), "", now)
	if err != nil {
		t.Fatal(err)
	}
	if got := fc.Hours[2].Get(forecast.RainChance); got.V != 0.71 || fc.Wet.Period != time.Hour {
		t.Errorf("the product's chance is %+v over %v, want 0.71 over an hour", got, fc.Wet.Period)
	}
}

// The recorded answer for a point leads to its cell.
func TestRecordedPoint(t *testing.T) {
	var paths []string
	point := feedtest.Read(t, "nws/washingtonDC_2026-02-06_points.json")
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		paths = append(paths, r.URL.Path)
		w.Header().Set("Content-Type", "application/geo+json")
		if strings.HasPrefix(r.URL.Path, "/points/") {
			_, _ = w.Write(point)
			return
		}
		w.WriteHeader(http.StatusServiceUnavailable)
	}))
	defer srv.Close()
	_, err := open(t, srv.URL, 10*time.Second).Fetch(context.Background(), place.Cell{Latitude: 38.8894, Longitude: -77.0352}, "", noon)
	if fault.KindOf(err) != fault.Unavailable || strings.Join(paths, " ") != "/points/38.8894,-77.0352 "+gridPath {
		t.Errorf("asked for %v, then %v", paths, err)
	}
}

func TestPointsAtFault(t *testing.T) {
	for _, body := range []string{`{"properties":{}}`, `{"properties":{"gridId":"../../x","gridX":1,"gridY":1}}`,
		`{"properties":{"gridId":"LWX","gridX":1.5,"gridY":1}}`, `{"properties":{"gridId":"LWX","gridX":-1,"gridY":null}}`, `{"properties":{"gridId":"LWX","gridX":"1","gridY":1}}`} {
		srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
			w.Header().Set("Content-Type", "application/geo+json")
			_, _ = w.Write([]byte(body))
		}))
		_, err := open(t, srv.URL, 10*time.Second).Fetch(context.Background(), place.Cell{}, "", noon)
		if fault.KindOf(err) != fault.Invalid {
			t.Errorf("%s: error is %v, want %v", body, err, fault.Invalid)
		}
		srv.Close()
	}
}

func TestNew(t *testing.T) {
	for name, bad := range map[string]nws.Config{"no contact": {}, "address": {Contact: "a@b", BaseURL: "api.weather.gov"}} {
		if _, err := nws.New(bad); fault.KindOf(err) != fault.Invalid {
			t.Errorf("%s: error is %v, want %v", name, err, fault.Invalid)
		}
	}
}
