package accounts

import (
	"context"
	"errors"
	"net/netip"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"dryslot/internal/fault"
	"dryslot/internal/message"
)

// How long things hold, by the wall clock (judgement).
const (
	LinkLife    = 15 * time.Minute    // from when a link is made until it is used
	SessionLife = 30 * 24 * time.Hour // of a signed-in browser
)

// Bounds of what one account may have (judgement).
const (
	MostTokens  = 50
	LongestName = 60  // characters of a token's name
	longestUA   = 200 // bytes kept of what a browser says that it is
)

// Service signs people in. It is safe for use by several goroutines.
type Service struct {
	Store   Store
	Wall    func() time.Time // what expires goes by the real clock
	Mailer  Mailer           // nil: no links are mailed
	SignUp  SignUp           // who may make an account; empty: the operator alone
	BaseURL string           // of the pages, put in mails; without a slash at the end
	Keys    *RelyingParty    // what passkeys are made for; nil: there are none
}

// Browser is who tries to sign in.
type Browser struct {
	Address netip.Addr // that the request came from
	Name    string     // its User-Agent
}

// SignedIn is a session that has just begun.
type SignedIn struct {
	Account   string
	Key       string // for the browser's cookie
	ExpiresAt time.Time
}

// NewLink makes a link of an account: it signs one browser in, once, within
// LinkLife.
func (s *Service) NewLink(ctx context.Context, account string) (key string, err error) {
	return s.Store.CreateLink(ctx, account, s.Wall().Add(LinkLife))
}

// AccountByLink returns whose account a link opens and does not use it. One
// that was used, has expired or never was is fault.Forbidden.
func (s *Service) AccountByLink(ctx context.Context, key string) (string, error) {
	return s.Store.AccountByLink(ctx, key, s.Wall())
}

// AccountBySession returns the account that a browser is signed in to;
// fault.Forbidden if it is signed in to none.
func (s *Service) AccountBySession(ctx context.Context, key string) (string, error) {
	return s.Store.AccountBySession(ctx, key, s.Wall())
}

// SignInByLink uses a link up and begins a session of its account. A link that
// can't be used is fault.Forbidden; after several such tries the error is
// fault.TooMany with the time to wait.
func (s *Service) SignInByLink(ctx context.Context, key string, from Browser) (SignedIn, error) {
	return s.slowed(ctx, from, func() (SignedIn, error) {
		account, err := s.Store.UseLink(ctx, key, s.Wall())
		if err != nil {
			return SignedIn{}, err
		}
		return s.begin(ctx, NewSession{Account: account, Browser: from.Name})
	})
}

// SignInByToken begins a session of a token's account. A token that opens none
// is fault.Forbidden; after several such tries the error is fault.TooMany with
// the time to wait.
func (s *Service) SignInByToken(ctx context.Context, token string, from Browser) (SignedIn, error) {
	return s.slowed(ctx, from, func() (SignedIn, error) {
		account, err := s.Store.AccountByToken(ctx, token)
		if err != nil {
			return SignedIn{}, err
		}
		return s.begin(ctx, NewSession{Account: account, Browser: from.Name, Token: token})
	})
}

func (s *Service) begin(ctx context.Context, n NewSession) (SignedIn, error) {
	n.ExpiresAt = s.Wall().Add(SessionLife)
	n.Browser = printable(n.Browser, longestUA)
	key, err := s.Store.CreateSession(ctx, n)
	return SignedIn{n.Account, key, n.ExpiresAt}, err
}

// printable drops what can't be shown from a text, and cuts it to most bytes.
func printable(text string, most int) string {
	text = strings.Map(func(r rune) rune {
		if r == utf8.RuneError || !unicode.IsPrint(r) {
			return -1
		}
		return r
	}, text)
	for len(text) > most {
		_, n := utf8.DecodeLastRuneInString(text)
		text = text[:len(text)-n]
	}
	return text
}

// SignOut ends the session of a key.
func (s *Service) SignOut(ctx context.Context, key string) error {
	return s.Store.DeleteSession(ctx, key)
}

// Sessions lists the browsers that are signed in to an account, the newest first.
func (s *Service) Sessions(ctx context.Context, account string) ([]Session, error) {
	return s.Store.Sessions(ctx, account, s.Wall())
}

// EndSession signs one of an account's browsers out; fault.NotFound if it has
// none of that id.
func (s *Service) EndSession(ctx context.Context, account, id string) error {
	return s.Store.EndSession(ctx, account, id)
}

// Tokens lists the tokens that open an account, the oldest first.
func (s *Service) Tokens(ctx context.Context, account string) ([]Token, error) {
	return s.Store.Tokens(ctx, account)
}

// NewToken makes a token of an account and returns it: it can't be shown
// again. A name of no or of more than LongestName characters is fault.Invalid;
// if the account has MostTokens, the error is fault.Conflict. The account's mail
// address is told of it in a language.
func (s *Service) NewToken(ctx context.Context, account, name, language string) (secret string, kept Token,
	err error) {
	if name, err = checkName(name, TokenRefused); err != nil {
		return "", Token{}, err
	}
	return s.Store.CreateToken(ctx, account, name, MostTokens, s.notice(noticeToken, language))
}

// RevokeToken makes a token open nothing any more and signs out the browsers
// that signed in with it; fault.NotFound if the account has none of that id.
func (s *Service) RevokeToken(ctx context.Context, account, id string) error {
	return s.Store.RevokeToken(ctx, account, id)
}

// slowed lets a try to sign in through unless too many failed before.
func (s *Service) slowed(ctx context.Context, from Browser, try func() (SignedIn, error)) (SignedIn, error) {
	keys := []string{addressKey(from.Address)}
	wait, err := s.Store.CountFailure(ctx, keys, s.Wall(), forgetFailures, Pause)
	if err != nil {
		return SignedIn{}, err
	}
	if wait > 0 {
		return SignedIn{}, &fault.Error{Kind: fault.TooMany, Message: message.New(TooOften), RetryAfter: wait}
	}
	in, err := try()
	if !errors.Is(err, fault.Forbidden) { // trouble of ours is no failure of theirs
		err = errors.Join(err, s.Store.UncountFailure(context.WithoutCancel(ctx), keys))
	}
	return in, err
}

// Short is how an account is called on a page: the last 8 digits of its id.
func Short(account string) string { return account[max(0, len(account)-8):] }
