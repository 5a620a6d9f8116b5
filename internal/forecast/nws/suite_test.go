package nws_test

import (
	"encoding/json"
	"math"
	"strings"
	"testing"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/forecast"
	"dryslot/internal/forecast/feedtest"
	"dryslot/internal/forecast/nws"
	"dryslot/internal/place"
)

const gridPath = "/gridpoints/LWX/97,71"

func open(t testing.TB, base string, timeout time.Duration) feedtest.Feed {
	f, err := nws.New(nws.Config{BaseURL: base, Contact: feedtest.Contact, Timeout: timeout})
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func decode(body []byte) (forecast.Forecast, error) {
	return nws.DecodeGrid(body, place.Cell{}, time.Time{})
}

var layers = []struct {
	name   string
	unit   string
	v      forecast.Variable
	factor float64
}{
	{"temperature", "wmoUnit:degC", forecast.AirC, 1},
	{"dewpoint", "unit:degC", forecast.DewPointC, 1},
	{"relativeHumidity", "wmoUnit:percent", forecast.HumidityPct, 1},
	{"skyCover", "wmoUnit:percent", forecast.CloudPct, 1},
	{"windSpeed", "wmoUnit:km_h-1", forecast.WindMS, 3.6},
	{"windGust", "wmoUnit:km_h-1", forecast.GustMS, 3.6},
	{"probabilityOfPrecipitation", "wmoUnit:percent", forecast.RainChance, 100},
	{"quantitativePrecipitation", "wmoUnit:mm", forecast.RainMM, 1},
	{"snowfallAmount", "wmoUnit:mm", forecast.SnowMM, 10},
}

type item = map[string]any

// write writes a table an hour at a time.
func write(tb feedtest.Table) map[string][]byte {
	properties := item{"updateTime": tb.Issued().Format(time.RFC3339), "@id": "x"}
	valid := func(row int) string { return tb.At(row).In(tb.Zone).Format(time.RFC3339) + "/PT1H" }
	for _, l := range layers {
		var values []item
		for _, row := range tb.Order {
			if tb.Omit[l.v] {
				continue
			}
			var x any
			if v := tb.Value(row, l.v); !math.IsNaN(v) {
				x = v * l.factor
			}
			values = append(values, item{"validTime": valid(row), "value": x})
		}
		properties[l.name] = item{"uom": l.unit, "values": values}
		if values == nil {
			properties[l.name] = item{"values": []item{}}
		}
	}
	var sky []item
	for _, row := range tb.Order {
		coverage, weather := any(nil), any(nil)
		if tb.Value(row, forecast.ThunderChance) == 1 {
			coverage, weather = "definite", "thunderstorms"
		}
		sky = append(sky, item{"validTime": valid(row), "value": []item{{"coverage": coverage, "weather": weather,
			"attributes": []any{}}}})
	}
	properties["weather"] = item{"values": sky}
	doc := item{"properties": properties}
	if p := tb.Place; p != nil {
		doc["geometry"] = item{"type": "Polygon", "coordinates": [][][]float64{{{p.Longitude, p.Latitude},
			{p.Longitude + 0.02, p.Latitude}}}}
	}
	return map[string][]byte{gridPath: encode(doc), "/points/": point}
}

func encode(v any) []byte {
	b, err := json.Marshal(v)
	if err != nil {
		panic(err)
	}
	return b
}

var point = encode(item{"properties": item{"gridId": "LWX", "gridX": 97, "gridY": 71,
	"forecastGridData": "https://elsewhere.example/grid"}})

func subject() feedtest.Subject {
	const geo = "application/geo+json"
	return feedtest.Subject{
		Name: nws.Name, Open: open, Write: write, Decode: decode,
		Gives: []forecast.Variable{forecast.AirC, forecast.HumidityPct, forecast.DewPointC, forecast.RainMM,
			forecast.RainChance, forecast.SnowMM, forecast.CloudPct, forecast.WindMS, forecast.GustMS},
		ContentType: geo,
		TimeField:   "validTime",
		Real: []feedtest.Document{
			{File: "nws/TAE_58_65_2022-02-04_rawgrid.json", Path: gridPath, Others: map[string]feedtest.Answer{
				"/points/": {Status: 200, Header: map[string]string{"Content-Type": geo}, Body: point}}},
		},
	}
}

func TestConformance(t *testing.T) { feedtest.Run(t, subject()) }

// The hourly product's documents go through the same reading and failures.
func TestRecordedHourly(t *testing.T) {
	const file = "nws/washingtonDC_2026-02-06_hourly.json"
	fc, err := nws.DecodeHourly(feedtest.Read(t, file), place.Cell{}, time.Time{})
	if err != nil {
		t.Fatal(err)
	}
	if n := feedtest.Compare(t, file, &fc); n < 1000 {
		t.Errorf("%d values were compared, want all", n)
	}
}

func TestRecordedRefusals(t *testing.T) {
	const problem = "application/problem+json"
	feedtest.Errors(t, subject(), []feedtest.ErrorCase{
		{File: "errors/nws_404_InvalidPoint.json", Status: 404, ContentType: problem, Kind: fault.NotFound,
			Says: "Unable to provide data for requested point"},
		{File: "errors/nws_503_ForecastGridExpired.json", Status: 503, ContentType: problem, Kind: fault.Unavailable,
			Says: "Forecast Grid Expired"},
		{File: "errors/nws_503_ForecastMissingData.json", Status: 503, ContentType: problem, Kind: fault.Unavailable,
			Says: "missing data for time"},
		{File: "errors/nws_503_UnavailableWebService.json", Status: 503, ContentType: problem, Kind: fault.Unavailable,
			Says: "currently unavailable"},
	})
	_, err := nws.DecodeHourly(feedtest.Read(t, "nws/pynws_gridpoints_forecast_hourly_empty_us.json"), place.Cell{},
		time.Time{})
	if fault.KindOf(err) != fault.Invalid || !strings.Contains(err.Error(), "properties.periods[0].startTime") {
		t.Errorf("a document of empty periods gives %v", err)
	}
}
