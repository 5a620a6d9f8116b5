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
	o := &office{path: "/gridpoints/AKQ/1,2",
		grid: write(feedtest.NewTable(rand.New(rand.NewSource(1)), noon, 24))[gridPath], asked: map[string]int{}}
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
	o := &office{path: "/gridpoints/AKQ/1,2", grid: write(tb)[gridPath],
		hourly: feedtest.Read(t, "nws/washingtonDC_2026-02-06_hourly.json"), asked: map[string]int{}}
	srv := httptest.NewServer(o)
	defer srv.Close()
	var log bytes.Buffer
	feed, err := nws.New(nws.Config{BaseURL: srv.URL, Contact: feedtest.Contact,
		Log: slog.New(slog.NewTextHandler(&log, nil))})
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
	_, err := open(t, srv.URL, 10*time.Second).Fetch(context.Background(),
		place.Cell{Latitude: 38.8894, Longitude: -77.0352}, "", noon)
	if fault.KindOf(err) != fault.Unavailable || strings.Join(paths, " ") != "/points/38.8894,-77.0352 "+gridPath {
		t.Errorf("asked for %v, then %v", paths, err)
	}
}

func TestPointsAtFault(t *testing.T) {
	for _, body := range []string{`{"properties":{}}`, `{"properties":{"gridId":"../../x","gridX":1,"gridY":1}}`,
		`{"properties":{"gridId":"LWX","gridX":1.5,"gridY":1}}`,
		`{"properties":{"gridId":"LWX","gridX":-1,"gridY":null}}`,
		`{"properties":{"gridId":"LWX","gridX":"1","gridY":1}}`} {
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
	for name, bad := range map[string]nws.Config{"no contact": {},
		"address": {Contact: "a@b", BaseURL: "api.weather.gov"}} {
		if _, err := nws.New(bad); fault.KindOf(err) != fault.Invalid {
			t.Errorf("%s: error is %v, want %v", name, err, fault.Invalid)
		}
	}
}
