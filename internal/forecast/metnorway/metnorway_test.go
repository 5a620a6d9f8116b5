package metnorway_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math"
	"math/rand"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/forecast"
	"dryslot/internal/forecast/feedtest"
	"dryslot/internal/forecast/metnorway"
	"dryslot/internal/place"
)

var noon = time.Date(2026, 4, 9, 12, 0, 0, 0, time.UTC)

// step writes one step at an hour after noon; blocks is the rest of its data.
func step(hour int, air float64, blocks string) string {
	return fmt.Sprintf(`{"time":%q,"data":{"instant":{"details":{"air_temperature":%v,"wind_speed_of_gust":9}}%s}}`,
		noon.Add(time.Duration(hour)*time.Hour).Format(time.RFC3339), air, blocks)
}

func block(name, symbol string, mm float64) string {
	return fmt.Sprintf(`,%q:{"summary":{"symbol_code":%q},`+
		`"details":{"precipitation_amount":%v,"probability_of_precipitation":40}}`, name, symbol, mm)
}

func document(steps ...string) []byte {
	return []byte(`{"properties":{"meta":{"updated_at":"2026-04-09T11:30:00Z","units":{"air_temperature":"celsius",
		"wind_speed_of_gust":"m/s", "precipitation_amount":"mm","probability_of_precipitation":"%"}},
		"timeseries":[` + strings.Join(steps, ",") + `]}}`)
}

// A block of six hours is shared out over its hours and keeps its total; its
// chance is said to be that of six hours; the hours between two steps lie on
// the line and are marked.
func TestSixHourBlocks(t *testing.T) {
	fc, err := decode(document(
		step(0, 10, block("next_1_hours", "rain", 1)+block("next_6_hours", "rain", 50)),
		step(1, 12, block("next_1_hours", "rain", 2)+block("next_6_hours", "rain", 50)),
		step(2, 12, block("next_6_hours", "snowandthunder", 3)),
		step(8, 0, block("next_6_hours", "rain", 1.5)),
		step(14, 3, block("next_6_hours", "sleet", 6)),
	))
	if err != nil {
		t.Fatal(err)
	}
	if len(fc.Hours) != 20 {
		t.Fatalf("%d hours, want 20: the last block reaches beyond the last step", len(fc.Hours))
	}
	total := 0.0
	for i := range fc.Hours {
		total += fc.Hours[i].Get(forecast.RainMM).V
	}
	if math.Abs(total-13.5) > 1e-12 {
		t.Errorf("%v mm in all, want 13.5", total)
	}
	for _, c := range []struct {
		hour         int
		v            forecast.Variable
		want         float64
		computed     bool
		chanceOver   uint8
		unknownValue bool
	}{
		{0, forecast.RainMM, 1, false, 0, false},
		{2, forecast.RainMM, 0.5, false, 6, false},
		{7, forecast.SnowMM, 0.5, false, 6, false},
		{7, forecast.ThunderChance, 1, false, 6, false},
		{8, forecast.ThunderChance, 0, false, 6, false},
		{8, forecast.RainChance, 0.4, false, 6, false},
		{5, forecast.AirC, 6, true, 6, false},
		{11, forecast.AirC, 1.5, true, 6, false},
		{14, forecast.AirC, 3, false, 6, false},
		{15, forecast.AirC, 0, false, 6, true},
		{5, forecast.GustMS, 0, false, 6, true},
		{15, forecast.SnowMM, 0, false, 6, true},
	} {
		h := &fc.Hours[c.hour]
		got := h.Get(c.v)
		if got.Known == c.unknownValue || math.Abs(got.V-c.want) > 1e-12 {
			t.Errorf("%v in hour %d is %+v, want %v", c.v, c.hour, got, c.want)
		}
		if computed := fc.Sources[h.From[c.v]].Feed == forecast.Computed; computed != c.computed {
			t.Errorf("%v in hour %d is computed: %v, want %v", c.v, c.hour, computed, c.computed)
		}
		if h.ChanceHours != c.chanceOver {
			t.Errorf("the chance of hour %d is that of %d hours, want %d", c.hour, h.ChanceHours, c.chanceOver)
		}
	}
}

