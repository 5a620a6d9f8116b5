package accounts

import (
	"context"
	"errors"
	"net/url"
	"strings"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/message"
	"dryslot/internal/notify"
	"dryslot/internal/say"
)

// Codes of the mails that links come in.
const (
	mailSubject message.Code = "mail_link_subject"
	mailSignIn  message.Code = "mail_link_sign_in"
	mailSignUp  message.Code = "mail_link_sign_up"
	mailAttach  message.Code = "mail_link_attach"
	mailUse     message.Code = "mail_link_use"
	mailElse    message.Code = "mail_link_else"
)

// Codes of the mails that tell of what was added to an account.
const (
	noticeSubject message.Code = "mail_notice_subject"
	noticePasskey message.Code = "mail_notice_passkey" // name
	noticeToken   message.Code = "mail_notice_token"   // name
	noticeMine    message.Code = "mail_notice_mine"
	noticeElse    message.Code = "mail_notice_else"
)

// noticeLife is how long a mail server that takes nothing is tried (judgement: it
// is mended after a weekend).
const noticeLife = 3 * 24 * time.Hour

// Notice tells an account, by mail to its own address, what was added to it.
type Notice struct {
	Code      message.Code // what was added; empty: nobody is told
	Language  string       // of the mail
	ExpiresAt time.Time    // when it is tried no more
}

// notice is what an account is told of, where mails can be sent.
func (s *Service) notice(code message.Code, language string) Notice {
	if s.Mailer == nil {
		return Notice{}
	}
	return Notice{code, language, s.Wall().Add(noticeLife)}
}

// SignUp says who may make an account.
type SignUp string

// Who may make an account.
const (
	SignUpOpen   SignUp = "open"   // whoever has a mail address
	SignUpInvite SignUp = "invite" // who was invited to a project
	SignUpClosed SignUp = "closed" // the operator alone
)

// Mailer hands one message to a mail server; an error that is fault.Invalid is
// final.
type Mailer interface {
	Send(ctx context.Context, to notify.Recipient, m notify.Message) error
}

// MailOrder asks for a link or a notice to be mailed.
type MailOrder struct {
	ID        string
	Address   string       // in small letters
	Language  string       // of the mail
	Next      string       // page to go to
	Account   string       // that the link opens, or that is told; empty: the link makes one
	Notice    message.Code // what the account is told; empty: it is a link
	Named     string       // what was added to the account is called so
	ExpiresAt time.Time
}

// MailedLink is a link as it came in a mail.
type MailedLink struct{ Key, Address string }

// MailedLinkTo is what a mailed link does.
type MailedLinkTo struct {
	Account  string // that it opens; empty: it makes one
	Attaches bool   // it makes the address that of the account
}

// Mails reports whether links can be mailed.
func (s *Service) Mails() bool { return s.Mailer != nil }

// AskLink has a link mailed to an address: one that signs in to the account of
// the address, or, where there is none and who asks may make one, that makes it.
// The answer does not show whether there is one. An address that is none is
// fault.Invalid, and asking again and again fault.TooMany.
func (s *Service) AskLink(ctx context.Context, order MailOrder, invited bool, from Browser) error {
	order, err := s.checked(order)
	if err != nil {
		return err
	}
	if err := s.slowMail(ctx, order.Address, from); err != nil {
		return err
	}
	order.Account, err = s.Store.AccountByMail(ctx, order.Address)
	if errors.Is(err, fault.NotFound) {
		if s.SignUp != SignUpOpen && (s.SignUp != SignUpInvite || !invited) {
			return nil
		}
		order.Account, err = "", nil
	}
	if err != nil {
		return err
	}
	return s.Store.CreateMailOrder(ctx, order)
}

// AskAttach has a link mailed that makes an address that of an account.
func (s *Service) AskAttach(ctx context.Context, order MailOrder, from Browser) error {
	order, err := s.checked(order)
	if err != nil {
		return err
	}
	if err := s.slowMail(ctx, order.Address, from); err != nil {
		return err
	}
	return s.Store.CreateMailOrder(ctx, order)
}

func (s *Service) checked(order MailOrder) (MailOrder, error) {
	if s.Mailer == nil {
		return order, fault.Of(fault.Conflict, NoMail)
	}
	order.Address = strings.ToLower(strings.TrimSpace(order.Address))
	order.ExpiresAt = s.Wall().Add(LinkLife)
	return order, notify.Recipient{Kind: notify.Email, Address: order.Address}.Check()
}

