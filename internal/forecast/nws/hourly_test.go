package nws_test

import (
	"bytes"
	"context"
	"log/slog"
	"math"
	"math/rand"
	"net/http/httptest"
	"testing"
	"time"

	"dryslot/internal/forecast"
	"dryslot/internal/forecast/feedtest"
	"dryslot/internal/forecast/nws"
	"dryslot/internal/place"
)

// Of another place, from long ago or from days to come, the hourly product fills
// nothing; one that is short fills the hours that it has. Each time the log says
// why.
func TestAnHourlyProductThatDoesNotServe(t *testing.T) {
	now := time.Date(2026, 2, 6, 19, 10, 0, 0, time.UTC)
	tb := feedtest.NewTable(rand.New(rand.NewSource(1)), now.Truncate(time.Hour), 90)
	for h := range tb.Rows {
		tb.Rows[h][forecast.WindMS] = math.NaN()
	}
	hours := func(issued, from time.Time, n int, lat, lon float64) []byte {
		var periods []item
		for h := range n {
			periods = append(periods, item{"startTime": from.Add(time.Duration(h) * time.Hour).Format(time.RFC3339),
				"temperature": 1, "temperatureUnit": "C", "windSpeed": "10 mph", "shortForecast": "Sunny"})
		}
		return encode(item{"geometry": item{"type": "Polygon",
			"coordinates": [][][]float64{{{lon, lat}, {lon + 0.02, lat}}}},
			"properties": item{"updateTime": issued.Format(time.RFC3339), "periods": periods}})
	}
	start := now.Truncate(time.Hour)
	at := place.CellOf(38.9, -77.05)
	for name, c := range map[string]struct {
		body  []byte
		fills int
	}{
		"whole":   {hours(now, start, 90, 38.9, -77.05), 90},
		"short":   {hours(now, start, 3, 38.9, -77.05), 3},
		"foreign": {hours(now, start, 90, 61, -150), 0},
		"old":     {hours(now.AddDate(0, 0, -30), start, 90, 38.9, -77.05), 0},
		"future":  {hours(now.AddDate(0, 0, 9), start, 90, 38.9, -77.05), 0},
		"empty":   {hours(now, start, 0, 38.9, -77.05), 0},
	} {
		o := &office{path: "/gridpoints/AKQ/1,2", grid: write(tb)[gridPath], hourly: c.body, asked: map[string]int{}}
		srv := httptest.NewServer(o)
		var log bytes.Buffer
		feed, err := nws.New(nws.Config{BaseURL: srv.URL, Contact: feedtest.Contact,
			Log: slog.New(slog.NewTextHandler(&log, nil))})
		if err != nil {
			t.Fatal(err)
		}
		fc, err := feed.Fetch(context.Background(), at, "", now)
		srv.Close()
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		filled := 0
		for i := range fc.Hours {
			if fc.Hours[i].Get(forecast.WindMS).Known {
				filled++
			}
		}
		if filled != c.fills || (log.Len() > 0) != (c.fills == 0) {
			t.Errorf("%s fills %d hours, want %d; the log says %q", name, filled, c.fills, log.String())
		}
	}
}
