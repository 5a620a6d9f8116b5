package nws_test

import (
	"math"
	"testing"
	"time"

	"dryslot/internal/forecast"
	"dryslot/internal/forecast/feedtest"
	"dryslot/internal/forecast/nws"
	"dryslot/internal/place"
	"dryslot/internal/unit"
)

func decodeShort(body []byte) (forecast.ShortRange, error) {
	return nws.DecodeShort(body, place.Cell{}, time.Time{})
}

func writeShort(tb feedtest.ShortTable) map[string][]byte {
	var periods []item
	for i, v := range tb.Rain {
		chance := item{"unitCode": "wmoUnit:percent", "value": nil}
		if !math.IsNaN(v) {
			chance["value"] = v * 100
		}
		periods = append(periods, item{"startTime": tb.Start.Add(time.Duration(i) * time.Hour).Format(time.RFC3339),
			"probabilityOfPrecipitation": chance})
	}
	p := tb.Place
	return map[string][]byte{"/points/": point, gridPath + "/forecast/hourly": encode(item{
		"geometry":   item{"type": "Polygon", "coordinates": [][][]float64{{{p.Longitude, p.Latitude}}}},
		"properties": item{"updateTime": tb.Issued.Format(time.RFC3339), "periods": periods}})}
}

func TestShortConformance(t *testing.T) {
	feedtest.RunShort(t, feedtest.ShortSubject{Name: nws.Name, Step: time.Hour, ContentType: "application/geo+json",
		Open: func(t testing.TB, base string) feedtest.ShortFeed {
			f, err := nws.New(nws.Config{BaseURL: base, Contact: feedtest.Contact})
			if err != nil {
				t.Fatal(err)
			}
			return f
		},
		Write: writeShort, Decode: decodeShort, Rain: func(s forecast.ShortStep) unit.Opt { return s.RainChance }})
}

// Recorded: 156 hours, whose chances repeat an interval of the grid.
func TestARecordedHourlyProduct(t *testing.T) {
	body := feedtest.Read(t, "nws/BMX_32_69_2024-02-23_hourly.json")
	fetched := time.Date(2024, 2, 23, 19, 28, 39, 0, time.UTC)
	s, err := nws.DecodeShort(body, place.Cell{Latitude: 33.2, Longitude: -87.57}, fetched)
	if err != nil {
		t.Fatal(err)
	}
	if len(s.Steps) != 156 || !s.Steps[0].Start.Equal(fetched.Truncate(time.Hour)) ||
		s.Steps[0].RainChance != unit.Some(0) {
		t.Errorf("read %d steps from %+v on", len(s.Steps), s.Steps[0])
	}
	if err := s.CheckAhead(fetched); err != nil {
		t.Error(err)
	}
	if s.Cell = (place.Cell{Latitude: 47, Longitude: -122}); s.CheckAhead(fetched) == nil {
		t.Error("of Alabama, it serves a place on the other coast")
	}
}

func FuzzShort(f *testing.F) {
	feedtest.Seed(f)
	f.Fuzz(func(t *testing.T, body []byte) {
		feedtest.Bounded(t, func() {
			s, err := decodeShort(body)
			feedtest.SoundShort(t, &s, err)
		})
	})
}
