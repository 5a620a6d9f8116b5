// Package jobs owns the working of the queue: which job calls what of the
// service, how many at a time, and the cron schedules that look for what is
// due. It is generic over River's driver, and so knows no database.
//
// What is due is read from rows, never from memory. Periodic jobs are fired by
// the leader among all workers; a worker that starts looks once by itself,
// since a leader that was killed is replaced only after some seconds. A job
// that was killed is worked again after RescueAfter, and its row, whose lease
// has ended by then, says whether there is still something to do.
//
//	w, err := jobs.New(store.Driver(), service, jobs.Options{})
//	err = w.Start(ctx)
//	defer w.Stop(ctx)
package jobs

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"runtime"
	"time"

	"github.com/riverqueue/river"
	"github.com/riverqueue/river/riverdriver"
	"github.com/riverqueue/river/rivertype"
	"github.com/riverqueue/rivercontrib/otelriver"
	"github.com/robfig/cron/v3"

	"dryslot/internal/accounts"
	"dryslot/internal/alerts"
	"dryslot/internal/fault"
	"dryslot/internal/fetching"
	"dryslot/internal/logs"
	"dryslot/internal/projects"
	"dryslot/internal/retention"
	"dryslot/internal/traces"
	"dryslot/internal/work"
)

// How long a job may last, and from when on one that is still running is
// taken for dead.
const (
	Timeout     = 20 * time.Second
	RescueAfter = 30 * time.Second
	// StopWithin is how long a stop waits for jobs under way: they are cancelled
	// then, and go back to the queue.
	StopWithin = 8 * time.Second
)

// Schedules, as cron writes them (robfig/cron). The look-around is cheap: one
// indexed query for each sort of row.
const (
	lookAround = "@every 30s"
	tidyUp     = "17 3 * * *"
)

// queueOwn holds the periodic jobs.
const queueOwn = "watch"

// Services do the work of the jobs.
type Services struct {
	Projects  *projects.Service
	Alerts    *alerts.Service
	Fetching  *fetching.Service
	Retention *retention.Service
	Accounts  *accounts.Service
}

// EnqueueDue looks for what is due in the rows and enqueues it. What cannot be
// listed keeps nothing else from being found.
func (s Services) EnqueueDue(ctx context.Context) error {
	return errors.Join(s.Alerts.EnqueueDue(ctx), s.Projects.EnqueueDue(ctx), s.Fetching.EnqueueDue(ctx))
}

// Options tune the worker. The zero value suits one machine.
type Options struct {
	PollOnly bool         // without LISTEN, for poolers that share connections
	Fetchers int          // fetches at a time; 0: 8
	Planners int          // plans at a time; 0: one a processor, one of them left to what waits on others
	Alerters int          // deliveries at a time; 0: 8
	Log      *slog.Logger // nil: nothing is logged
	// Traces makes a span of each job; nil: nobody does.
	Traces traces.Provider
	// Observe takes how long each job took; nil: nobody does.
	Observe func(kind string, err error, took time.Duration)
}

// Worker works the queue.
type Worker[TTx any] struct {
	client *river.Client[TTx]
	tick   func(context.Context) error
	log    *slog.Logger
}

// New returns a worker, not yet started. An error says which setting or
// schedule can't be used.
func New[TTx any](driver riverdriver.Driver[TTx], s Services, o Options) (*Worker[TTx], error) {
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	periodic, err := schedules()
	if err != nil {
		return nil, err
	}
	var around []rivertype.Middleware
	if o.Traces != nil {
		around = append(around, otelriver.NewMiddleware(&otelriver.MiddlewareConfig{TracerProvider: o.Traces,
			EnableWorkSpanJobKindSuffix: true}))
	}
	client, err := river.NewClient(driver, &river.Config{Middleware: around,
		Queues: queues(o), Workers: workers(s, o.Observe), PeriodicJobs: periodic, PollOnly: o.PollOnly,
		JobTimeout: Timeout, RescueStuckJobsAfter: RescueAfter,
		ReindexerSchedule:           river.NeverSchedule(), // the service's role owns no index
		CompletedJobRetentionPeriod: time.Hour,             // what happened is kept in our own rows
		SoftStopTimeout:             StopWithin,
		Logger:                      slog.New(onlyWarnings{o.Log.Handler()}),
		ErrorHandler:                &reporter{o.Log},
	})
	if err != nil {
		return nil, fmt.Errorf("jobs: set up the queue: %w", err)
	}
	return &Worker[TTx]{client, s.EnqueueDue, o.Log}, nil
}

// queues says how many jobs of each queue are worked at a time.
func queues(o Options) map[string]river.QueueConfig {
	return map[string]river.QueueConfig{
		work.QueueFetch: {MaxWorkers: or(o.Fetchers, 8)},
		work.QueueShort: {MaxWorkers: or(o.Fetchers, 8)},
		work.QueueTurns: {MaxWorkers: or(o.Planners, max(1, runtime.GOMAXPROCS(0)-1))},
		work.QueuePlan:  {MaxWorkers: 1}, // jobs of a version before this one
		work.QueueAlert: {MaxWorkers: or(o.Alerters, 8)},
		work.QueueMail:  {MaxWorkers: or(o.Alerters, 8)},
		work.QueueTold:  {MaxWorkers: 1},
		queueOwn:        {MaxWorkers: 2}, // who looks for what is due does not wait for who tidies up
	}
}

// Start begins working, and looks at once for what came due while nobody did.
func (w *Worker[TTx]) Start(ctx context.Context) error {
	if err := w.client.Start(ctx); err != nil {
		return fmt.Errorf("jobs: start: %w", err)
	}
	if err := w.tick(ctx); err != nil {
		w.log.ErrorContext(ctx, "looking for what is due at the start", "error", err) // the schedule looks again soon
	}
	return nil
}

