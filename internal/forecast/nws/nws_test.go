package nws_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/forecast"
	"dryslot/internal/forecast/nws"
	"dryslot/internal/place"
)

// raw writes a grid of one layer.
func raw(layer, uom string, values ...string) []byte {
	return fmt.Appendf(nil, `{"properties":{"updateTime":"2022-02-04T03:15:41+00:00",%q:{"uom":%q,"values":[%s]}}}`,
		layer, uom, strings.Join(values, ","))
}

func span(valid string, v any) string { return fmt.Sprintf(`{"validTime":%q,"value":%v}`, valid, v) }

// A total is shared out over its interval, whatever its length, and kept.
func TestTotalsAreKept(t *testing.T) {
	fc, err := decode(raw("quantitativePrecipitation", "wmoUnit:mm",
		span("2022-02-03T21:00:00+00:00/PT3H", 1.5), span("2022-02-04T00:00:00+00:00/PT6H", 0),
		span("2022-02-04T06:00:00+00:00/P1DT6H", 6)))
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
		{[]string{"03T21:00:00+00:00/PT3H", "04T00:00:00+00:00/PT6H", "04T06:00:00+00:00/PT12H",
			"04T18:00:00+00:00/PT6H"}, 6 * time.Hour},
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
			t.Errorf("%v: the wet event is %+v with a chance of %v, want a period of %v", c.spans, fc.Wet,
				fc.Hours[0].Get(forecast.RainChance), c.want)
		}
	}
}

func TestDurations(t *testing.T) {
	for length, hours := range map[string]int{"PT1H": 1, "PT36H": 36, "P1D": 24, "P2DT15H": 63, "P1W": 168,
		"P1WT1H": 169, "PT2H0M0S": 2} {
		fc, err := decode(raw("temperature", "wmoUnit:degC", span("2022-02-03T21:00:00+00:00/"+length, 5)))
		if err != nil || len(fc.Hours) != hours {
			t.Errorf("%s: %d hours and %v, want %d", length, len(fc.Hours), err, hours)
		}
	}
	for _, valid := range []string{"", "/", "2022-02-03T21:00:00+00:00", "2022-02-03T21:00:00+00:00/",
		"2022-02-03T21:00:00+00:00/P", "2022-02-03T21:00:00+00:00/PT",
		"2022-02-03T21:00:00+00:00/PT0H", "2022-02-03T21:00:00+00:00/PT30M", "2022-02-03T21:00:00+00:00/-PT1H",
		"2022-02-03T21:00:00+00:00/P1H", "2022-02-03T21:00:00+00:00/PT1H1H",
		"2022-02-03T21:00:00+00:00/PT999999999999999999H", "2022-02-03T21:30:00+00:00/PT1H", "21:00/PT1H",
		"2022-02-03T21:00:00+00:00/P1M", "2022-02-03T21:00:00+00:00/PTH", "2022-02-03T21:00:00+00:00/PT1.5H",
		"2022-02-03T21:00:00+05:30/PT1H"} {
		if _, err := decode(raw("temperature", "wmoUnit:degC", span(valid, 5))); fault.KindOf(err) != fault.Invalid ||
			!strings.Contains(err.Error(), "validTime") {
			t.Errorf("%q gives %v", valid, err)
		}
	}
}

