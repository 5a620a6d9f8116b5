package web

import (
	"fmt"
	"testing"
	"testing/quick"
	"time"
)

// Whatever the pace, a key gets at most its requests of a window at once and then
// no more than its share, and never waits longer than the window.
func TestAKeyGetsItsShareAndNoMore(t *testing.T) {
	t.Parallel()
	check := func(gaps []uint16, most uint8) bool {
		n := int(most)%60 + 1
		var r rates
		now := time.Date(2026, 5, 1, 8, 0, 0, 0, time.UTC)
		begun, taken := now, 0
		for _, gap := range gaps {
			now = now.Add(time.Duration(gap) * time.Millisecond)
			got := r.take("a", n, now)
			if got.wait == 0 {
				taken++
			}
			if got.left < 0 || got.left >= n || got.wait < 0 || got.wait > rateWindow || got.reset <= 0 ||
				got.reset > rateWindow {
				return false
			}
			if float64(taken) > float64(n)*(1+now.Sub(begun).Seconds()/rateWindow.Seconds())+1 {
				return false
			}
		}
		return true
	}
	if err := quick.Check(check, &quick.Config{MaxCount: 500}); err != nil {
		t.Error(err)
	}
}

func TestKeysAreApartAndTheirNumberIsBounded(t *testing.T) {
	t.Parallel()
	var r rates
	now := time.Date(2026, 5, 1, 8, 0, 0, 0, time.UTC)
	for range 3 {
		r.take("greedy", 3, now)
	}
	if wait := r.take("greedy", 3, now).wait; wait <= 0 || wait > rateWindow {
		t.Errorf("the fourth of three waits %v", wait)
	}
	if wait := r.take("other", 3, now).wait; wait != 0 {
		t.Errorf("another key waits %v", wait)
	}
	for i := range mostRates + 10 {
		r.take(fmt.Sprint(i), 3, now.Add(2*rateWindow))
	}
	if len(r.full) > mostRates {
		t.Errorf("%d keys are remembered", len(r.full))
	}
	if wait := r.take("greedy", 3, now.Add(4*rateWindow)).wait; wait != 0 {
		t.Errorf("after its time it waits %v", wait)
	}
	if len(r.full) > 2 {
		t.Errorf("%d keys are remembered after their time", len(r.full))
	}
}
