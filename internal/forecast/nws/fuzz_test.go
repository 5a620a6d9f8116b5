package nws_test

import (
	"errors"
	"strings"
	"testing"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/forecast/feedtest"
	"dryslot/internal/forecast/nws"
	"dryslot/internal/place"
)

func FuzzDecodeGrid(f *testing.F) {
	feedtest.Seed(f)
	f.Add(raw("quantitativePrecipitation", "wmoUnit:mm", span("2022-02-03T21:00:00+00:00/P1DT3H", 1.5)))
	f.Fuzz(func(t *testing.T, body []byte) {
		feedtest.Bounded(t, func() {
			fc, err := decode(body)
			feedtest.Sound(t, &fc, err)
		})
	})
}

func FuzzDecodeHourly(f *testing.F) {
	feedtest.Seed(f)
	f.Add(hourly("50", "F", "5 to 10 mph", "Thunderstorms"))
	f.Fuzz(func(t *testing.T, body []byte) {
		feedtest.Bounded(t, func() {
			fc, err := nws.DecodeHourly(body, place.Cell{}, time.Time{})
			feedtest.Sound(t, &fc, err)
		})
	})
}

func FuzzDecodePoint(f *testing.F) {
	feedtest.Seed(f)
	f.Fuzz(func(t *testing.T, body []byte) {
		feedtest.Bounded(t, func() {
			path, err := nws.DecodePoint(body)
			if err != nil && !errors.Is(err, fault.Invalid) {
				t.Errorf("error is %v, want %v", err, fault.Invalid)
			}
			if err == nil && (!strings.HasPrefix(path, "/gridpoints/") || strings.Count(path, "/") != 3) {
				t.Errorf("the path is %q", path)
			}
		})
	})
}

// The largest bodies that are read at all, made to fill the memory.
func TestHostileBodies(t *testing.T) {
	const most = 4 << 20
	fill := func(head, part, tail string) []byte {
		return []byte(head + strings.Repeat(part, (most-len(head)-len(tail))/len(part)) + tail)
	}
	for name, body := range map[string][]byte{
		"values":   fill(`{"properties":{"temperature":{"values":[{}`, ",{}", "]}}}"),
		"weathers": fill(`{"properties":{"weather":{"values":[{"value":[{}`, ",{}", "]}]}}}"),
		"periods":  fill(`{"properties":{"periods":[{}`, ",{}", "]}}"),
		"long span": []byte(`{"properties":{"temperature":{"uom":"wmoUnit:degC","values":[` +
			span("2022-02-03T21:00:00+00:00/P99WT99H", 1) + `]}}}`),
	} {
		for _, decode := range []func() error{
			func() error { _, err := decode(body); return err },
			func() error { _, err := nws.DecodeHourly(body, place.Cell{}, time.Time{}); return err },
		} {
			feedtest.Small(t, func() {
				if err := decode(); !errors.Is(err, fault.Invalid) {
					t.Errorf("%s: error is %v, want %v", name, err, fault.Invalid)
				}
			})
		}
	}
}

func BenchmarkDecode(b *testing.B) {
	feedtest.Race(b, "nws", func(body []byte) error {
		_, err := decode(body)
		return err
	}, "nws/TAE_58_65_2022-02-04_rawgrid.json")
}

func BenchmarkDecodeHourly(b *testing.B) {
	feedtest.Race(b, "nws_hourly", func(body []byte) error {
		_, err := nws.DecodeHourly(body, place.Cell{}, time.Time{})
		return err
	}, "nws/washingtonDC_2026-02-06_hourly.json")
}
