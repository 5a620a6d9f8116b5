package web

import (
	"context"
	"time"

	"dryslot/internal/alerts"
	"dryslot/internal/fetching"
	"dryslot/internal/forecast"
	"dryslot/internal/idempotency"
	"dryslot/internal/notify"
	"dryslot/internal/paging"
	"dryslot/internal/photo"
	"dryslot/internal/place"
	"dryslot/internal/pour"
	"dryslot/internal/projects"
)

// Tx is one account's transaction, as far as the API and the pages read rows
// that they show as they are.
type Tx interface {
	Project(ctx context.Context, id string) (pour.Project, error)     // fault.NotFound
	LockProject(ctx context.Context, id string) (pour.Project, error) // the same, for update
	Projects(ctx context.Context, page paging.Page) (items []pour.Project, next string, err error)
	DeleteProject(ctx context.Context, id string) error
	RenewCalendarKey(ctx context.Context, project string) error // its calendar has another address then

	Entry(ctx context.Context, project, id string) (pour.LogEntry, error) // fault.NotFound
	Log(ctx context.Context, project string, page paging.Page) (items []pour.LogEntry, next string, err error)
	WholeLog(ctx context.Context, project string) ([]pour.LogEntry, error) // in order of At, then of recording

	CurrentPlan(ctx context.Context, project string) (projects.KeptPlan, error) // fault.NotFound before the first
	// PlanVersion returns a plan, without mornings unless it is the current one.
	PlanVersion(ctx context.Context, project string, version int) (projects.KeptPlan, error)
	Plans(ctx context.Context, project string, page paging.Page) (items []pour.Plan, next string, err error)

	// Photos lists those of a project's log, without their JPEG; Photo returns one, else fault.NotFound.
	Photos(ctx context.Context, project string) ([]photo.Photo, error)
	Photo(ctx context.Context, project, id string) (photo.Photo, error)

	Recipients(ctx context.Context, project string) ([]notify.Recipient, error)
	DeleteRecipient(ctx context.Context, project, id string) error
	Alerts(ctx context.Context, project string, page paging.Page) (items []alerts.Delivery, next string, err error)

	Forecast(ctx context.Context, cell place.Cell) (forecast.Kept, error) // the newest, else fault.NotFound
	// ForecastByID returns a forecast that a plan was made from, while it is kept.
	ForecastByID(ctx context.Context, id int64) (forecast.Kept, error)
	CellState(ctx context.Context, cell place.Cell) (fetching.CellState, error)
	// ShortState returns the state of a cell's short-range product, else fault.NotFound.
	ShortState(ctx context.Context, cell place.Cell) (fetching.ShortState, error)

	// Remembered returns the answer kept under an idempotency key, else fault.NotFound.
	// It takes the key for this transaction: a second taker meanwhile gets fault.Conflict.
	Remembered(ctx context.Context, route, key string, now time.Time) (idempotency.Answer, error)
	Remember(ctx context.Context, route, key string, a idempotency.Answer, now time.Time) error
}
