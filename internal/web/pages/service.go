// Package pages owns what a builder sees in a browser: it reads forms, asks the
// services, and has web/pages/view lay out what they answer.
package pages

import (
	"context"

	"dryslot/internal/accounts"
	"dryslot/internal/alerts"
	"dryslot/internal/fetching"
	"dryslot/internal/forecast"
	"dryslot/internal/notify"
	"dryslot/internal/photo"
	"dryslot/internal/planner/job"
	"dryslot/internal/pour"
	"dryslot/internal/projects"
	"dryslot/internal/ready"
	"dryslot/internal/web"
)

// Services are those that the pages ask. Each method that takes an account works
// in a transaction of its own, or joins the one that its context carries.
type Services struct {
	Projects  Projects
	Alerts    Alerts
	Forecasts Forecasts
	Accounts  Accounts
	Places    Places // nil: places are not looked up by name
	PushKey   string // public, that browsers subscribe to alerts with; empty: they can't
}

// Projects keeps projects, their logs and their plans.
type Projects interface {
	// CreateProject keeps a valid spec as a new project and sees to its forecast and first plan.
	CreateProject(ctx context.Context, account string, spec pour.Spec) (pour.Project, error)
	// ChangeProject puts a valid spec in place of the one at a revision, and replans.
	ChangeProject(ctx context.Context, account, project string, revision int64, spec pour.Spec) (pour.Project, error)
	// Snapshot reads all that is known of a project once.
	Snapshot(ctx context.Context, p pour.Project) (*projects.Snapshot, error)
	// Current returns the plan in force with its mornings from today on.
	Current(ctx context.Context, p pour.Project) (projects.KeptPlan, error)
	// WhatIf answers how the plan would be under a change, and keeps nothing.
	WhatIf(ctx context.Context, account, project string, w job.WhatIf) (job.Result, error)
	// Confirm logs what was taken to have been done, at its planned times.
	Confirm(ctx context.Context, account, project string, c projects.Confirmation) error
	// RecordPhotos keeps photos and the entry that shows them.
	RecordPhotos(ctx context.Context, account, project string, e pour.LogEntry, all []photo.Photo) (
		projects.Recorded, error)
	// Record keeps what happened and the plan that follows.
	Record(ctx context.Context, account, project string, e pour.LogEntry) (projects.Recorded, error)
}

