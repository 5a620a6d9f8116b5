// Package pages owns what a builder sees in a browser: it reads forms, asks the
// services, and has web/pages/view lay out what they answer.
package pages

import (
	"context"
	"time"

	"dryslot/internal/fetching"
	"dryslot/internal/forecast"
	"dryslot/internal/notify"
	"dryslot/internal/planner/job"
	"dryslot/internal/pour"
	"dryslot/internal/watch"
)

// Services are those that the pages ask. Each method that takes an account works
// in a transaction of its own, or joins the one that its context carries.
type Services struct {
	Projects  Projects
	Alerts    Alerts
	Forecasts Forecasts
}

// Projects keeps projects, their logs and their plans.
type Projects interface {
	// CreateProject keeps a valid spec as a new project and sees to its forecast and first plan.
	CreateProject(ctx context.Context, account string, spec pour.Spec) (pour.Project, error)
	// ChangeProject puts a valid spec in place of the one at a revision, and replans.
	ChangeProject(ctx context.Context, account, project string, revision int64, spec pour.Spec) (pour.Project, error)
	// Records tells how far each pad has come, in the order of the project's pads.
	Records(ctx context.Context, tx watch.Tx, p pour.Project) ([]pour.PadRecord, error)
	// Standing tells of every pad placed and not cured what it does from here on.
	Standing(ctx context.Context, tx watch.Tx, p pour.Project) ([]job.PadTimes, error)
	// Current returns the plan in force with its mornings from today on.
	Current(ctx context.Context, tx watch.Tx, p pour.Project) (watch.KeptPlan, error)
	// Record keeps what happened and the plan that follows.
	Record(ctx context.Context, account, project string, e pour.LogEntry) (watch.Recorded, error)
}

// Alerts keeps who is alerted.
type Alerts interface {
	// AddRecipient keeps a recipient, with a new secret where it is a webhook.
	AddRecipient(ctx context.Context, account string, r notify.Recipient) (notify.Recipient, error)
	// TestRecipient raises a test alert, due now.
	TestRecipient(ctx context.Context, account, project, recipient string) (watch.Delivery, error)
}

// Forecasts knows how forecasts proved.
type Forecasts interface {
	// Proved tells how earlier chances of rain proved where a forecast was
	// kept; false where it states none.
	Proved(ctx context.Context, account string, kept forecast.Kept) (
		of string, reports fetching.Reports, ok bool, err error)
}

// Store is what the pages ask of the database besides.
type Store interface {
	// AccountByToken returns the account of a token; an unknown one is fault.Forbidden.
	AccountByToken(ctx context.Context, token string) (string, error)
	// AccountBySession returns the account of a session; an unknown one is fault.Forbidden.
	AccountBySession(ctx context.Context, key string) (string, error)
	// CreateSession starts a session of an account and returns its key.
	CreateSession(ctx context.Context, account string, expires time.Time) (string, error)
	// DeleteSession ends a session.
	DeleteSession(ctx context.Context, key string) error
	// InAccount runs fn in one transaction that sees one account's rows only.
	InAccount(ctx context.Context, account string, fn func(context.Context, watch.Tx) error) error
}
