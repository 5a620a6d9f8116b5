// Package api owns the JSON API of the contract and the calendar: it reads and
// checks requests, asks the services, and describes itself as OpenAPI 3.1.
package api

import (
	"context"
	"net/http"

	"github.com/danielgtaylor/huma/v2"
	"github.com/labstack/echo/v4"

	"dryslot/internal/alerts"
	"dryslot/internal/fetching"
	"dryslot/internal/forecast"
	"dryslot/internal/notify"
	"dryslot/internal/photo"
	"dryslot/internal/planner/job"
	"dryslot/internal/pour"
	"dryslot/internal/projects"
	"dryslot/internal/ready"
	"dryslot/internal/today"
	"dryslot/internal/web"
)

// Services are those that the routes ask. Each method that takes an account works
// in a transaction of its own, or joins the one that its context carries.
type Services struct {
	Projects  Projects
	Alerts    Alerts
	Forecasts Forecasts
	PushKey   string // public, of web push; empty: there is none
	Accounts  Accounts
}

// Projects keeps projects, their logs and their plans.
type Projects interface {
	// CreateProject keeps a valid spec as a new project and sees to its forecast and first plan.
	CreateProject(ctx context.Context, account string, spec pour.Spec) (pour.Project, error)
	// ChangeProject puts a valid spec in place of the one at a revision, and replans.
	ChangeProject(ctx context.Context, account, project string, revision int64, spec pour.Spec) (pour.Project, error)
	// Snapshot reads all that is known of a project once.
	Snapshot(ctx context.Context, p pour.Project) (*projects.Snapshot, error)
	// RecordsOf returns how far the pads of several projects have come, in their order.
	RecordsOf(ctx context.Context, account string, projects []pour.Project) ([][]pour.PadRecord, error)
	// Today answers for this minute: what to do, what comes next and by when.
	Today(ctx context.Context, p pour.Project) (today.Now, error)
	// Current returns the plan in force with its mornings from today on, the
	// ages of their forecast brought up to now; before the first plan, version
	// 0 awaiting its forecast.
	Current(ctx context.Context, p pour.Project) (projects.KeptPlan, error)
	// Replan makes a plan now and keeps it.
	Replan(ctx context.Context, account, project, because string) (projects.KeptPlan, error)
	// WhatIf plans with a change and keeps nothing.
	WhatIf(ctx context.Context, account, project string, w job.WhatIf) (job.Result, error)
	// Record keeps what happened and the plan that follows.
	Record(ctx context.Context, account, project string, e pour.LogEntry) (projects.Recorded, error)
	// KeepPhoto keeps a photo that entries may show, and returns its id.
	KeepPhoto(ctx context.Context, account, project string, p photo.Photo) (id string, err error)
	// DeletePhoto deletes a photo that no entry shows; fault.Conflict, fault.NotFound.
	DeletePhoto(ctx context.Context, account, project, id string) error
}

// Alerts keeps who is alerted.
type Alerts interface {
	// AddRecipient keeps a recipient, with a new secret where it is a webhook.
	AddRecipient(ctx context.Context, account string, r notify.Recipient) (notify.Recipient, error)
	// TestRecipient raises a test alert, due now.
	TestRecipient(ctx context.Context, account, project, recipient string) (alerts.Delivery, error)
}

// Forecasts knows how forecasts proved.
type Forecasts interface {
	// Proved returns how earlier chances of rain proved where a forecast was
	// kept; false where it states none.
	Proved(ctx context.Context, account string, kept forecast.Kept) (
		of string, reports fetching.Reports, ok bool, err error)
}

// Store is what the API asks of the database besides.
type Store interface {
	// AccountByToken returns the account of a token; an unknown one is fault.Forbidden.
	AccountByToken(ctx context.Context, token string) (string, error)
	// ReadyAnswer returns the account of a token, as AccountByToken does, with an answer
	// that is kept.
	ReadyAnswer(ctx context.Context, token string, q ready.Query) (ready.Found, error)
	// KeepReady keeps an answer that was made of what had the basis, or of newer.
	KeepReady(ctx context.Context, account string, k ready.Key, basis string, a ready.Answer) error
	// ProjectByCalendarKey returns the account and the project of a calendar's key.
	ProjectByCalendarKey(ctx context.Context, key string) (account, project string, err error)
	// InAccount runs fn in one transaction that sees one account's rows only.
	InAccount(ctx context.Context, account string, fn func(context.Context, web.Tx) error) error
}

// server answers the API's requests.
type server struct {
	*web.Server
	services    Services
	store       Store
	api         huma.API
	schemas     *schemas
	examples    map[string]example // by the operation
	description []byte             // the OpenAPI document
}

// Routes returns the API's routes.
func Routes(services Services, store Store) web.Routes {
	return func(shared *web.Server, e *echo.Echo) {
		s := &server{Server: shared, services: services, store: store}
		s.register(e)
		if err := s.docs(e); err != nil {
			panic(err) // a mistake of ours, at start
		}
		e.GET("/openapi.json", func(c echo.Context) error {
			return c.Blob(http.StatusOK, "application/json", s.description)
		})
	}
}
