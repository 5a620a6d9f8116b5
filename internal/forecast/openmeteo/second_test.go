package openmeteo_test

import (
	"bytes"
	"context"
	"log/slog"
	"math"
	"net/http"
	"testing"
	"time"

	"dryslot/internal/forecast"
	"dryslot/internal/forecast/openmeteo"
	"dryslot/internal/place"
)

// A forecast carries its ensemble; without it, it is still a forecast, and the
// log says why.
func TestSecondProduct(t *testing.T) {
	tb := table(72)
	keys := []string{"precipitation", "precipitation_member01", "precipitation_member02", "temperature_2m_member02"}
	for name, c := range map[string]struct {
		serve   http.HandlerFunc
		members int
	}{
		"there": {func(w http.ResponseWriter, _ *http.Request) {
			w.Header().Set("Content-Type", "application/json")
			_, _ = w.Write(ensembleBody(tb.Start.Add(3*time.Hour), 240, keys...))
		}, 3},
		"foreign": {func(w http.ResponseWriter, _ *http.Request) {
			w.Header().Set("Content-Type", "application/json")
			_, _ = w.Write(append([]byte(`{"latitude":12.5,"longitude":34,`), ensembleBody(tb.Start, 240,
				keys...)[1:]...))
		}, 0},
		"old": {func(w http.ResponseWriter, _ *http.Request) {
			w.Header().Set("Content-Type", "application/json")
			_, _ = w.Write(ensembleBody(tb.Start.AddDate(0, 0, -9), 240, keys...))
		}, 0},
		"ends within hours": {func(w http.ResponseWriter, _ *http.Request) {
			w.Header().Set("Content-Type", "application/json")
			_, _ = w.Write(ensembleBody(tb.Start, 12, keys...))
		}, 0},
		"future": {func(w http.ResponseWriter, _ *http.Request) {
			w.Header().Set("Content-Type", "application/json")
			_, _ = w.Write(ensembleBody(tb.Start.Add(24*time.Hour), 240, keys...))
		}, 0},
		"empty": {func(w http.ResponseWriter, _ *http.Request) {
			w.Header().Set("Content-Type", "application/json")
			_, _ = w.Write([]byte(`{"hourly_units":{"time":"iso8601"},"hourly":{"time":[]}}`))
		}, 0},
		"another time": {func(w http.ResponseWriter, _ *http.Request) {
			w.Header().Set("Content-Type", "application/json")
			_, _ = w.Write(ensembleBody(tb.Start.AddDate(1, 0, 0), 24, keys...))
		}, 0},
		"down":    {func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(503) }, 0},
		"garbage": {func(w http.ResponseWriter, _ *http.Request) { _, _ = w.Write([]byte("<html>")) }, 0},
	} {
		base, _ := asked(t, c.serve)
		var log bytes.Buffer
		f, err := openmeteo.New(openmeteo.Config{BaseURL: base, EnsembleURL: base,
			Log: slog.New(slog.NewTextHandler(&log, nil))})
		if err != nil {
			t.Fatal(err)
		}
		fc, err := f.Fetch(context.Background(), place.Cell{}, "", noon)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if len(fc.Members) != c.members || (log.Len() == 0) != (c.members > 0) {
			t.Errorf("%s: %d members, want %d; the log says %q", name, len(fc.Members), c.members, log.String())
		}
		for _, m := range fc.Members {
			rain := m.Values[forecast.RainMM]
			if len(rain) != len(fc.Hours) || !math.IsNaN(rain[1]) || math.IsNaN(rain[3]) {
				t.Errorf("%s: member %s does not stand beside the hours: %v", name, m.Name, rain)
			}
		}
	}
}
