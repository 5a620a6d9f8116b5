package openmeteo_test

import (
	"errors"
	"math"
	"strings"
	"testing"

	"dryslot/internal/fault"
	"dryslot/internal/forecast"
	"dryslot/internal/forecast/feedtest"
	"dryslot/internal/forecast/openmeteo"
)

func FuzzDecodeForecast(f *testing.F) {
	feedtest.Seed(f)
	f.Fuzz(func(t *testing.T, body []byte) {
		feedtest.Bounded(t, func() {
			fc, err := decode(body)
			feedtest.Sound(t, &fc, err)
		})
	})
}

func FuzzDecodeEnsemble(f *testing.F) {
	feedtest.Seed(f)
	f.Add(ensembleBody(noon, 30, "precipitation", "precipitation_member01", "temperature_2m_member01_model"))
	f.Fuzz(func(t *testing.T, body []byte) {
		feedtest.Bounded(t, func() { soundMembers(t, body) })
	})
}

func soundMembers(t *testing.T, body []byte) {
	e, err := openmeteo.DecodeEnsemble(body)
	members := e.Members
	if err != nil {
		if !errors.Is(err, fault.Invalid) {
			t.Errorf("error is %v, want %v", err, fault.Invalid)
		}
		return
	}
	if len(members) < 2 {
		t.Errorf("%d members", len(members))
	}
	for _, m := range members {
		for v := range forecast.NumVariables {
			lo, hi := v.Range()
			if len(m.Values[v]) > forecast.MaxHours {
				t.Errorf("%d hours", len(m.Values[v]))
			}
			for _, x := range m.Values[v] {
				if !math.IsNaN(x) && !(x >= lo && x <= hi) {
					t.Errorf("%v of %s is %v", v, m.Name, x)
				}
			}
		}
	}
}

// The largest bodies that are read at all, made to fill the memory.
func TestHostileBodies(t *testing.T) {
	const most = 4 << 20
	fill := func(head, part, tail string) []byte {
		return []byte(head + strings.Repeat(part, (most-len(head)-len(tail))/len(part)) + tail)
	}
	for name, body := range map[string][]byte{
		"numbers":    fill(`{"hourly_units":{},"hourly":{"precipitation":[0`, ",0", "]}}"),
		"times":      fill(`{"hourly_units":{},"hourly":{"time":[0`, ",0", "]}}"),
		"other text": fill(`{"other":[""`, `,""`, "]}"),
		"deep":       fill("", "[", ""),
		"places":     fill("[", "{},", "{}]"),
		"long name":  fill(`{"`, "a", `":1}`),
		"columns":    ensembleBody(noon, 1080, manyKeys(100)...),
	} {
		feedtest.Small(t, func() {
			fc, err := decode(body)
			feedtest.Sound(t, &fc, err)
		})
		feedtest.Small(t, func() { soundMembers(t, body) })
		if t.Failed() {
			t.Fatal(name)
		}
	}
}

func BenchmarkDecode(b *testing.B) {
	feedtest.Race(b, "openmeteo", func(body []byte) error {
		_, err := decode(body)
		return err
	}, "open-meteo/adelaide_2026-07-16_72h_forecast_halfhourzone.json",
		"open-meteo/berlin_2025-07-27_168h_allparams_forecast.json",
		"open-meteo/munich_2026-02-07_168h_unixtime_oldnames.json",
		"open-meteo/toronto_2026-03-04_192h_DSTday_forecast.json")
}
