package fetching

import (
	"context"
	"testing"
	"time"

	"dryslot/internal/forecast"
	"dryslot/internal/message"
	"dryslot/internal/place"
)

type named string

func (n named) Name() string { return string(n) }
func (named) Fetch(context.Context, place.Cell, string, time.Time) (forecast.Forecast, error) {
	return forecast.Forecast{}, nil
}

func TestAPauseHoldsForAMomentOnly(t *testing.T) {
	t.Parallel()
	at := time.Date(2026, 6, 1, 10, 0, 0, 0, time.UTC)
	s := &Service{Feeds: []Feed{named("a"), named("b")}}
	s.pauses.Store("a", pause{at, at.Add(time.Minute), message.New("a")})
	if s.pausedFor(at) != nil {
		t.Error("nothing is known of b, and yet nothing may be asked")
	}
	s.pauses.Store("b", pause{at, at.Add(5 * time.Second), message.New("b")})
	if e := s.pausedFor(at.Add(time.Second)); e == nil || e.RetryAfter != 4*time.Second || e.Message.Code != "b" {
		t.Errorf("both are paused, the first of them for 4 s: %v", e)
	}
	if s.pausedFor(at.Add(6*time.Second)) != nil {
		t.Error("b is open again")
	}
	s.pauses.Store("b", pause{at, at.Add(time.Hour), message.New("b")})
	if s.pausedFor(at.Add(9*time.Second)) == nil || s.pausedFor(at.Add(pauseHeld+time.Second)) != nil {
		t.Errorf("what was heard is to be believed for %v", pauseHeld)
	}
}

// Cells that wait together come apart, and none before its time.
func TestWaitsAreSpread(t *testing.T) {
	t.Parallel()
	at := time.Date(2026, 6, 1, 10, 0, 0, 0, time.UTC)
	for _, wait := range []time.Duration{time.Second, time.Minute, 5 * time.Hour} {
		least, most := time.Duration(1<<62), time.Duration(0)
		for i := range 200 {
			got := spread(wait, place.Cell{Latitude: float64(i) / 20}, at)
			if got < wait || got > wait+max(20*time.Second, min(wait, 5*time.Minute)) {
				t.Fatalf("%v was spread to %v", wait, got)
			}
			least, most = min(least, got), max(most, got)
		}
		if most-least < 15*time.Second {
			t.Errorf("200 cells that wait %v come within %v", wait, most-least)
		}
	}
}
