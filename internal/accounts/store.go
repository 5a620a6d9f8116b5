package accounts

import (
	"context"
	"time"
)

// Session is one signed-in browser.
type Session struct {
	ID        string // 16 hexadecimal digits of its key's digest
	Browser   string // what the browser says that it is; empty: not known
	CreatedAt time.Time
	ExpiresAt time.Time
}

// Token is what is known of a token that opens its account: never the token itself.
type Token struct {
	ID        string // 16 hexadecimal digits of its digest
	Name      string // empty: none was given
	CreatedAt time.Time
}

// NewSession is what a session is begun with.
type NewSession struct {
	Account   string
	Browser   string
	Token     string // that it is begun with, in clear; empty: none
	Passkey   []byte // that it is begun with; nil: none
	ExpiresAt time.Time
}

// Holdings is what is kept of one account.
type Holdings struct {
	Projects, Entries, Photos, Plans, Recipients, Alerts, Tokens, Sessions int
	Members                                                                int // of other accounts, on its projects
	MemberOf                                                               int // projects of other accounts
}

// Store is what accounts are kept in. Each method is one transaction.
type Store interface {
	// AccountByToken returns the account of a token. One that is unknown or
	// revoked is fault.Forbidden.
	AccountByToken(ctx context.Context, token string) (string, error)
	// AccountBySession returns the account of a session that has not expired at
	// now; else the error is fault.Forbidden.
	AccountBySession(ctx context.Context, key string, now time.Time) (string, error)
	// CreateSession begins a session and returns its key.
	CreateSession(ctx context.Context, s NewSession) (key string, err error)
	// DeleteSession ends the session of a key, if there is one.
	DeleteSession(ctx context.Context, key string) error
	// Sessions lists an account's sessions that have not expired at now, the
	// newest first.
	Sessions(ctx context.Context, account string, now time.Time) ([]Session, error)
	// EndSession ends a session of an account by its id; fault.NotFound if it
	// has none of that id.
	EndSession(ctx context.Context, account, id string) error

	// CreateLink keeps a link of an account and returns its key.
	CreateLink(ctx context.Context, account string, expires time.Time) (key string, err error)
	// AccountByLink returns the account of a link that has not expired at now;
	// else the error is fault.Forbidden.
	AccountByLink(ctx context.Context, key string, now time.Time) (string, error)
	// UseLink does the same and deletes the link: of two that use it at the
	// same time one gets the account.
	UseLink(ctx context.Context, key string, now time.Time) (string, error)

	// Holdings counts what is kept of an account.
	Holdings(ctx context.Context, account string) (Holdings, error)
	// DeleteAccount deletes an account with everything that is kept of it. Backups
	// of before keep it.
	DeleteAccount(ctx context.Context, account string) error
	// CreateArchiveLink keeps a link to an account's archive and returns its key.
	CreateArchiveLink(ctx context.Context, account string, expires time.Time) (key string, err error)
	// AccountByArchiveLink returns the account of a link that has not expired at now;
	// else the error is fault.Forbidden.
	AccountByArchiveLink(ctx context.Context, key string, now time.Time) (account string, err error)
	// UseArchiveLink does the same and deletes the link.
	UseArchiveLink(ctx context.Context, key string, now time.Time) (account string, err error)

	// CreateMailOrder keeps an order under a new id, and asks for its mail.
	CreateMailOrder(ctx context.Context, o MailOrder) error
	// MailOrder returns an order that has not expired at now; else fault.NotFound.
	MailOrder(ctx context.Context, id string, now time.Time) (MailOrder, error)
	DeleteMailOrder(ctx context.Context, id string) error
	// AccountByMail returns the account of a mail address; else fault.NotFound.
	AccountByMail(ctx context.Context, address string) (string, error)
	// MailOf returns the mail address of an account; empty: it has none.
	MailOf(ctx context.Context, account string) (address string, err error)
	// CreateMailLink keeps a link that opens an account, or that makes one where
	// account is empty, and returns its key.
	CreateMailLink(ctx context.Context, account, address string, expires time.Time) (key string, err error)
	// MailLink returns the account of a mailed link that has not expired at now,
	// or none where it makes one; else the error is fault.Forbidden.
	MailLink(ctx context.Context, l MailedLink, now time.Time) (account string, err error)
	// UseMailLink deletes the link, makes its account where it opens none, and
	// gives the account its address; fault.Conflict if another has it.
	UseMailLink(ctx context.Context, l MailedLink, now time.Time) (account string, err error)

	// Membership returns as what an account takes part in another's project; else
	// the error is fault.NotFound.
	Membership(ctx context.Context, member, project string) (Member, error)
	// Memberships lists the projects of others that an account takes part in.
	Memberships(ctx context.Context, member string) ([]Member, error)
	// Members lists the members of an account's project, the first to join first.
	Members(ctx context.Context, account, project string) ([]Member, error)
	RemoveMember(ctx context.Context, account, project, member string) error // fault.NotFound
	// CreateInvitation keeps a link to a project and returns its key, unless the
	// project has most of them: then the error is fault.Conflict.
	CreateInvitation(ctx context.Context, account, project string, role Role, expires time.Time,
		most int) (key string, kept Invitation, err error)
	Invitations(ctx context.Context, account, project string, now time.Time) ([]Invitation, error)
	DeleteInvitation(ctx context.Context, account, project, id string) error // fault.NotFound
	// InvitationByKey returns what a link is for; fault.Forbidden if it can't be used.
	InvitationByKey(ctx context.Context, key string, now time.Time) (Invited, error)
	// AddMember adds a member by the key of a link that can be used, or changes
	// its role and name; fault.Forbidden, and fault.Conflict beyond most.
	AddMember(ctx context.Context, key string, m Member, most int, now time.Time) error

	// Passkeys lists an account's passkeys, the oldest first.
	Passkeys(ctx context.Context, account string) ([]Passkey, error)
	// CreateChallenge keeps a challenge for an account that gets a passkey, or for
	// somebody who signs in where account is empty.
	CreateChallenge(ctx context.Context, challenge, account string, expires time.Time) error
	// UseChallenge deletes a challenge; fault.Forbidden if it has expired at now or
	// was not made for that.
	UseChallenge(ctx context.Context, challenge, account string, now time.Time) error
	// CreatePasskey keeps a passkey of an account; fault.Conflict if it is known
	// already, or the account has most of them. The notice is ordered with it.
	CreatePasskey(ctx context.Context, account string, k Passkey, most int, n Notice) error
	// UsePasskey keeps what use makes of a passkey's counter and state. An error of
	// use changes nothing and is returned; fault.Forbidden if the account has none.
	UsePasskey(ctx context.Context, account string, id []byte, now time.Time, use func(Passkey) (Passkey, error)) error
	// NamePasskey and DeletePasskey take what Passkey.Shown returns; fault.NotFound.
	NamePasskey(ctx context.Context, account, id, name string) error
	// DeletePasskey ends the sessions that the passkey began, too.
	DeletePasskey(ctx context.Context, account, id string) error

	// Tokens lists an account's tokens that are not revoked, the oldest first.
	Tokens(ctx context.Context, account string) ([]Token, error)
	// CreateToken keeps a token of an account and returns it in clear, unless
	// the account has most tokens already: then the error is fault.Conflict. The
	// notice is ordered with it.
	CreateToken(ctx context.Context, account, name string, most int, n Notice) (secret string, kept Token, err error)
	// RevokeToken makes a token of an account open nothing any more, and ends
	// the sessions that were begun with it; fault.NotFound if there is none.
	RevokeToken(ctx context.Context, account, id string) error

	// CountFailure counts a failure under each key before it is known whether
	// the try fails, so that tries at the same time count as well. If pause of
	// a key's failures so far has not passed since the last, nothing is counted
	// and the longest time still to wait is returned. Failures older than
	// forget before now don't count.
	CountFailure(ctx context.Context, keys []string, now time.Time, forget time.Duration,
		pause func(failures int) time.Duration) (wait time.Duration, err error)
	// UncountFailure takes back what CountFailure counted, for a try that did not fail.
	UncountFailure(ctx context.Context, keys []string) error
}
