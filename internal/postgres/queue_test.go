package postgres_test

import (
	"context"
	"log/slog"
	"strings"
	"testing"
	"time"

	"github.com/riverqueue/river"

	"dryslot/internal/postgres"
	"dryslot/internal/work"
)

type replanner struct {
	river.WorkerDefaults[work.NextPlan]
	did chan work.NextPlan
}

func (r *replanner) Work(_ context.Context, job *river.Job[work.NextPlan]) error {
	r.did <- job.Args
	return nil
}

// The service's role, which owns nothing, can work the queue: listen, lead,
// look after it and finish jobs.
func TestTheServicesRoleWorksTheQueue(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := w.newProject(t)
	complaint := make(chan string, 10)
	worker := &replanner{did: make(chan work.NextPlan, 1)}
	workers := river.NewWorkers()
	river.AddWorker(workers, worker)
	client, err := river.NewClient(w.Driver(), &river.Config{
		Queues: map[string]river.QueueConfig{work.QueueTurns: {MaxWorkers: 1}}, Workers: workers,
		ReindexerSchedule: river.NeverSchedule(), Logger: slog.New(&complaints{to: complaint}),
		JobTimeout: 20 * time.Second, RescueStuckJobsAfter: 30 * time.Second,
	})
	must(t, err)
	events, cancel := client.Subscribe(river.EventKindJobCompleted)
	defer cancel()
	must(t, client.Start(context.Background()))
	want := work.NextPlan{}
	w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error {
		return tx.Enqueue(ctx, work.Replan{Account: w.account, Project: p.ID, Because: "asked for"})
	})
	if got := <-worker.did; got != want {
		t.Errorf("worked %+v, want %+v", got, want)
	}
	<-events
	must(t, client.Stop(context.Background()))
	if n := query[int](t, w, "select count(*) from river_job where state = 'completed'"); n != 1 {
		t.Errorf("%d jobs are completed, want 1", n)
	}
	for len(complaint) > 0 {
		t.Errorf("the queue complains: %s", <-complaint)
	}
}

// complaints passes on what is logged of rights that lack, which PostgreSQL
// calls permission denied (42501); a slow machine brings warnings of its own.
type complaints struct{ to chan string }

func (c *complaints) Enabled(_ context.Context, l slog.Level) bool { return l >= slog.LevelWarn }
func (c *complaints) WithAttrs([]slog.Attr) slog.Handler           { return c }
func (c *complaints) WithGroup(string) slog.Handler                { return c }
func (c *complaints) Handle(_ context.Context, r slog.Record) error {
	text := r.Message
	r.Attrs(func(a slog.Attr) bool { text += " " + a.String(); return true })
	if !strings.Contains(text, "denied") && !strings.Contains(text, "42501") {
		return nil
	}
	select {
	case c.to <- text:
	default:
	}
	return nil
}