// Alerts keeps who is alerted.
type Alerts interface {
	// AddRecipient keeps a recipient, with a new secret where it is a webhook.
	AddRecipient(ctx context.Context, account string, r notify.Recipient) (notify.Recipient, error)
	// ChooseAlerts changes which alerts a recipient gets; nil: all.
	ChooseAlerts(ctx context.Context, account, project, recipient string, kinds []notify.Kind) error
	// ReaderOf returns the recipient of the key of a mail address's page; fault.NotFound.
	ReaderOf(ctx context.Context, key string) (alerts.Reader, error)
	// Confirm has it get alerts, and Stop none any more.
	Confirm(ctx context.Context, key string) error
	Stop(ctx context.Context, key string) error
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

// Store is what the pages ask of the database besides.
type Store interface {
	// InAccount runs fn in one transaction that sees one account's rows only.
	InAccount(ctx context.Context, account string, fn func(context.Context, web.Tx) error) error
	// ReadyPage returns the account that a browser is signed in to, as AccountBySession
	// does, with a page of one of its projects that is kept ready.
	ReadyPage(ctx context.Context, key string, q ready.Query) (ready.Found, error)
	// KeepReady keeps a page that was made of what had the basis, or of newer.
	KeepReady(ctx context.Context, account string, k ready.Key, basis string, a ready.Answer) error
}

// Accounts is what the pages ask of accounts.Service.
type Accounts interface {
	// AccountByLink returns whose account a link opens; one that can't be used is fault.Forbidden.
	AccountByLink(ctx context.Context, key string) (string, error)
	// SignInByLink uses a link up and begins a session; fault.Forbidden, fault.TooMany.
	SignInByLink(ctx context.Context, key string, from accounts.Browser) (accounts.SignedIn, error)
	// Mails reports whether links can be mailed.
	Mails() bool
	// AskLink has a link mailed to an address, whether an account has it or not; fault.Invalid, fault.TooMany.
	AskLink(ctx context.Context, order accounts.MailOrder, invited bool, from accounts.Browser) error
	// AskAttach has a link mailed that makes an address that of an account.
	AskAttach(ctx context.Context, order accounts.MailOrder, from accounts.Browser) error
	// MailedLink returns what a mailed link does; fault.Forbidden if it can't be used.
	MailedLink(ctx context.Context, l accounts.MailedLink) (accounts.MailedLinkTo, error)
	// SignInByMail uses a mailed link up and begins a session, in a browser that is signed in to now or to none.
	SignInByMail(ctx context.Context, l accounts.MailedLink, now string, from accounts.Browser) (
		accounts.SignedIn, error)
	// MailOf returns the mail address of an account; empty: it has none.
	MailOf(ctx context.Context, account string) (string, error)
	// RoleOn returns as whom an account takes part in a project.
	RoleOn(ctx context.Context, account, project string) (accounts.Member, error)
	// Memberships lists the projects of others that an account takes part in.
	Memberships(ctx context.Context, account string) ([]accounts.Member, error)
	Members(ctx context.Context, account, project string) ([]accounts.Member, error)
	RemoveMember(ctx context.Context, account, project, member string) error
	// Invite makes a link by which others take part in a project.
	Invite(ctx context.Context, account, project string, role accounts.Role) (key string, kept accounts.Invitation,
		err error)
	Invitations(ctx context.Context, account, project string) ([]accounts.Invitation, error)
	Withdraw(ctx context.Context, account, project, id string) error
	// InvitedBy returns what a link is for; fault.Forbidden if it can't be used.
	InvitedBy(ctx context.Context, key string) (accounts.Invited, error)
	// Join makes an account a member of the project of a link.
	Join(ctx context.Context, key, account, name string) (project string, err error)
	// SignInByToken begins a session of a token's account; fault.Forbidden, fault.TooMany.
	SignInByToken(ctx context.Context, token string, from accounts.Browser) (accounts.SignedIn, error)
	// HasPasskeys reports whether passkeys can be made and used.
	HasPasskeys() bool
	Passkeys(ctx context.Context, account string) ([]accounts.Passkey, error)
	// AskPasskey returns what a browser needs to make a passkey, and AskPasskeySignIn
	// to sign in by one, as JSON.
	AskPasskey(ctx context.Context, account string) (options []byte, err error)
	AskPasskeySignIn(ctx context.Context) (options []byte, err error)
	// AddPasskey keeps the passkey that a browser made, and tells the account's mail
	// address in a language; fault.Invalid, fault.Forbidden, fault.Conflict.
	AddPasskey(ctx context.Context, account, name, answer, language string) error
	NamePasskey(ctx context.Context, account, id, name string) error
	RemovePasskey(ctx context.Context, account, id string) error
	// SignInByPasskey begins a session of a passkey's account; fault.Forbidden, fault.TooMany.
	SignInByPasskey(ctx context.Context, answer string, from accounts.Browser) (accounts.SignedIn, error)
	// AccountBySession returns the account that a browser is signed in to; else fault.Forbidden.
	AccountBySession(ctx context.Context, key string) (string, error)
	// SignOut ends the session of a key.
	SignOut(ctx context.Context, key string) error
	// Sessions lists the browsers that are signed in to an account.
	Sessions(ctx context.Context, account string) ([]accounts.Session, error)
	// EndSession signs one of an account's browsers out.
	EndSession(ctx context.Context, account, id string) error
	// Tokens lists the tokens that open an account.
	Tokens(ctx context.Context, account string) ([]accounts.Token, error)
	// NewToken makes a token of an account, returns it, and tells the account's mail
	// address in a language.
	NewToken(ctx context.Context, account, name, language string) (secret string, kept accounts.Token, err error)
	// RevokeToken makes a token of an account open nothing any more.
	RevokeToken(ctx context.Context, account, id string) error
	// Holdings counts what is kept of an account.
	Holdings(ctx context.Context, account string) (accounts.Holdings, error)
	// Delete deletes an account with all of it; fault.Invalid unless confirm is its name.
	Delete(ctx context.Context, account, confirm string) error
	// NewArchiveLink makes a link that gives out an account's archive once.
	NewArchiveLink(ctx context.Context, account string) (key string, err error)
	// AccountByArchiveLink returns whose archive such a link gives out; fault.Forbidden if it can't be used.
	AccountByArchiveLink(ctx context.Context, key string) (account string, err error)
	// UseArchiveLink uses such a link up; fault.Forbidden if it can't be used.
	UseArchiveLink(ctx context.Context, key string) (account string, err error)
}
