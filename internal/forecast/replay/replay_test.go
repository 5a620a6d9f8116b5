package replay_test

import (
	"context"
	"math/rand"
	"reflect"
	"testing"
	"time"

	"dryslot/internal/forecast"
	"dryslot/internal/forecast/replay"
	"dryslot/internal/place"
)

func fetch(t *testing.T, cell place.Cell, now time.Time) forecast.Forecast {
	t.Helper()
	fc, err := replay.Feed{}.Fetch(context.Background(), cell, "", now)
	if err != nil {
		t.Fatalf("%v at %v: %v", cell, now, err)
	}
	return fc
}

// Any place and any instant: the hours hold now and lie whole, every value is
// known or computed, and the same day gives the same weather.
func TestAnyPlaceAnySeason(t *testing.T) {
	r := rand.New(rand.NewSource(1))
	for range 60 {
		cell := place.CellOf(r.Float64()*180-90, r.Float64()*360-180)
		now := time.Date(2020+r.Intn(20), 1, 1, 0, r.Intn(366*24*60), 0, 0, time.UTC)
		fc := fetch(t, cell, now)
		if err := fc.Usable(); err != nil {
			t.Fatal(err)
		}
		first, last := fc.Hours[0].Start, fc.Hours[len(fc.Hours)-1].Start
		if now.Sub(first) < 48*time.Hour || last.Sub(now) < 15*24*time.Hour-time.Hour {
			t.Fatalf("%v: hours from %v to %v do not reach from two days before to fifteen days after %v", cell, first,
				last, now)
		}
		for i := range fc.Hours {
			if want := first.Add(time.Duration(i) * time.Hour); !fc.Hours[i].Start.Equal(want) || want.Minute() != 0 {
				t.Fatalf("%v: hour %d starts at %v, want %v", cell, i, fc.Hours[i].Start, want)
			}
		}
		again := fetch(t, cell, now)
		if !reflect.DeepEqual(fc.Hours, again.Hours) {
			t.Fatalf("%v at %v: the same question got two answers", cell, now)
		}
		fc.Fill()
		for i := range fc.Hours {
			for v := range forecast.NumVariables {
				if !fc.Hours[i].Get(v).Known {
					t.Fatalf("%v at %v: %v is unknown", cell, fc.Hours[i].Start, v)
				}
			}
		}
	}
}

// The weather of a demonstration has all that a demonstration wants to show.
func TestTheStory(t *testing.T) {
	cell := place.CellOf(52.1, -1.3)
	for month := time.January; month <= time.December; month++ {
		now := time.Date(2027, month, 12, 18, 0, 0, 0, time.UTC)
		fc := fetch(t, cell, now)
		day := func(lead int) []forecast.Hour { return fc.Hours[(lead+2)*24:][:24] }
		sum := func(hours []forecast.Hour, v forecast.Variable) (s float64) {
			for i := range hours {
				s += hours[i].Get(v).V
			}
			return s
		}
		if mm := sum(day(1)[5:17], forecast.RainMM); mm != 0 {
			t.Errorf("%v: tomorrow's working hours get %v mm, want a dry window", month, mm)
		}
		if mm := sum(day(1)[17:], forecast.RainMM); mm < 1 {
			t.Errorf("%v: tomorrow's evening gets %v mm, want showers", month, mm)
		}
		if mm := sum(day(3), forecast.RainMM); mm < 10 {
			t.Errorf("%v: the rainy day gets %v mm, want 10 or more", month, mm)
		}
		if mm := sum(day(5), forecast.RainMM) + sum(day(6), forecast.RainMM); mm != 0 {
			t.Errorf("%v: the fine days get %v mm", month, mm)
		}
		low := func(hours []forecast.Hour) float64 {
			l := 99.0
			for i := range hours {
				l = min(l, hours[i].Get(forecast.AirC).V)
			}
			return l
		}
		if cold, fine := low(day(4)), low(day(6)); cold > fine-1 {
			t.Errorf("%v: the cold night falls to %v C, the fine one to %v C", month, cold, fine)
		}
		thunder := sum(day(2), forecast.ThunderChance)
		if summer := month >= time.June && month <= time.August; summer != (thunder > 0) &&
			(summer || month == time.January) {
			t.Errorf("%v: %v hours of thunder in the showery day", month, thunder)
		}
	}
}

func TestItSaysWhatItIs(t *testing.T) {
	fc := fetch(t, place.CellOf(10, 10), time.Date(2026, 5, 5, 5, 5, 0, 0, time.UTC))
	if got := fc.Sources[0]; got.Feed != "replay" || got.Attribution != "sample weather, not for real pours" {
		t.Errorf("source is %+v", got)
	}
}

func TestAStoppedQuestionIsNotAnswered(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := (replay.Feed{}).Fetch(ctx, place.Cell{}, "", time.Unix(0, 0)); err == nil {
		t.Error("a cancelled fetch returned a forecast")
	}
}
