package watch

import (
	"context"
	"time"

	"dryslot/internal/fetching"
	"dryslot/internal/forecast"
	"dryslot/internal/message"
	"dryslot/internal/notify"
	"dryslot/internal/paging"
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

	// AccountByToken returns the account of a bearer token, else, and of one that
	// was revoked, fault.Forbidden.
	AccountByToken(ctx context.Context, token string) (string, error)
	// EnsureToken makes sure that an account with this token exists. One that was
	// revoked is fault.Conflict.
	EnsureToken(ctx context.Context, token string) (account string, err error)
	// ProjectByCalendarKey returns whose project a calendar key opens, else fault.NotFound.
	ProjectByCalendarKey(ctx context.Context, key string) (account, project string, err error)

	// Figures returns how the service stands at now, over all accounts: numbers
	// and times only.
	Figures(ctx context.Context, now time.Time) (Figures, error)

	// Ready reports whether the database answers and is migrated.
	Ready(ctx context.Context) error
}

// MostEntries bounds a project's log, from which each plan is made. Judgement:
// the largest project has 500 pads, and each is placed, finished and stripped,
// with room for losses, rain and notes.
const MostEntries = 5000

// Tx is one account's transaction.
type Tx interface {
	CreateProject(ctx context.Context, p pour.Project, at time.Time) (pour.Project, error) // gives ID, Revision 1, CalendarKey
	Project(ctx context.Context, id string) (pour.Project, error)                          // fault.NotFound
	LockProject(ctx context.Context, id string) (pour.Project, error)                      // the same, for update: one writer at a time
	Projects(ctx context.Context, page paging.Page) (items []pour.Project, next string, err error)
	UpdateProject(ctx context.Context, p pour.Project, revision int64) (pour.Project, error) // fault.Stale unless at that revision; fault.Conflict when a pad with log entries would go
	DeleteProject(ctx context.Context, id string) error

	// AppendLog gives the entry an ID unless it has one; fault.Conflict when that
	// is taken, fault.Invalid when the log holds MostEntries already.
	AppendLog(ctx context.Context, project string, e pour.LogEntry) (pour.LogEntry, error)
	Entry(ctx context.Context, project, id string) (pour.LogEntry, error) // fault.NotFound
	Log(ctx context.Context, project string, page paging.Page) (items []pour.LogEntry, next string, err error)
	WholeLog(ctx context.Context, project string) ([]pour.LogEntry, error) // in order of At, then of recording
	// LogsForPlans returns the logs of several projects, by their ids, as far as
	// plans are made from them: in the same order, without notes and texts.
	LogsForPlans(ctx context.Context, projects []string) (map[string][]pour.LogEntry, error)

	AddPlan(ctx context.Context, project string, k KeptPlan) (KeptPlan, error) // gives the version, one above the highest
	// KeepMornings puts the mornings and the forecast of the current plan, scored
	// again, in place of those before; fault.Stale when k is not the current one.
	KeepMornings(ctx context.Context, project string, k KeptPlan) error
	CurrentPlan(ctx context.Context, project string) (KeptPlan, error)              // fault.NotFound before the first
	PlanVersion(ctx context.Context, project string, version int) (KeptPlan, error) // without mornings unless it is the current one
	Plans(ctx context.Context, project string, page paging.Page) (items []pour.Plan, next string, err error)

	// DaySteps returns the steps of the days of several projects, by their ids.
	DaySteps(ctx context.Context, projects []string) (map[string][]today.Step, error)
	// KeepDaySteps keeps a project's in place of those before.
	KeepDaySteps(ctx context.Context, project string, steps []today.Step) error

	AddRecipient(ctx context.Context, r notify.Recipient) (notify.Recipient, error) // gives ID
	Recipients(ctx context.Context, project string) ([]notify.Recipient, error)
	DeleteRecipient(ctx context.Context, project, id string) error

	// AddAlert keeps an alert as due unless its key is there already; added tells which.
	AddAlert(ctx context.Context, a notify.Alert) (added bool, err error)
	Alerts(ctx context.Context, project string, page paging.Page) (items []Delivery, next string, err error)
	// Alert returns one delivery by key, locked for this transaction.
	Alert(ctx context.Context, key string) (Delivery, error)
	// LeaseAlert takes the delivery for one try until a time, and counts the
	// try; false when another holds it or when it is sent or failed already.
	LeaseAlert(ctx context.Context, key string, now, until time.Time) (bool, error)
	// SettleAlert records the outcome of a try, or that the next has to wait.
	// Sent stays sent, and wins whenever it comes. Any other outcome counts only
	// while no other try was begun: the newest of them knows best, and holds the
	// alert until it has said so.
	SettleAlert(ctx context.Context, key string, o Outcome) error

	// Remembered returns the answer kept under an idempotency key, else fault.NotFound.
	// It takes the key for this transaction: a second taker meanwhile gets fault.Conflict.
	Remembered(ctx context.Context, route, key string, now time.Time) (Answer, error)
	Remember(ctx context.Context, route, key string, a Answer, now time.Time) error
	// ForgetAnswers forgets up to limit answers that are older than they are
	// kept, and sets when the account is due for it again.
	ForgetAnswers(ctx context.Context, now time.Time, limit int) error

	// SetDue says when a project next wants looking at; zero times are never.
	SetDue(ctx context.Context, project string, d Due) error

	// WatchCell makes sure that a cell's forecast is fetched, first at the given time.
	WatchCell(ctx context.Context, cell place.Cell, project string, first time.Time) error
	// Forecast returns the newest forecast of a cell, else fault.NotFound.
	Forecast(ctx context.Context, cell place.Cell) (forecast.Kept, error)
	// ForecastByID returns a forecast that a plan was made from, while it is kept.
	ForecastByID(ctx context.Context, id int64) (forecast.Kept, error)
	CellState(ctx context.Context, cell place.Cell) (fetching.CellState, error)

	// LogRain keeps rain that a builder saw fall in each of the cell's hours
	// from start on, for verifying: no account is named.
	LogRain(ctx context.Context, cell place.Cell, start time.Time, hours int, mmEach float64) error

	// Enqueue adds work to be done after this transaction commits.
	Enqueue(ctx context.Context, w ...work.Work) error
}

