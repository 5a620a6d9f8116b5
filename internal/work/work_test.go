package work

import (
	"testing"
	"time"
)

// Each further failure doubles the wait, up to the most, of which at least half
// is kept whatever the jitter; many failures never overflow.
func TestBackoffDoublesUpToTheMost(t *testing.T) {
	t.Parallel()
	const first, most = 15 * time.Second, 5 * time.Minute
	for n, full := range map[int]time.Duration{0: first, 1: first, 2: 2 * first, 3: 4 * first, 5: 16 * first, 6: most,
		40: most, 1 << 30: most} {
		full = min(full, most)
		for _, key := range []string{"a", "b", "c"} {
			if d := Backoff(first, most, key, n); d < full/2 || d > full {
				t.Errorf("failure %d of %s: %v, want from %v to %v", n, key, d, full/2, full)
			}
		}
	}
	if Jitter(time.Hour, "a", 1) == Jitter(time.Hour, "b", 1) {
		t.Error("jitter must differ from key to key")
	}
}

// A queue is worked by priority, and alerts that were raised come first.
func TestPrioritiesAreThoseOfTheQueue(t *testing.T) {
	t.Parallel()
	for _, w := range []Work{FetchCell{}, FetchShort{}, NextPlan{}, Replan{}, RaiseAlerts{}, Deliver{}, MailLink{}} {
		if p := w.Priority(); p < 1 || p > 4 {
			t.Errorf("%s has priority %d, which the queue does not know", w.Kind(), p)
		}
		if len(w.Kind()) < 2 {
			t.Errorf("%q is too short for a kind of the queue", w.Kind())
		}
	}
	if (Deliver{}).Priority() >= (RaiseAlerts{}).Priority() {
		t.Error("a raised alert must be delivered before more are raised")
	}
}