// Stop lets jobs under way end, for as long as ctx allows, and stops.
func (w *Worker[TTx]) Stop(ctx context.Context) error {
	err := w.client.Stop(ctx)
	if err != nil && ctx.Err() != nil {
		stop, cancel := context.WithTimeout(context.WithoutCancel(ctx), 5*time.Second)
		defer cancel()
		err = w.client.StopAndCancel(stop)
	}
	if err != nil {
		return fmt.Errorf("jobs: stop: %w", err)
	}
	return nil
}

// look and tidy are the periodic jobs.
type (
	look struct{}
	tidy struct{}
)

func (look) Kind() string { return "look_around" }
func (tidy) Kind() string { return "tidy_up" }

// InsertOpts has what is due found before anything is forgotten. Neither is
// tried again: the schedule brings the next.
func (look) InsertOpts() river.InsertOpts {
	return river.InsertOpts{Queue: queueOwn, MaxAttempts: 1, Priority: 1}
}

func (tidy) InsertOpts() river.InsertOpts {
	return river.InsertOpts{Queue: queueOwn, MaxAttempts: 1, Priority: 4}
}

func schedules() ([]*river.PeriodicJob, error) {
	var out []*river.PeriodicJob
	for spec, args := range map[string]river.JobArgs{lookAround: look{}, tidyUp: tidy{}} {
		schedule, err := cron.ParseStandard(spec)
		if err != nil {
			return nil, fmt.Errorf("jobs: schedule %q: %w", spec, err)
		}
		out = append(out, river.NewPeriodicJob(schedule, func() (river.JobArgs, *river.InsertOpts) { return args, nil },
			&river.PeriodicJobOpts{RunOnStart: args.Kind() == look{}.Kind()}))
	}
	return out, nil
}

// workers says which job calls what.
func workers(s Services, observe func(string, error, time.Duration)) *river.Workers {
	if observe == nil {
		observe = func(string, error, time.Duration) {}
	}
	w := &timed{river.NewWorkers(), observe}
	add(w, func(ctx context.Context, a work.FetchCell) error { return s.Fetching.Refresh(ctx, a.Cell) })
	add(w, func(ctx context.Context, a work.FetchShort) error { return s.Fetching.RefreshShort(ctx, a.Cell) })
	add(w, func(ctx context.Context, _ work.NextPlan) error { return s.Projects.MakeNext(ctx) })
	add(w, func(ctx context.Context, a work.Replan) error {
		_, err := s.Projects.Reconsider(ctx, a.Account, a.Project, a.Because)
		return err
	})
	add(w, func(ctx context.Context, a work.RaiseAlerts) error {
		return s.Projects.RaiseAlerts(ctx, a.Account, a.Project)
	})
	add(w, func(ctx context.Context, a work.Deliver) error { return s.Alerts.Deliver(ctx, a.Account, a.Key) })
	add(w, func(ctx context.Context, a work.MailLink) error { return s.Accounts.SendLink(ctx, a.Order) })
	add(w, func(ctx context.Context, a work.MailNotice) error { return s.Accounts.SendNotice(ctx, a.Order) })
	add(w, func(ctx context.Context, _ look) error { return s.EnqueueDue(ctx) })
	add(w, func(ctx context.Context, _ tidy) error { return s.Retention.Prune(ctx) })
	return w.Workers
}

// timed is a set of workers whose jobs are timed.
type timed struct {
	*river.Workers
	observe func(kind string, err error, took time.Duration)
}

func add[A river.JobArgs](w *timed, work func(context.Context, A) error) {
	river.AddWorker(w.Workers, river.WorkFunc(func(ctx context.Context, job *river.Job[A]) error {
		begun := time.Now()
		ctx = logs.With(ctx, slog.Int64("job", job.ID))
		err := work(ctx, job.Args)
		w.observe(job.Kind, err, time.Since(begun))
		return verdict(ctx, err)
	}))
}

// verdict tells River what to do with a job: one whose subject has gone is
// done, one that was cut off by a stop goes back to the queue, one that asks for
// patience sleeps until then, any other error is tried again a few times.
func verdict(ctx context.Context, err error) error {
	var e *fault.Error
	switch {
	case err == nil || errors.Is(err, fault.NotFound):
		return nil
	case errors.Is(ctx.Err(), context.Canceled):
		return river.JobSnooze(0)
	case errors.As(err, &e) && e.Kind == fault.Unavailable && e.RetryAfter > 0:
		return river.JobSnooze(e.RetryAfter + 20*time.Millisecond) // clocks are rounded: not a moment too early
	}
	return err
}

func or(n, otherwise int) int {
	if n > 0 {
		return n
	}
	return otherwise
}

// reporter logs jobs that failed.
type reporter struct{ log *slog.Logger }

func (r *reporter) HandleError(ctx context.Context, job *rivertype.JobRow, err error) *river.ErrorHandlerResult {
	r.log.ErrorContext(ctx, "job failed", "job", job.ID, "kind", job.Kind, "attempt", job.Attempt, "error", err)
	return nil
}

func (r *reporter) HandlePanic(ctx context.Context, job *rivertype.JobRow, v any,
	trace string) *river.ErrorHandlerResult {
	r.log.ErrorContext(ctx, "job panicked", "job", job.ID, "kind", job.Kind, "attempt", job.Attempt, "panic", v,
		"trace", trace)
	return nil
}

// onlyWarnings keeps River's own chatter out of the log.
type onlyWarnings struct{ slog.Handler }

func (onlyWarnings) Enabled(_ context.Context, l slog.Level) bool { return l >= slog.LevelWarn }
