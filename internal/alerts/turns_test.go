package alerts

import (
	"context"
	"errors"
	"testing"

	"dryslot/internal/fault"
)

// One account's webhooks that never answer leave tries to the others: beyond so
// many at once its alerts are put off, and nothing is asked of the database.
func TestAnAccountHasOnlySoManyTriesAtOnce(t *testing.T) {
	t.Parallel()
	s := &Service{}
	var leave func()
	for i := range triesAtOnce {
		var ok bool
		if leave, ok = s.turns.take("greedy"); !ok {
			t.Fatalf("try %d is refused", i+1)
		}
	}
	err := s.Deliver(context.Background(), "greedy", "key")
	var f *fault.Error
	if !errors.As(err, &f) || f.Kind != fault.Unavailable || f.RetryAfter != turnRetry {
		t.Errorf("one try too many: %v", err)
	}
	others, ok := s.turns.take("other")
	if !ok {
		t.Fatal("another account has to wait")
	}
	leave()
	if _, ok = s.turns.take("greedy"); !ok {
		t.Error("the turn that was given back is not taken")
	}
	if others(); len(s.turns.of) != 1 {
		t.Errorf("%d accounts are counted, of which one has a try", len(s.turns.of))
	}
}
