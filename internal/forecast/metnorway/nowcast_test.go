package metnorway_test

import (
	"encoding/json"
	"math"
	"testing"
	"time"

	"dryslot/internal/forecast"
	"dryslot/internal/forecast/feedtest"
	"dryslot/internal/forecast/metnorway"
	"dryslot/internal/place"
	"dryslot/internal/unit"
)

const nowcastPath = "/weatherapi/nowcast/2.0/complete"

func decodeNowcast(body []byte) (forecast.ShortRange, error) {
	return metnorway.DecodeNowcast(body, place.Cell{}, time.Time{})
}

// writeNowcast writes rates; an unknown one is absent.
func writeNowcast(tb feedtest.ShortTable) map[string][]byte {
	var steps []any
	for i, v := range tb.Rain {
		details := map[string]any{}
		if !math.IsNaN(v) {
			details["precipitation_rate"] = v
		}
		steps = append(steps, map[string]any{"time": tb.Start.Add(time.Duration(i) * 5 * time.Minute).Format(
			time.RFC3339), "data": map[string]any{"instant": map[string]any{"details": details}}})
	}
	body, err := json.Marshal(map[string]any{"type": "Feature",
		"geometry": map[string]any{"type": "Point", "coordinates": []float64{tb.Place.Longitude, tb.Place.Latitude, 0}},
		"properties": map[string]any{"timeseries": steps,
			"meta": map[string]any{"updated_at": tb.Issued.Format(time.RFC3339), "radar_coverage": "ok",
				"units": map[string]string{"precipitation_rate": "mm/h"}}}})
	if err != nil {
		panic(err)
	}
	return map[string][]byte{nowcastPath: body}
}

func TestNowcastConformance(t *testing.T) {
	feedtest.RunShort(t, feedtest.ShortSubject{Name: metnorway.Name, Step: 5 * time.Minute,
		ContentType: "application/json",
		Open: func(t testing.TB, base string) feedtest.ShortFeed {
			f, err := metnorway.New(metnorway.Config{BaseURL: base, NowcastURL: base, Contact: feedtest.Contact})
			if err != nil {
				t.Fatal(err)
			}
			return f
		},
		Write: writeNowcast, Decode: decodeNowcast, Rain: func(s forecast.ShortStep) unit.Opt { return s.RainMMH }})
}

// Recorded: 110 minutes of a dry Oslo, with air and wind in the first step only.
func TestARecordedNowcast(t *testing.T) {
	oslo := place.Cell{Latitude: 59.91, Longitude: 10.75}
	fetched := time.Date(2026, 4, 26, 10, 22, 21, 0, time.UTC)
	s, err := metnorway.DecodeNowcast(feedtest.Read(t, "met-norway/nowcast_oslo_2026-04-26_dry_23steps.json"), oslo,
		fetched)
	if err != nil {
		t.Fatal(err)
	}
	if len(s.Steps) != 23 || s.Radar != forecast.RadarOK || s.Steps[0].AirC != unit.Some(10.3) ||
		s.Steps[1].AirC.Known || s.Steps[22].RainMMH != unit.Some(0) {
		t.Errorf("read %+v", s)
	}
	if err := s.CheckAhead(fetched); err != nil {
		t.Error(err)
	}
	for name, later := range map[string]time.Duration{"an hour later": time.Hour, "a day before": -24 * time.Hour} {
		if err := s.CheckAhead(fetched.Add(later)); err == nil {
			t.Errorf("%s it still serves", name)
		}
	}
	// The radar failed: nothing is known of the rain, the first hour's 0 mm neither.
	s, err = metnorway.DecodeNowcast(feedtest.Read(t, "errors/metno_nowcast_radar_unavailable_2021-02-02.json"),
		place.Cell{Latitude: 60, Longitude: 11}, fetched)
	if err != nil || s.Radar != forecast.RadarUnavailable || s.Steps[0].RainMMH.Known {
		t.Errorf("read %+v, %v", s, err)
	}
	if err := s.CheckAhead(time.Date(2021, 2, 2, 12, 52, 0, 0, time.UTC)); err == nil {
		t.Error("without its radar it serves")
	}
}

func FuzzNowcast(f *testing.F) {
	feedtest.Seed(f)
	f.Fuzz(func(t *testing.T, body []byte) {
		feedtest.Bounded(t, func() {
			s, err := decodeNowcast(body)
			feedtest.SoundShort(t, &s, err)
		})
	})
}