// slowMail bounds how often mail is sent to one address and asked for from one.
func (s *Service) slowMail(ctx context.Context, address string, from Browser) error {
	keys := []string{"mail to " + address, "mail from " + addressKey(from.Address)}
	wait, err := s.Store.CountFailure(ctx, keys, s.Wall(), forgetFailures, Pause)
	if err == nil && wait > 0 {
		err = &fault.Error{Kind: fault.TooMany, Message: message.New(MailTooOften), RetryAfter: wait}
	}
	return err
}

// SendLink mails the link of an order. An order that is done or too old is
// fault.NotFound.
func (s *Service) SendLink(ctx context.Context, id string) error {
	order, err := s.Store.MailOrder(ctx, id, s.Wall())
	if err != nil {
		return err
	}
	attaches, err := s.attaches(ctx, order.Account, order.Address)
	if err != nil {
		return err
	}
	key, err := s.Store.CreateMailLink(ctx, order.Account, order.Address, order.ExpiresAt)
	if err != nil {
		return err
	}
	return s.send(ctx, order, s.letter(order, key, attaches))
}

// send mails a letter, and forgets its order unless it is to be tried again.
func (s *Service) send(ctx context.Context, order MailOrder, letter notify.Message) error {
	err := s.Mailer.Send(ctx, notify.Recipient{Kind: notify.Email, Address: order.Address}, letter)
	if err != nil && !errors.Is(err, fault.Invalid) {
		return err
	}
	return errors.Join(err, s.Store.DeleteMailOrder(context.WithoutCancel(ctx), order.ID))
}

// SendNotice mails the notice of an order. One that is sent or too old is
// fault.NotFound.
func (s *Service) SendNotice(ctx context.Context, id string) error {
	order, err := s.Store.MailOrder(ctx, id, s.Wall())
	if err != nil {
		return err
	}
	r := say.HabitsOf(order.Language)
	words := func(c message.Code) string { return r.Say(message.New(c)) }
	return s.send(ctx, order, notify.Letter("notice-"+order.ID, order.Language, words(noticeSubject),
		notify.Block{{Text: r.Say(message.New(order.Notice, message.Name("name", order.Named)))}},
		notify.Block{{Text: words(noticeMine)}},
		notify.Block{{Text: words(noticeElse)}, {Text: s.BaseURL + "/account", Link: true}}))
}

func (s *Service) letter(order MailOrder, key string, attaches bool) notify.Message {
	link := s.BaseURL + "/sign-in?" + url.Values{"link": {key}, "mail": {order.Address}, "next": {order.Next}}.Encode()
	r := say.HabitsOf(order.Language)
	code := mailSignIn
	switch {
	case order.Account == "":
		code = mailSignUp
	case attaches:
		code = mailAttach
	}
	words := func(c message.Code) string { return r.Say(message.New(c)) }
	return notify.Letter("sign-in-"+order.ID, order.Language, words(mailSubject),
		notify.Block{{Text: words(code)}}, notify.Block{{Text: words(mailUse)}, {Text: link, Link: true}},
		notify.Block{{Text: words(mailElse)}})
}

// attaches reports whether an address is not yet that of an account.
func (s *Service) attaches(ctx context.Context, account, address string) (bool, error) {
	if account == "" {
		return false, nil
	}
	has, err := s.Store.MailOf(ctx, account)
	return has != address, err
}

// MailedLink returns what a mailed link does and does not use it. One that was
// used, has expired or never was is fault.Forbidden.
func (s *Service) MailedLink(ctx context.Context, l MailedLink) (to MailedLinkTo, err error) {
	if to.Account, err = s.Store.MailLink(ctx, l, s.Wall()); err != nil {
		return to, err
	}
	to.Attaches, err = s.attaches(ctx, to.Account, l.Address)
	return to, err
}

// SignInByMail uses a mailed link up and begins a session. Now is the account
// that the browser is signed in to: a link that gives an account its address
// works only there, so that nobody is led into another's account.
func (s *Service) SignInByMail(ctx context.Context, l MailedLink, now string, from Browser) (SignedIn, error) {
	return s.slowed(ctx, from, func() (SignedIn, error) {
		to, err := s.MailedLink(ctx, l)
		if err != nil {
			return SignedIn{}, err
		}
		if to.Attaches && to.Account != now {
			return SignedIn{}, fault.Of(fault.Conflict, SignInFirst)
		}
		account, err := s.Store.UseMailLink(ctx, l, s.Wall())
		if err != nil {
			return SignedIn{}, err
		}
		return s.begin(ctx, NewSession{Account: account, Browser: from.Name})
	})
}

// MailOf returns the mail address of an account; empty: it has none.
func (s *Service) MailOf(ctx context.Context, account string) (string, error) {
	return s.Store.MailOf(ctx, account)
}