// A layer that can be done without is unknown where its unit or its times are odd.
func TestOddLayersAreLeftOut(t *testing.T) {
	const at = "2022-02-03T21:00:00+00:00/PT2H"
	air := `"temperature":{"uom":"wmoUnit:degC","values":[` + span(at, 5) + `]}`
	layer := func(name, unit string, spans ...string) string {
		return fmt.Sprintf(`%q:{"uom":%q,"values":[%s]}`, name, unit, strings.Join(spans, ","))
	}
	for _, c := range []struct{ want, odd string }{
		{"windSpeed.uom", layer("windSpeed", "", span(at, 3))},
		{"skyCover.values[0].validTime", layer("skyCover", "wmoUnit:percent", span("later", 3))},
		{"dewpoint.values[1].validTime", layer("dewpoint", "wmoUnit:degC", span(at, 1), span(at, 2))},
		{"probabilityOfThunder.uom", layer("probabilityOfThunder", "wmoUnit:kg", span(at, 3))},
		{"snowfallAmount.uom", layer("snowfallAmount", "wmoUnit:m", span(at, 3)) + `,"windGust":{"x":1}`},
		{"weather.values[0].validTime",
			`"weather":{"values":[{"validTime":"later","value":[{"weather":"thunderstorms"}]}]}`},
	} {
		fc, err := decode([]byte(`{"properties":{` + air + `,` + c.odd + `}}`))
		if err != nil || !slices.Equal(fc.Sources[0].LeftOut, []string{"properties." + c.want}) ||
			fc.Hours[0].Get(forecast.AirC).V != 5 {
			t.Errorf("%s: %v, %+v", c.odd, err, fc.Sources)
			continue
		}
		for v := forecast.AirC + 1; v < forecast.NumVariables; v++ {
			if fc.Hours[0].Get(v).Known {
				t.Errorf("%s: %s is known", c.odd, v)
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
	temperature := func(unit string, spans ...string) string { return string(raw("temperature", unit, spans...)) }
	for _, c := range []struct{ says, body string }{
		{"temperature.uom", temperature("wmoUnit:K", span(at, 280))},
		{"a number or null", temperature("wmoUnit:degC", span(at, `"5"`))},
		{"must be between", temperature("wmoUnit:degC", span(at, 99))},
		{"must hold a layer", temperature("wmoUnit:degC")},
		{"one before it", temperature("wmoUnit:degC", span(at, 1), span(at, 1))},
		{"1080", temperature("u", span("1970-01-01T00:00:00+00:00/PT1H", 1),
			span("9999-01-01T00:00:00+00:00/PT1H", 1))},
		{"since 1970", temperature("u", span("0001-01-01T00:00:00+00:00/PT1H", 1))},
		{"updateTime", `{"properties":{"updateTime":"soon","temperature":{"values":[]}}}`},
		{"quantitativePrecipitation.uom", string(raw("quantitativePrecipitation", "wmoUnit:m", span(at, 3)))},
	} {
		if _, err := decode([]byte(c.body)); fault.KindOf(err) != fault.Invalid ||
			!strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: error is %v, which does not say %q", c.body, err, c.says)
		}
	}
	fc, err := decode(fmt.Appendf(nil, `{"properties":{"temperature":{"uom":"wmoUnit:degF","values":[%s]},
		"dewpoint":{"values":[]},"relativeHumidity":null,"windSpeed":{"uom":"wmoUnit:m_s-1","values":[%s]},
		"skyCover":{"uom":null,"values":[%s]},"snowfallAmount":{"uom":"wmoUnit:mm","values":[%s]}}}`,
		span(at, 50), span(at, 3), span(at, "null"), span(at, 40)))
	if err != nil {
		t.Fatal(err)
	}
	h := &fc.Hours[1]
	if got := h.Get(forecast.AirC).V; math.Abs(got-10) > 1e-12 {
		t.Errorf("50 F are %v C", got)
	}
	if h.Get(forecast.WindMS).V != 3 || h.Get(forecast.CloudPct).Known || h.Get(forecast.HumidityPct).Known ||
		fc.Sources[0].IssuedAt != nil {
		t.Errorf("the hour is %+v", h)
	}
	if got := h.Get(forecast.SnowMM).V; got != 2 {
		t.Errorf("20 mm of snow in an hour are %v mm of water, want 2", got)
	}
}

// What the office says of thunder, by its terms of coverage.
func TestThunderTerms(t *testing.T) {
	for term, want := range map[string]float64{"isolated": 0.2, "slight_chance": 0.2, "scattered": 0.5, "chance": 0.5,
		"likely": 0.7, "numerous": 0.7, "definite": 1, "widespread": 1, "areas": 1, "": 1} {
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
	return fmt.Appendf(nil, `{"properties":{"updateTime":"2026-02-06T20:53:00+00:00","periods":[
		{"startTime":"2026-02-06T16:00:00-05:00","temperature":%s,"temperatureUnit":%q,"windSpeed":%q,
		"shortForecast":%q,"probabilityOfPrecipitation":{"unitCode":"wmoUnit:percent","value":null},
		"dewpoint":{"unitCode":"wmoUnit:degC","value":null},
		"relativeHumidity":{"unitCode":"wmoUnit:percent","value":72}}]}}`, temperature, unit, wind, text)
}

func TestHourlyWords(t *testing.T) {
	for _, c := range []struct {
		wind string
		want float64
	}{{"10 mph", 4.4704}, {"5 to 10 mph", 4.4704}, {"36 km/h", 10}, {"18 to 36 km/h", 10}, {"0 mph", 0}} {
		fc, err := nws.DecodeHourly(hourly("50", "F", c.wind, "Chance Showers And Thunderstorms"), place.Cell{},
			time.Time{})
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
		if h.Get(forecast.ThunderChance).V != 1 || h.Get(forecast.RainChance).Known || h.Get(forecast.RainMM).Known ||
			h.Get(forecast.HumidityPct).V != 72 {
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
		if _, err := nws.DecodeHourly([]byte(body), place.Cell{}, time.Time{}); fault.KindOf(err) != fault.Invalid ||
			!strings.Contains(err.Error(), says) {
			t.Errorf("error is %v, which does not say %q", err, says)
		}
	}
}
