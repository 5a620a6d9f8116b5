package projects_test

import (
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"dryslot/internal/fetching"
	"dryslot/internal/forecast"
	"dryslot/internal/forecast/metnorway"
	"dryslot/internal/forecast/nws"
	"dryslot/internal/forecast/openmeteo"
	"dryslot/internal/forecast/skytest"
	"dryslot/internal/place"
	"dryslot/internal/pour"
)

// quarterly is a dry short-range document to be written: hours from an instant on, of
// a place, in a unit; unknown: without any value.
type quarterly struct {
	from    time.Time
	hours   int
	at      place.Cell
	unit    string // empty: the right one
	unknown bool
}

func (q quarterly) value(v float64) any {
	if q.unknown {
		return nil
	}
	return v
}

func (q quarterly) unitOr(right string) string {
	if q.unit != "" {
		return q.unit
	}
	return right
}

// shortFeeds are the adapters with a short-range product, each with what writes its
// document.
var shortFeeds = [...]struct {
	name  string
	wrong string // unit of rain
	open  func(base string) (fetching.Feed, error)
	write func(q quarterly) map[string]any
}{
	{openmeteo.Name, "km/h", func(base string) (fetching.Feed, error) {
		return openmeteo.New(openmeteo.Config{BaseURL: base, Contact: "pads@dryslot.example"})
	}, func(q quarterly) map[string]any {
		var times []string
		var rain []any
		for i := range 4 * q.hours {
			times = append(times, q.from.Add(time.Duration(i+1)*15*time.Minute).UTC().Format("2006-01-02T15:04"))
			rain = append(rain, q.value(0))
		}
		return map[string]any{"/v1/forecast": map[string]any{"latitude": q.at.Latitude, "longitude": q.at.Longitude,
			"utc_offset_seconds": 0,
			"minutely_15_units":  map[string]string{"time": "iso8601", "precipitation": q.unitOr("mm")},
			"minutely_15":        map[string]any{"time": times, "precipitation": rain}}}
	}},
	{metnorway.Name, "in/h", func(base string) (fetching.Feed, error) {
		return metnorway.New(metnorway.Config{BaseURL: base, NowcastURL: base, Contact: "pads@dryslot.example"})
	}, func(q quarterly) map[string]any {
		var steps []any
		for i := range 12 * q.hours {
			details := map[string]any{}
			if !q.unknown {
				details["precipitation_rate"] = 0.0
			}
			steps = append(steps, map[string]any{"time": q.from.Add(time.Duration(i) * 5 * time.Minute).UTC().Format(
				time.RFC3339), "data": map[string]any{"instant": map[string]any{"details": details}}})
		}
		return map[string]any{"/weatherapi/nowcast/2.0/complete": map[string]any{"type": "Feature",
			"geometry": map[string]any{"type": "Point", "coordinates": []float64{q.at.Longitude, q.at.Latitude, 0}},
			"properties": map[string]any{"timeseries": steps, "meta": map[string]any{
				"updated_at": q.from.UTC().Format(time.RFC3339), "radar_coverage": "ok",
				"units": map[string]string{"precipitation_rate": q.unitOr("mm/h")}}}}}
	}},
	{nws.Name, "wmoUnit:degC", func(base string) (fetching.Feed, error) {
		return nws.New(nws.Config{BaseURL: base, Contact: "pads@dryslot.example"})
	}, func(q quarterly) map[string]any {
		var periods []any
		for i := range q.hours {
			periods = append(periods, map[string]any{"startTime": q.from.Truncate(time.Hour).Add(time.Duration(i) *
				time.Hour).UTC().Format(time.RFC3339), "probabilityOfPrecipitation": map[string]any{
				"unitCode": q.unitOr("wmoUnit:percent"), "value": q.value(0)}})
		}
		return map[string]any{
			"/points/": map[string]any{"properties": map[string]any{"gridId": "BMX", "gridX": 32, "gridY": 69}},
			"/gridpoints/BMX/32,69/forecast/hourly": map[string]any{"geometry": map[string]any{"type": "Polygon",
				"coordinates": [][][]float64{{{q.at.Longitude, q.at.Latitude}}}},
				"properties": map[string]any{"updateTime": q.from.UTC().Format(time.RFC3339), "periods": periods}}}
	}},
}

