package alerts

import (
	"context"
	"time"

	"dryslot/internal/notify"
	"dryslot/internal/paging"
	"dryslot/internal/pour"
	"dryslot/internal/unit"
	"dryslot/internal/work"
)

// Store is what alerts need of the database.
type Store interface {
	// InAccount runs fn in one transaction that sees one account's rows only, or
	// joins the one that ctx carries.
	InAccount(ctx context.Context, account string, fn func(context.Context, Tx) error) error
	// InSystem runs fn in one transaction that sees no account's rows.
	InSystem(ctx context.Context, fn func(context.Context, SystemTx) error) error
	// RecipientByKey finds the recipient of a key; else the error is fault.NotFound.
	RecipientByKey(ctx context.Context, key string) (account, recipient string, err error)
}

// Tx is one account's transaction.
type Tx interface {
	Project(ctx context.Context, id string) (pour.Project, error)     // fault.NotFound
	LockProject(ctx context.Context, id string) (pour.Project, error) // the same, for update: one writer at a time
	// Plans lists the plans of a project, the newest first.
	Plans(ctx context.Context, project string, page paging.Page) (items []pour.Plan, next string, err error)

	AddRecipient(ctx context.Context, r notify.Recipient) (notify.Recipient, error) // gives ID
	Recipients(ctx context.Context, project string) ([]notify.Recipient, error)
	// DeleteRecipient removes one; what was due to it has failed.
	DeleteRecipient(ctx context.Context, project, id string) error
	// MailOfAccount returns the address that the account signs in by; empty: none.
	MailOfAccount(ctx context.Context) (string, error)
	ProjectOfRecipient(ctx context.Context, id string) (string, error) // fault.NotFound
	// ConfirmRecipient has a recipient get alerts from a time on.
	ConfirmRecipient(ctx context.Context, project, id string, at time.Time) error
	// ChooseAlerts has it get the alerts of some kinds; nil: of all.
	ChooseAlerts(ctx context.Context, project, id string, kinds []notify.Kind) error
	// StopRecipient has it get none any more; what was still due to it has failed.
	StopRecipient(ctx context.Context, project, id string, at time.Time) error

	// AddAlert keeps an alert as due unless its key is there already: then added is false.
	AddAlert(ctx context.Context, a notify.Alert) (added bool, err error)
	// DayAlerts lists the alerts that are about occasions of a date.
	DayAlerts(ctx context.Context, project string, d unit.Date) ([]Delivery, error)
	// CauseStates returns how the causes of the day's own alerts stand on a date.
	CauseStates(ctx context.Context, project string, d unit.Date) (map[notify.Kind]notify.CauseState, error)
	// KeepCauseStates keeps them.
	KeepCauseStates(ctx context.Context, project string, d unit.Date, states map[notify.Kind]notify.CauseState) error
	// Alerts lists the alerts of a project, the newest first.
	Alerts(ctx context.Context, project string, page paging.Page) (items []Delivery, next string, err error)
	// Alert returns one delivery by key, locked for this transaction.
	Alert(ctx context.Context, key string) (Delivery, error)
	// LeaseAlert takes the delivery for one try until a time, and counts the
	// try; false when another holds it or when it is sent or failed already.
	LeaseAlert(ctx context.Context, key string, now, until time.Time) (bool, error)
	// SettleAlert records the outcome of a try, or that the next has to wait.
	// Sent stays sent, and wins whenever it comes. Any other outcome counts only
	// while no later try has begun, since the last one knows best.
	SettleAlert(ctx context.Context, key string, o Outcome) error

	// Enqueue adds work to be done after this transaction commits.
	Enqueue(ctx context.Context, w ...work.Work) error
}

// SystemTx is a transaction over the due rows of all accounts.
type SystemTx interface {
	// DueDeliveries lists deliveries that are due and not leased, and lists them
	// again only after a while.
	DueDeliveries(ctx context.Context, now time.Time, limit int) ([]work.DeliveryRef, error)
	// Enqueue adds work to be done after this transaction commits.
	Enqueue(ctx context.Context, w ...work.Work) error
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
	Reason    Reason // why the last try failed, or why it was given up
	NextTryAt time.Time
	SettledAt time.Time
}

// Outcome is what became of one try.
type Outcome struct {
	Try       int           // which, from 1; 0: none was made
	State     DeliveryState // sent, retrying or failed; due: none was made yet
	Reason    Reason
	At        time.Time
	NextTryAt time.Time // when neither sent nor failed
}