// A step that divides a longer block leaves its own hour unknown.
func TestDividedBlock(t *testing.T) {
	fc, err := decode(document(step(0, 10, block("next_6_hours", "rain", 6)),
		step(1, 12, block("next_1_hours", "rain", 2))))
	if err != nil {
		t.Fatal(err)
	}
	if got := fc.Hours[0].Get(forecast.RainMM); got.Known {
		t.Errorf("the first hour gets %v mm of a block that the next step divides", got.V)
	}
}

// Steps more than six hours apart have nothing between them.
func TestLongGap(t *testing.T) {
	fc, err := decode(document(step(0, 10, block("next_6_hours", "rain", 6)), step(7, 12, "")))
	if err != nil {
		t.Fatal(err)
	}
	for i := 1; i < 7; i++ {
		if got := fc.Hours[i].Get(forecast.AirC); got.Known {
			t.Errorf("hour %d within a gap has %v C", i, got.V)
		}
	}
	if got := fc.Hours[6].Get(forecast.RainMM); got.Known {
		t.Errorf("the hour after the block gets %v mm", got.V)
	}
}

// The symbol codes as the provider lists them (github.com/metno/weathericons).
func TestSymbols(t *testing.T) {
	for code, want := range map[string][2]float64{ // thunder, share of snow
		"clearsky_day":                 {0, 0},
		"fog":                          {0, 0},
		"lightrain":                    {0, 0},
		"heavyrainandthunder":          {1, 0},
		"rainshowersandthunder_night":  {1, 0},
		"lightssnowshowersandthunder":  {1, 1},
		"heavysnowandthunder":          {1, 1},
		"snow":                         {0, 1},
		"snowshowers_polartwilight":    {0, 1},
		"sleetandthunder":              {1, -1},
		"lightssleetshowersandthunder": {1, -1},
		"sleetshowers_day":             {0, -1},
	} {
		fc, err := decode(document(step(0, 1, block("next_1_hours", code, 2))))
		if err != nil {
			t.Fatal(err)
		}
		snow := fc.Hours[0].Get(forecast.SnowMM)
		if got := fc.Hours[0].Get(forecast.ThunderChance); !got.Known || got.V != want[0] {
			t.Errorf("%s: chance of thunder %+v, want %v", code, got, want[0])
		}
		if snow.Known != (want[1] >= 0) || (snow.Known && snow.V != 2*want[1]) {
			t.Errorf("%s: snow %+v, want a share of %v", code, snow, want[1])
		}
	}
	// A chance of thunder counts where the symbol shows none; nothing known stays so.
	b := bytes.Replace(document(step(0, 1, block("next_1_hours", "rain", 2)),
		step(1, 1, `,"next_1_hours":{"details":{"precipitation_amount":1}}`)),
		[]byte(`"probability_of_precipitation":40`), []byte(`"probability_of_thunder":12.5`), 1)
	fc, err := decode(b)
	if err != nil {
		t.Fatal(err)
	}
	if got := fc.Hours[0].Get(forecast.ThunderChance); got.V != 0.125 {
		t.Errorf("chance of thunder is %+v, want 0.125", got)
	}
	if got := fc.Hours[1].Get(forecast.ThunderChance); got.Known {
		t.Errorf("chance of thunder without a symbol is %v", got.V)
	}
}

func TestRefusedForms(t *testing.T) {
	good := document(step(0, 1, block("next_1_hours", "rain", 2)), step(1, 1, ""))
	for name, c := range map[string]struct{ from, to, says string }{
		"another unit": {`"celsius"`, `"fahrenheit"`, "units.air_temperature = fahrenheit"},
		"no unit":      {`"air_temperature":"celsius",`, ``, "units.air_temperature = missing"},
		"inches":       {`"precipitation_amount":"mm"`, `"precipitation_amount":"inch"`, "must be mm"},
		"no amounts":   {`"precipitation_amount":"mm",`, ``, "precipitation_amount = missing"},
		"issue time":   {`2026-04-09T11:30:00Z`, `yesterday`, "updated_at"},
		"a time":       {`2026-04-09T13:00:00Z`, `13:00`, "timeseries[1].time"},
		"half hours":   {`2026-04-09T13:00:00Z`, `2026-04-09T13:30:00Z`, "whole hour"},
		"text":         {`"air_temperature":1,`, `"air_temperature":"1",`, "a number or null"},
	} {
		bad := bytes.Replace(good, []byte(c.from), []byte(c.to), 1)
		if bytes.Equal(bad, good) {
			t.Fatalf("%s: nothing was changed", name)
		}
		if _, err := decode(bad); fault.KindOf(err) != fault.Invalid || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: error is %v, which does not say %q", name, err, c.says)
		}
	}
	if _, err := decode(good); err != nil {
		t.Errorf("the document itself: %v", err)
	}
}