// SystemTx is a transaction over what belongs to no account.
type SystemTx interface {
	// DueProjects leases up to limit projects whose time for an alert or a
	// replan has come, so that they are not listed again before the lease ends.
	// SetDue ends a lease.
	DueProjects(ctx context.Context, now, lease time.Time, limit int) ([]work.ProjectRef, error)
	// DueDeliveries lists deliveries that are due and not leased.
	DueDeliveries(ctx context.Context, now time.Time, limit int) ([]work.DeliveryRef, error)
	// Prune forgets sessions, cells, forecasts, chances and logged rain older
	// than they are kept, up to limit rows of each, except forecasts that a
	// current plan was made from. More tells that a limit was reached.
	Prune(ctx context.Context, now time.Time, limit int) (more bool, err error)
	// DueAccounts lists up to limit accounts of which something is to be
	// forgotten.
	DueAccounts(ctx context.Context, now time.Time, limit int) ([]string, error)
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
}

// DeliveryState is how far an alert has come.
type DeliveryState string

// The states of a delivery.
const (
	DeliveryDue      DeliveryState = "due"
	DeliveryRetrying DeliveryState = "retrying"
	DeliverySent     DeliveryState = "sent"
	DeliveryFailed   DeliveryState = "failed"
)

// Delivery is an alert with what became of it.
type Delivery struct {
	notify.Alert
	State     DeliveryState
	Tries     int
	Reason    string // why the last try failed, or why it was given up
	NextTryAt time.Time
	SettledAt time.Time
}

// Outcome is what became of one try.
type Outcome struct {
	Try       int           // which, from 1; 0: none was made
	State     DeliveryState // sent, retrying or failed; due: none was made yet
	Reason    string
	At        time.Time
	NextTryAt time.Time // when neither sent nor failed
}

// Answer is a response kept for a repeated request.
type Answer struct {
	BodyHash []byte // of the request
	Status   int
	Header   map[string]string
	Body     []byte
}

// Channel delivers one message to one recipient. An error that is
// fault.Invalid is final; any other may be tried again.
type Channel interface {
	Kind() string // email or webhook
	Send(ctx context.Context, to notify.Recipient, m notify.Message) error
}
