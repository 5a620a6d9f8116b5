package openmeteo_test

import (
	"encoding/json"
	"math"
	"testing"
	"time"

	"dryslot/internal/forecast"
	"dryslot/internal/forecast/feedtest"
	"dryslot/internal/forecast/openmeteo"
	"dryslot/internal/place"
	"dryslot/internal/unit"
)

func decodeMinutely(body []byte) (forecast.ShortRange, error) {
	return openmeteo.DecodeMinutely(body, place.Cell{}, time.Time{})
}

// writeMinutely writes sums under the label of their end, and an air
// temperature, in one offset for the whole document.
func writeMinutely(tb feedtest.ShortTable) map[string][]byte {
	const offset = 5*3600 + 1800
	clock := time.FixedZone("", offset)
	var times []string
	var rain, air []any
	for i := range tb.Rain {
		times = append(times, tb.Start.Add(time.Duration(i+1)*15*time.Minute).In(clock).Format("2006-01-02T15:04"))
		rain, air = append(rain, nil), append(air, 12.5)
		if v := tb.Rain[i]; !math.IsNaN(v) {
			rain[i] = v / 4
		}
	}
	body, err := json.Marshal(map[string]any{"latitude": tb.Place.Latitude, "longitude": tb.Place.Longitude,
		"utc_offset_seconds": offset, "minutely_15_units": map[string]string{"time": "iso8601", "precipitation": "mm",
			"temperature_2m": "°C", "wind_speed_10m": "undefined"},
		"minutely_15": map[string]any{"time": times, "precipitation": rain, "temperature_2m": air,
			"wind_speed_10m": make([]any, len(times))}})
	if err != nil {
		panic(err)
	}
	return map[string][]byte{"/v1/forecast": body}
}

func TestMinutelyConformance(t *testing.T) {
	feedtest.RunShort(t, feedtest.ShortSubject{Name: openmeteo.Name, Step: 15 * time.Minute,
		ContentType: "application/json; charset=utf-8",
		Open: func(t testing.TB, base string) feedtest.ShortFeed {
			f, err := openmeteo.New(openmeteo.Config{BaseURL: base, Contact: feedtest.Contact})
			if err != nil {
				t.Fatal(err)
			}
			return f
		},
		Write: writeMinutely, Decode: decodeMinutely, Rain: func(s forecast.ShortStep) unit.Opt { return s.RainMMH }})
}

// Recorded: three models in one answer, two steps, temperature only. The keys
// end in the model's name.
func TestARecordedAnswerOfSeveralModels(t *testing.T) {
	s, err := decodeMinutely(feedtest.Read(t, "open-meteo/three_models_zurich_2026-10-03_minutely15_hourly_daily.json"))
	if err != nil {
		t.Fatal(err)
	}
	first := time.Date(2026, 10, 3, 11, 0, 0, 0, time.UTC)
	if len(s.Steps) != 2 || !s.Steps[0].Start.Equal(first) || s.Steps[0].AirC != unit.Some(20.9) ||
		s.Place.Latitude != 47.36 {
		t.Errorf("read %+v", s)
	}
	if err := s.CheckAhead(first); err == nil {
		t.Error("without rain it serves")
	}
}

// Written by the test: of several models the one that knows the rain counts, and
// the chance is kept as the hour's, on the step that ends at its label.
func TestTheModelThatKnowsTheRainCounts(t *testing.T) {
	s, err := decodeMinutely([]byte(`{"utc_offset_seconds":0,
		"minutely_15_units":{"precipitation_a":"undefined","precipitation_b":"mm","temperature_2m_a":"°C",
		"temperature_2m_b":"°C","precipitation_probability_b":"%"},
		"minutely_15":{"time":["2026-04-09T13:00","2026-04-09T13:15"],"precipitation_a":[null,null],
		"precipitation_b":[0.10,0.25],
			"temperature_2m_a":[1,1],"temperature_2m_b":[7,8],"precipitation_probability_b":[40,55]}}`))
	if err != nil {
		t.Fatal(err)
	}
	if len(s.Steps) != 3 || s.Steps[0].RainMMH != unit.Some(0.4) || s.Steps[1].RainMMH != unit.Some(1) ||
		s.Steps[1].RainChance != unit.Some(0.55) || s.Steps[1].AirC != unit.Some(7) || s.ChanceOver != time.Hour {
		t.Errorf("read %+v", s)
	}
}

func FuzzMinutely(f *testing.F) {
	feedtest.Seed(f)
	f.Fuzz(func(t *testing.T, body []byte) {
		feedtest.Bounded(t, func() {
			s, err := decodeMinutely(body)
			feedtest.SoundShort(t, &s, err)
		})
	})
}
