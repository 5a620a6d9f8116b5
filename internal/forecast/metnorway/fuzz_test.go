package metnorway_test

import (
	"strings"
	"testing"

	"dryslot/internal/forecast/feedtest"
)

func FuzzDecode(f *testing.F) {
	feedtest.Seed(f)
	f.Add(document(step(0, 1, block("next_1_hours", "rain", 2)), step(1, 1, block("next_6_hours", "sleet", 3)),
		step(7, 1, "")))
	f.Fuzz(func(t *testing.T, body []byte) {
		feedtest.Bounded(t, func() {
			fc, err := decode(body)
			feedtest.Sound(t, &fc, err)
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
		"steps":      fill(`{"properties":{"timeseries":[{}`, ",{}", "]}}"),
		"units":      fill(`{"properties":{"meta":{"units":{"a":""`, `,"a":""`, "}}}}"),
		"other text": fill(`{"other":[""`, `,""`, "]}"),
		"deep":       fill(`{"properties":`, `{"properties":`, ""),
	} {
		feedtest.Small(t, func() {
			fc, err := decode(body)
			feedtest.Sound(t, &fc, err)
		})
		if t.Failed() {
			t.Fatal(name)
		}
	}
}

func BenchmarkDecode(b *testing.B) {
	feedtest.Race(b, "metnorway", func(body []byte) error {
		_, err := decode(body)
		return err
	}, "met-norway/london_2020-07-20_complete_82steps.json", "met-norway/newyork_2020-07-20_compact_82steps.json")
}
