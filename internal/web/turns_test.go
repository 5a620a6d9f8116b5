package web

import (
	"context"
	"sync"
	"testing"

	"dryslot/internal/fault"
)

func TestAnAccountTakesItsTurnsAndNoMore(t *testing.T) {
	var all turns
	var leave []func()
	for range atOnce {
		l, err := all.take(t.Context(), "a")
		if err != nil {
			t.Fatal(err)
		}
		leave = append(leave, l)
	}
	over, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := all.take(over, "a"); fault.KindOf(err) != fault.Unavailable {
		t.Errorf("one too many: %v", err)
	}
	if other, err := all.take(t.Context(), "b"); err != nil {
		t.Errorf("another account waits: %v", err)
	} else {
		other()
	}
	var waiting sync.WaitGroup
	waiting.Go(func() {
		l, err := all.take(t.Context(), "a")
		if err != nil {
			t.Error(err)
			return
		}
		l()
	})
	for _, l := range leave {
		l()
	}
	waiting.Wait()
	if len(all.of) != 0 {
		t.Errorf("%d accounts are remembered with nothing under way", len(all.of))
	}
}
