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
	Token     string // that it is begun with, in clear; empty: a link
	ExpiresAt time.Time
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

	// Tokens lists an account's tokens that are not revoked, the oldest first.
	Tokens(ctx context.Context, account string) ([]Token, error)
	// CreateToken keeps a token of an account and returns it in clear, unless
	// the account has most tokens already: then the error is fault.Conflict.
	CreateToken(ctx context.Context, account, name string, most int) (secret string, err error)
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
