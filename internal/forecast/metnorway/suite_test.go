package metnorway_test

import (
	"encoding/json"
	"math"
	"testing"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/forecast"
	"dryslot/internal/forecast/feedtest"
	"dryslot/internal/forecast/metnorway"
	"dryslot/internal/place"
)

const path = "/weatherapi/locationforecast/2.0/complete"

func open(t testing.TB, base string, timeout time.Duration) feedtest.Feed {
	f, err := metnorway.New(metnorway.Config{BaseURL: base, Contact: feedtest.Contact, Timeout: timeout})
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func decode(body []byte) (forecast.Forecast, error) {
	return metnorway.Decode(body, place.Cell{}, time.Time{})
}

var names = map[forecast.Variable]string{forecast.AirC: "air_temperature", forecast.DewPointC: "dew_point_temperature",
	forecast.HumidityPct: "relative_humidity", forecast.CloudPct: "cloud_area_fraction", forecast.WindMS: "wind_speed",
	forecast.GustMS: "wind_speed_of_gust"}

var stated = map[string]string{"air_temperature": "celsius", "dew_point_temperature": "celsius",
	"relative_humidity": "%", "cloud_area_fraction": "%", "wind_speed": "m/s", "wind_speed_of_gust": "m/s",
	"precipitation_amount": "mm", "probability_of_precipitation": "%"}

// write writes a table in hourly steps. Snow is told by the symbol alone.
func write(tb feedtest.Table) map[string][]byte {
	var steps []any
	for _, row := range tb.Order {
		instant, period := map[string]any{}, map[string]any{}
		put := func(to map[string]any, name string, v forecast.Variable, factor float64) {
			if tb.Omit[v] {
				return
			}
			to[name] = nil
			if x := tb.Value(row, v); !math.IsNaN(x) {
				to[name] = x * factor
			}
		}
		for v, name := range names {
			put(instant, name, v, 1)
		}
		put(period, "precipitation_amount", forecast.RainMM, 1)
		put(period, "probability_of_precipitation", forecast.RainChance, 100)
		symbol := "rain"
		if tb.Value(row, forecast.SnowMM) > 0 {
			symbol = "snow"
		}
		if tb.Value(row, forecast.ThunderChance) == 1 {
			symbol += "andthunder"
		}
		if tb.Omit[forecast.SnowMM] {
			symbol = "sleet"
		}
		steps = append(steps, map[string]any{"time": tb.At(row).Format(time.RFC3339), "data": map[string]any{
			"instant":      map[string]any{"details": instant},
			"next_1_hours": map[string]any{"summary": map[string]any{"symbol_code": symbol}, "details": period},
			"next_6_hours": map[string]any{"summary": map[string]any{"symbol_code": "heavysnowandthunder"},
				"details": map[string]any{"precipitation_amount": 99}},
		}})
	}
	doc := map[string]any{"type": "Feature", "properties": map[string]any{
		"meta": map[string]any{"updated_at": tb.Issued().Format(time.RFC3339), "units": stated}, "timeseries": steps}}
	if tb.Place != nil {
		doc["geometry"] = map[string]any{"type": "Point", "coordinates": []float64{tb.Place.Longitude,
			tb.Place.Latitude, 42}}
	}
	body, err := json.Marshal(doc)
	if err != nil {
		panic(err)
	}
	return map[string][]byte{path: body}
}

func subject() feedtest.Subject {
	return feedtest.Subject{
		Name: metnorway.Name, Open: open, Write: write, Decode: decode,
		Gives: []forecast.Variable{forecast.AirC, forecast.HumidityPct, forecast.DewPointC, forecast.RainMM,
			forecast.RainChance, forecast.SnowMM, forecast.CloudPct, forecast.WindMS, forecast.GustMS},
		ContentType: "application/json",
		TimeField:   "timeseries[",
		Real: []feedtest.Document{
			{File: "met-norway/london_2020-07-20_complete_82steps.json", Path: path},
			{File: "met-norway/newyork_2020-07-20_compact_82steps.json", Path: path},
		},
	}
}

func TestConformance(t *testing.T) { feedtest.Run(t, subject()) }

func TestRecordedRefusals(t *testing.T) {
	feedtest.Errors(t, subject(), []feedtest.ErrorCase{
		// A nowcast counts in minutes; its radar failed.
		{File: "errors/metno_nowcast_radar_unavailable_2021-02-02.json", Status: 200, ContentType: "application/json",
			Kind: fault.Invalid, Says: "must be a whole hour"},
	})
}
