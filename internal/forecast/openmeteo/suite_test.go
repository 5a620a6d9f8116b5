package openmeteo_test

import (
	"encoding/json"
	"math"
	"math/rand"
	"testing"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/forecast"
	"dryslot/internal/forecast/feedtest"
	"dryslot/internal/forecast/openmeteo"
	"dryslot/internal/place"
)

func open(t testing.TB, base string, timeout time.Duration) feedtest.Feed {
	f, err := openmeteo.New(openmeteo.Config{BaseURL: base, Contact: feedtest.Contact, Timeout: timeout})
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func decode(body []byte) (forecast.Forecast, error) {
	return openmeteo.Decode(body, place.Cell{}, time.Time{})
}

// columns are the document's columns: those labelled with their hour's end,
// and what turns our unit into theirs.
var columns = []struct {
	name   string
	unit   string
	v      forecast.Variable
	ending bool
	factor float64
}{
	{"temperature_2m", "°C", forecast.AirC, false, 1},
	{"relative_humidity_2m", "%", forecast.HumidityPct, false, 1},
	{"dew_point_2m", "°C", forecast.DewPointC, false, 1},
	{"precipitation", "mm", forecast.RainMM, true, 1},
	{"precipitation_probability", "%", forecast.RainChance, true, 100},
	{"snowfall", "cm", forecast.SnowMM, true, 0.7},
	{"cloud_cover", "%", forecast.CloudPct, false, 1},
	{"wind_speed_10m", "m/s", forecast.WindMS, false, 1},
	{"wind_gusts_10m", "m/s", forecast.GustMS, true, 1},
	{"shortwave_radiation", "W/m²", forecast.ShortwaveWM2, true, 1},
}

// write writes a table as the service would: in the zone's labels, with the
// one offset that held at the first hour, of which only whole hours count.
func write(tb feedtest.Table) map[string][]byte {
	order := tb.Order
	if order[len(order)-1] == len(tb.Rows)-1 {
		order = append(order[:len(order):len(order)], len(tb.Rows)) // the end of the last hour
	}
	_, offset := tb.Start.In(tb.Zone).Zone()
	clock := time.FixedZone("", offset/3600*3600)
	hourly := map[string][]any{"time": nil, "weather_code": nil}
	units := map[string]string{"time": "iso8601", "weather_code": "wmo code"}
	for _, row := range order {
		hourly["time"] = append(hourly["time"], tb.At(row).In(clock).Format("2006-01-02T15:04"))
		code := 3
		if tb.Value(row-1, forecast.ThunderChance) == 1 {
			code = 95
		}
		hourly["weather_code"] = append(hourly["weather_code"], code)
		for _, c := range columns {
			if tb.Omit[c.v] {
				continue
			}
			at := row
			if c.ending {
				at--
			}
			var x any
			if v := tb.Value(at, c.v); !math.IsNaN(v) {
				x = v * c.factor
			}
			hourly[c.name] = append(hourly[c.name], x)
			units[c.name] = c.unit
		}
	}
	doc := map[string]any{"utc_offset_seconds": offset, "hourly_units": units, "hourly": hourly,
		"generationtime_ms": 0.3}
	if tb.Place != nil {
		doc["latitude"], doc["longitude"] = tb.Place.Latitude, tb.Place.Longitude
	}
	body, err := json.Marshal(doc)
	if err != nil {
		panic(err)
	}
	return map[string][]byte{"/v1/forecast": body}
}

func subject() feedtest.Subject {
	return feedtest.Subject{
		Name: openmeteo.Name, Open: open, Write: write, Decode: decode,
		Gives: []forecast.Variable{forecast.AirC, forecast.HumidityPct, forecast.DewPointC, forecast.RainMM,
			forecast.RainChance, forecast.SnowMM, forecast.CloudPct, forecast.WindMS, forecast.GustMS,
			forecast.ShortwaveWM2},
		ContentType: "application/json; charset=utf-8",
		TimeField:   "hourly.time[",
		Real: []feedtest.Document{
			{File: "open-meteo/adelaide_2026-07-16_72h_forecast_halfhourzone.json", Path: "/v1/forecast"},
			{File: "open-meteo/berlin_2025-07-27_168h_allparams_forecast.json", Path: "/v1/forecast"},
			{File: "open-meteo/munich_2026-02-07_168h_unixtime_oldnames.json", Path: "/v1/forecast",
				Refused: "rain_mm"},
			{File: "open-meteo/toronto_2026-03-04_192h_DSTday_forecast.json", Path: "/v1/forecast"},
		},
	}
}

func TestConformance(t *testing.T) { feedtest.Run(t, subject()) }

func TestRecordedRefusals(t *testing.T) {
	const js = "application/json; charset=utf-8"
	// The service's clock shows 13:00 UTC.
	feedtest.Errors(t, subject(), []feedtest.ErrorCase{
		{File: "errors/openmeteo_400_latitude.json", Status: 400, ContentType: js, Kind: fault.Invalid,
			Says: "Latitude must be in range"},
		{File: "errors/openmeteo_400_no_data.json", Status: 400, ContentType: js, Kind: fault.Invalid,
			Says: "No data is available for this location"},
		{File: "errors/openmeteo_400_omgo.json", Status: 400, ContentType: js, Kind: fault.Invalid,
			Says: "tempeture_2m"},
		{File: "errors/openmeteo_429_concurrent.json", Status: 429, ContentType: js, Kind: fault.Unavailable,
			Says: "Too many concurrent requests"},
		{File: "errors/openmeteo_429_minutely.json", Status: 429, ContentType: js, Kind: fault.Unavailable,
			Says: "Minutely", Wait: time.Minute},
		{File: "errors/openmeteo_429_hourly.json", Status: 429, ContentType: js, Kind: fault.Unavailable,
			Says: "Hourly", Wait: time.Hour},
		{File: "errors/openmeteo_429_daily.json", Status: 429, ContentType: js, Kind: fault.Unavailable, Says: "Daily",
			Wait: 11 * time.Hour},
		{File: "errors/openmeteo_503_overloaded.json", Status: 503, ContentType: js, Kind: fault.Unavailable,
			Says: "The service is overloaded"},
		{File: "errors/openmeteo_200_midstream_error_truncated.txt", Status: 200, ContentType: js, Kind: fault.Invalid,
			Says: "byte 20025 of 20075"},
		{File: "open-meteo/seasonal_amsterdam_2026_members.json", Status: 200, ContentType: js, Kind: fault.Invalid,
			Says: "hourly.time"},
		{File: "open-meteo/ensemble_amsterdam_2026-07-11_1h_31members.json", Status: 200, ContentType: js,
			Kind: fault.Invalid, Says: "rain_mm"},
	})
	// An error in a body that pretends to be an answer.
	_, err := decode(feedtest.Read(t, "errors/openmeteo_429_daily.json"))
	if fault.KindOf(err) != fault.Invalid {
		t.Errorf("an error with status 200 gives %v", err)
	}
}

func table(hours int) feedtest.Table {
	return feedtest.NewTable(rand.New(rand.NewSource(1)), noon, hours)
}
