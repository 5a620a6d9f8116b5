package jobs

import (
	"testing"

	"dryslot/internal/work"

	"github.com/riverqueue/river"
)

func TestWhatIsDueIsFoundBeforeAnythingIsForgotten(t *testing.T) {
	var found, forgotten river.JobArgsWithInsertOpts = look{}, tidy{}
	if a, b := found.InsertOpts(), forgotten.InsertOpts(); a.Priority < 1 || a.Priority >= b.Priority ||
		b.Priority < (work.FetchCell{}).Priority() {
		t.Errorf("priorities %d, %d", a.Priority, b.Priority)
	}
	for _, o := range []river.InsertOpts{found.InsertOpts(), forgotten.InsertOpts()} {
		if o.Queue != queueOwn || o.MaxAttempts != 1 {
			t.Errorf("%+v", o)
		}
	}
}