// Expires is obeyed by the service's own clock, Last-Modified is sent back, a
// 304 says that nothing is new, and a 203 is told to the log.
func TestConditionalRequests(t *testing.T) {
	const modified = "Mon, 20 Jul 2020 11:44:31 GMT"
	body := write(feedtest.NewTable(rand.New(rand.NewSource(1)), noon, 12))[path]
	status := http.StatusOK
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		// The recorded document's own headers.
		w.Header().Set("Date", "Mon, 20 Jul 2020 11:44:31 GMT")
		w.Header().Set("Expires", "Mon, 20 Jul 2020 12:16:23 GMT")
		w.Header().Set("Last-Modified", modified)
		w.Header().Set("Content-Type", "application/json")
		if r.Header.Get("If-Modified-Since") == modified {
			w.WriteHeader(http.StatusNotModified)
			return
		}
		w.WriteHeader(status)
		if _, err := w.Write(body); err != nil {
			t.Error(err)
		}
	}))
	defer srv.Close()
	var log bytes.Buffer
	f, err := metnorway.New(metnorway.Config{BaseURL: srv.URL, Contact: feedtest.Contact,
		Log: slog.New(slog.NewTextHandler(&log, nil))})
	if err != nil {
		t.Fatal(err)
	}
	first, err := f.Fetch(context.Background(), place.Cell{}, "", noon)
	if err != nil {
		t.Fatal(err)
	}
	want := noon.Add(31*time.Minute + 52*time.Second)
	if first.Validator != modified || !first.NextFetch.Equal(want) {
		t.Errorf("validator %q, next fetch %v; want %q, %v", first.Validator, first.NextFetch, modified, want)
	}
	again, err := f.Fetch(context.Background(), place.Cell{}, first.Validator, noon)
	if !errors.Is(err, forecast.ErrNotModified) || !again.NextFetch.Equal(want) || again.Validator != modified {
		t.Errorf("asked again: %v, next fetch %v; want %v, %v", err, again.NextFetch, forecast.ErrNotModified, want)
	}
	if log.Len() > 0 {
		t.Errorf("the log says %q", log.String())
	}
	status = http.StatusNonAuthoritativeInfo
	if _, err := f.Fetch(context.Background(), place.Cell{}, "", noon); err != nil {
		t.Error(err)
	}
	if !strings.Contains(log.String(), "deprecated") {
		t.Errorf("after a 203 the log says %q", log.String())
	}
}

func TestNew(t *testing.T) {
	for name, bad := range map[string]metnorway.Config{
		"no contact": {}, "product": {Contact: "a@b", Product: "classic"}, "address": {Contact: "a@b",
			BaseURL: "api.met.no"},
	} {
		if _, err := metnorway.New(bad); fault.KindOf(err) != fault.Invalid {
			t.Errorf("%s: error is %v, want %v", name, err, fault.Invalid)
		}
	}
}

// The compact product is asked for under its own path.
func TestCompact(t *testing.T) {
	var asked string
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		asked = r.URL.String()
		w.Header().Set("Content-Type", "application/json")
		_, _ = w.Write(feedtest.Read(t, "met-norway/newyork_2020-07-20_compact_82steps.json"))
	}))
	defer srv.Close()
	f, err := metnorway.New(metnorway.Config{BaseURL: srv.URL, Contact: feedtest.Contact, Product: metnorway.Compact})
	if err != nil {
		t.Fatal(err)
	}
	fc, err := f.Fetch(context.Background(), place.CellOf(40.7, -74), "", noon)
	if err != nil {
		t.Fatal(err)
	}
	if want := "/weatherapi/locationforecast/2.0/compact?lat=40.7&lon=-74"; asked != want {
		t.Errorf("asked for %s, want %s", asked, want)
	}
	fc.Fill()
	if got := fc.Hours[0].Get(forecast.DewPointC); !got.Known || math.Abs(got.V-23.0) > 0.1 {
		t.Errorf("the dew point of 26.5 C and 81.3 %% is %+v, want 23.0", got)
	}
}
