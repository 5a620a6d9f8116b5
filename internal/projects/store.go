package projects

import (
	"context"
	"time"

	"dryslot/internal/forecast"
	"dryslot/internal/message"
	"dryslot/internal/photo"
	"dryslot/internal/place"
	"dryslot/internal/planner/job"
	"dryslot/internal/pour"
	"dryslot/internal/today"
	"dryslot/internal/work"
)

// Store keeps everything. Rows of one account are reached only through
// InAccount; what serves all accounts (forecasts by cell, due rows, tokens)
// holds ids only, or public weather.
type Store interface {
	// InAccount runs fn in one transaction that sees one account's rows only.
	// It commits when fn returns nil, and undoes everything otherwise. Called
	// with the context that fn was given, and for the same account, it joins the
	// transaction that is open and leaves the end of it to the outermost call: so
	// an answer kept under an idempotency key commits with its effect.
	InAccount(ctx context.Context, account string, fn func(context.Context, Tx) error) error

	// InSystem runs fn in one transaction that sees no account's rows.
	InSystem(ctx context.Context, fn func(context.Context, SystemTx) error) error
}

// MostEntries bounds a project's log, from which each plan is made. Judgement:
// the largest project has 500 pads, and each is placed, finished and stripped,
// with room for losses, rain and notes.
const MostEntries = 5000

// Tx is one account's transaction.
type Tx interface {
	// gives ID, Revision 1, CalendarKey
	CreateProject(ctx context.Context, p pour.Project, at time.Time) (pour.Project, error)
	// CountProjects counts the account's, and has others who count them wait
	// until this transaction ends.
	CountProjects(ctx context.Context) (int, error)
	Project(ctx context.Context, id string) (pour.Project, error) // fault.NotFound
	// the same, for update: one writer at a time
	LockProject(ctx context.Context, id string) (pour.Project, error)
	// fault.Stale unless at that revision; fault.Conflict when a pad with log entries would go
	UpdateProject(ctx context.Context, p pour.Project, revision int64) (pour.Project, error)
	DeleteProject(ctx context.Context, id string) error

	// AppendLog gives the entry an ID unless it has one; fault.Conflict when that
	// is taken, fault.Invalid when the log holds MostEntries already.
	AppendLog(ctx context.Context, project string, e pour.LogEntry) (pour.LogEntry, error)
	Entry(ctx context.Context, project, id string) (pour.LogEntry, error) // fault.NotFound
	// LogsForPlans returns the logs of several projects, by their ids, as far as
	// plans are made from them: in the same order, without notes and texts.
	LogsForPlans(ctx context.Context, projects []string) (map[string][]pour.LogEntry, error)

	AddPhoto(ctx context.Context, project string, p photo.Photo) (id string, err error)
	Photos(ctx context.Context, project string) ([]photo.Photo, error) // without their JPEG
	// fault.Conflict where an entry shows it, a voided one too; fault.NotFound
	DeletePhoto(ctx context.Context, project, id string) error

	// gives the version, one above the highest
	AddPlan(ctx context.Context, project string, k KeptPlan) (KeptPlan, error)
	// KeepMornings puts the mornings and the forecast of the current plan, scored
	// again, in place of those before; fault.Stale when k is not the current one.
	KeepMornings(ctx context.Context, project string, k KeptPlan) error
	CurrentPlan(ctx context.Context, project string) (KeptPlan, error) // fault.NotFound before the first

	// DaySteps returns the steps of the days of several projects, by their ids.
	DaySteps(ctx context.Context, projects []string) (map[string][]today.Step, error)
	// KeepDaySteps keeps a project's in place of those before.
	KeepDaySteps(ctx context.Context, project string, steps []today.Step) error

	// SetDue says when a project next wants looking at; zero times are never.
	SetDue(ctx context.Context, project string, d Due) error

	// WatchCell makes sure that a cell's forecast is fetched, first at the given time.
	WatchCell(ctx context.Context, cell place.Cell, project string, first time.Time) error
	// Forecast returns the newest forecast of a cell, else fault.NotFound.
	Forecast(ctx context.Context, cell place.Cell) (forecast.Kept, error)
	// ShortRange returns the newest short-range product of a cell; nil: none.
	ShortRange(ctx context.Context, cell place.Cell) (*forecast.ShortRange, error)

	// KeepSeenRain keeps the rain that the builder of a project saw in hours of the
	// cell since a time, in place of what was kept of them, for verifying: other
	// accounts do not see whose it is. No hour is given twice.
	KeepSeenRain(ctx context.Context, project string, cell place.Cell, since time.Time, seen []SeenRain) error

	// Enqueue adds work to be done after this transaction commits.
	Enqueue(ctx context.Context, w ...work.Work) error
}

// SystemTx is a transaction over what belongs to no account.
type SystemTx interface {
	// DueProjects leases up to limit projects whose time for an alert or a
	// replan has come, so that they are not listed again before the lease ends.
	// SetDue ends a lease.
	DueProjects(ctx context.Context, now, lease time.Time, limit int) ([]work.ProjectRef, error)
	// TakeTurn takes the plan that is next, for as long as a lease: accounts take
	// turns, and each account's plans come in the order in which they were asked
	// for. False: nothing waits, or all is under way.
	TakeTurn(ctx context.Context, lease time.Duration) (Turn, bool, error)
	// EndTurn forgets a plan that was made; one that was asked for meanwhile
	// stays, and is free at once.
	EndTurn(ctx context.Context, t Turn) error
	// PutBack frees a turn after a wait. Failed counts against it.
	PutBack(ctx context.Context, t Turn, wait time.Duration, failed bool) error
	// LostTurns counts the plans that wait without a job that would take them.
	LostTurns(ctx context.Context) (int, error)
	Enqueue(ctx context.Context, w ...work.Work) error
}

// KeptPlan is a plan with the mornings it was chosen from and its forecast. A
// plan that comes out the same under newer weather stays, with newer mornings.
type KeptPlan struct {
	Plan        pour.Plan
	Mornings    []job.Morning     // of the current plan; those of plans before are not kept
	ForecastID  int64             // 0: made before the first forecast
	Confirmed   time.Time         // when the forecast was found to be the newest still; zero: not since it was fetched
	ChangesData []message.Message // against the version before; of one of before codes were kept, its texts
	Changes     []string          // against the version before, in words
}

// Turn is a plan that is asked for, taken by one worker.
type Turn struct {
	work.Replan
	Asked int64 // how often until it was taken
	Tries int   // that failed before, in a row
}

// Due is when a project next wants something.
type Due struct {
	NextAlertAt time.Time
	NextPlanAt  time.Time // the next local midnight, or when a state will have changed
	Finished    bool      // no pad is left: newer weather changes nothing
	LiveUntil   time.Time // a crew is at work or concrete is soft until then, unless it is looked at again
}