// Whatever is wrong with a feed's document of the next hours: it is refused with the
// reason, what is held stays, and the next feed is asked.
func TestWhatEachFeedSaysWronglyOfTheNextHours(t *testing.T) {
	t.Parallel()
	for _, f := range shortFeeds {
		t.Run(f.name, func(t *testing.T) {
			t.Parallel()
			w, p := withSoftPad(t)
			var routes atomic.Value // of the server, by path
			srv := httptest.NewServer(http.HandlerFunc(func(rw http.ResponseWriter, r *http.Request) {
				for path, doc := range routes.Load().(map[string]any) {
					if strings.HasPrefix(r.URL.Path, path) {
						rw.Header().Set("Content-Type", "application/json")
						_ = json.NewEncoder(rw).Encode(doc) // the asker sees what is missing
						return
					}
				}
				http.NotFound(rw, r)
			}))
			t.Cleanup(srv.Close)
			real, err := f.open(srv.URL)
			if err != nil {
				t.Fatal(err)
			}
			next := &skytest.Sky{Named: "the next feed", Short: func(now time.Time) (forecast.ShortRange, error) {
				return skytest.Quarters("the next feed", now, now.Truncate(15*time.Minute), 48, dry), nil
			}}
			fetch := func(q func(*quarterly), feeds ...fetching.Feed) fetching.ShortState {
				t.Helper()
				w.later(20 * time.Minute)
				w.look(p)
				doc := quarterly{from: w.clock().Truncate(15 * time.Minute), hours: 12, at: cellOf(p)}
				q(&doc)
				routes.Store(f.write(doc))
				w.fetching.Feeds = feeds
				if n := w.refreshShort(); n != 1 {
					t.Fatalf("%d cells are due", n)
				}
				return w.shortRange(p)
			}
			for i, bad := range [...]struct {
				name string
				how  func(*quarterly)
			}{
				{"old", func(q *quarterly) { q.from = q.from.AddDate(0, 0, -30) }},
				{"short", func(q *quarterly) { q.hours = 1 }},
				{"future", func(q *quarterly) { q.from = q.from.Add(24 * time.Hour) }},
				{"foreign", func(q *quarterly) { q.at.Longitude += 20 }},
				{"empty", func(q *quarterly) { q.unknown = true }},
				{"in another unit", func(q *quarterly) { q.unit = f.wrong }},
			} {
				if i == 3 { // A will have set
					w.record(p, pour.LogEntry{Kind: pour.EntryPlaced, Pads: []string{"B"}, At: w.clock()})
				}
				held := fetch(func(*quarterly) {}, real)
				if held.Product == nil || held.Product.Source.Feed != f.name || held.Trouble.Text != "" {
					t.Fatalf("before %s: %+v", bad.name, held)
				}
				s := fetch(bad.how, real)
				if !s.Product.Source.FetchedAt.Equal(held.Product.Source.FetchedAt) || s.Failures != 1 ||
					!strings.Contains(s.Trouble.Text, f.name) || !s.NextFetchAt.After(w.clock()) {
					t.Errorf("%s: trouble %q, held of %s", bad.name, s.Trouble.Text, s.Product.Source.FetchedAt)
				}
				s = fetch(bad.how, real, next)
				if s.Product.Source.Feed != next.Named || s.Failures != 0 || !strings.Contains(s.Trouble.Text, f.name) {
					t.Errorf("%s, with a second feed: %+v, trouble %q", bad.name, s.Product.Source, s.Trouble.Text)
				}
			}
		})
	}
}
