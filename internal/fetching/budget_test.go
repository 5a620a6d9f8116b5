package fetching

import (
	"encoding/json"
	"math/rand/v2"
	"testing"
	"time"

	"dryslot/internal/forecast"
)

var noon = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)

// TestLimitsAreNeverExceeded asks as fast as it may for simulated days and
// counts every window of every limit independently.
func TestLimitsAreNeverExceeded(t *testing.T) {
	t.Parallel()
	for trial := range uint64(20) {
		r := rand.New(rand.NewPCG(trial, 1))
		l := forecast.Limits{AtOnce: 1 + r.IntN(4), PerMinute: 20 + r.IntN(40), PerHour: 300 + r.IntN(300),
			PerDay: 2000 + r.IntN(2000), Weight: 0.5 + 2*r.Float64()}
		s := FeedState{Feed: "f"}
		now := noon
		var asked []time.Time
		var open []time.Time
		for len(asked) < 4000 && now.Sub(noon) < 60*time.Hour {
			for len(open) > 0 && r.IntN(2) == 0 {
				s.Done(open[0], now, FeedOutcome{})
				open = open[1:]
			}
			giveUp := now.Add(30*time.Second + time.Duration(len(asked)))
			wait, why := s.Take(l, purpose{}, now, giveUp)
			if wait == 0 {
				asked, open = append(asked, now), append(open, giveUp)
				if len(s.InFlight) > l.AtOnce {
					t.Fatalf("%d requests under way, %d allowed", len(s.InFlight), l.AtOnce)
				}
				now = now.Add(time.Duration(r.IntN(300)) * time.Millisecond)
				continue
			}
			if why.IsZero() {
				t.Fatal("a wait without a reason")
			}
			now = now.Add(wait)
		}
		for _, w := range []struct {
			most   int
			length time.Duration
		}{{l.PerMinute, time.Minute}, {l.PerHour, time.Hour}, {l.PerDay, 24 * time.Hour}} {
			from, most := 0, 0
			for to := range asked {
				for asked[to].Sub(asked[from]) >= w.length {
					from++
				}
				most = max(most, to-from+1)
			}
			if got := float64(most) * l.Weight; got > float64(w.most) {
				t.Errorf("trial %d: weight %.1f within %v, %d allowed", trial, got, w.length, w.most)
			}
			if got := float64(most) * l.Weight; w.length == time.Minute && got < 0.8*float64(w.most) {
				t.Errorf("trial %d: only %.1f of %d a minute were used", trial, got, w.most)
			}
		}
		if b, err := json.Marshal(s); err != nil || len(b) > 16<<10 {
			t.Errorf("the state has grown to %d bytes (%v)", len(b), err)
		}
	}
}

func TestALostRequestGivesItsPlaceBack(t *testing.T) {
	t.Parallel()
	s := FeedState{Feed: "f"}
	l := forecast.Limits{AtOnce: 1}
	if wait, _ := s.Take(l, purpose{}, noon, noon.Add(time.Minute)); wait != 0 {
		t.Fatal("the first request waits")
	}
	if wait, _ := s.Take(l, purpose{}, noon.Add(59*time.Second), noon.Add(2*time.Minute)); wait == 0 {
		t.Error("two requests at the same time")
	}
	if wait, _ := s.Take(l, purpose{}, noon.Add(time.Minute), noon.Add(2*time.Minute)); wait != 0 {
		t.Error("a request whose worker died holds its place for ever")
	}
}

func TestTheCircuitOpensSaysSoAndCloses(t *testing.T) {
	t.Parallel()
	s := FeedState{Feed: "f"}
	l := forecast.Limits{AtOnce: 10}
	now := noon
	fail := func() {
		t.Helper()
		giveUp := now.Add(time.Minute)
		if wait, why := s.Take(l, purpose{}, now, giveUp); wait != 0 {
			t.Fatalf("waits %v: %s", wait, why)
		}
		s.Done(giveUp, now, FeedOutcome{Failed: true, Why: "502"})
	}
	for range circuitAfter {
		fail()
	}
	var pauses []time.Duration
	for range 10 {
		wait, why := s.Take(l, purpose{}, now, now.Add(time.Minute))
		if wait == 0 || why.IsZero() {
			t.Fatalf("the circuit is closed after %d failures", s.Failures)
		}
		pauses = append(pauses, wait)
		now = now.Add(wait)
		fail()
	}
	for i := 1; i < len(pauses); i++ {
		if pauses[i] < pauses[i-1] || pauses[i] > circuitMost {
			t.Errorf("pauses %v", pauses)
		}
	}
	now = s.OpenUntil
	if wait, _ := s.Take(l, purpose{}, now, now.Add(time.Minute)); wait != 0 {
		t.Fatal("no request tries whether the feed is back")
	}
	if wait, _ := s.Take(l, purpose{}, now, now.Add(time.Minute+1)); wait == 0 {
		t.Error("more than one request tries whether the feed is back")
	}
	s.Done(now.Add(time.Minute), now, FeedOutcome{})
	for i := range 5 {
		if wait, why := s.Take(l, purpose{}, now, now.Add(time.Minute+time.Duration(i))); wait != 0 {
			t.Errorf("still waits %v after a success: %s", wait, why)
		}
	}
}

func TestTheProvidersWishIsKept(t *testing.T) {
	t.Parallel()
	s := FeedState{Feed: "f"}
	s.Done(noon, noon, FeedOutcome{Failed: true, Why: "429", RetryAfter: 7 * time.Minute})
	if wait, _ := s.Take(forecast.Limits{}, purpose{}, noon.Add(6*time.Minute),
		noon.Add(time.Hour)); wait != time.Minute {
		t.Errorf("waits %v", wait)
	}
}
