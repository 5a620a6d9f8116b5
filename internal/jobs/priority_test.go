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

// A queue that nobody works keeps its jobs for ever.
func TestEveryQueueIsWorked(t *testing.T) {
	worked := queues(Options{})
	for _, w := range []work.Work{work.FetchCell{}, work.FetchShort{}, work.NextPlan{}, work.Replan{},
		work.RaiseAlerts{},
		work.Deliver{}, work.MailLink{}} {
		if worked[w.Queue()].MaxWorkers < 1 {
			t.Errorf("%s waits in the queue %q, which nobody works", w.Kind(), w.Queue())
		}
	}
}
