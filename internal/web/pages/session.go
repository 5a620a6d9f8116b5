package pages

import (
	"errors"
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"dryslot/internal/accounts"
	"dryslot/internal/fault"
	"dryslot/internal/web"
	"dryslot/internal/web/pages/view"
)

// registerAccount registers what is about an account and nothing else.
func (p *pages) registerAccount(get, post func(path string, h echo.HandlerFunc)) {
	get("/sign-in", p.askSignIn)
	post("/sign-in", p.signIn)
	post("/sign-in/passkey", p.askPasskeySignIn)
	post("/sign-out", p.signOut)
	get("/account", p.signedIn(p.account))
	post("/account", p.signedIn(p.changeAccount))
	post("/account/passkey", p.signedIn(p.askPasskey))
	get("/archive/:key", p.archive)
}

// accountKey is where a page's account is kept in echo's context.
const accountKey = "account"

// signedIn lets a page through with its account, and sends anyone else to sign in
// first. A member of the page's project has to be a viewer to read it and an
// owner to change it.
func (p *pages) signedIn(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		needed := accounts.RoleOwner
		if c.Request().Method == http.MethodGet {
			needed = accounts.RoleViewer
		}
		return p.signedInAs(needed, next)(c)
	}
}

// signedInAs is signedIn for pages that ask for another role.
func (p *pages) signedInAs(needed accounts.Role, next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		account, err := p.current(c)
		if errors.Is(err, fault.Forbidden) {
			return c.Redirect(http.StatusSeeOther, "/sign-in?next="+url.QueryEscape(c.Request().URL.Path))
		}
		if err != nil {
			return p.trouble(c, err)
		}
		c.Set(accountKey, account)
		if err := p.s.LimitAccount(c, account); err != nil {
			return p.trouble(c, err)
		}
		if c.Request().Method != http.MethodGet {
			leave, err := p.s.TakeTurn(c.Request().Context(), account)
			if err != nil {
				return p.trouble(c, err)
			}
			defer leave()
		}
		if err := p.actAs(c, needed); err != nil {
			return p.trouble(c, err)
		}
		return next(c)
	}
}

// current returns the account that the browser is signed in to; fault.Forbidden
// if it is signed in to none.
func (p *pages) current(c echo.Context) (string, error) {
	cookie, err := c.Cookie(p.cookieName())
	if err != nil {
		return "", fault.Of(fault.Forbidden, accounts.NoSession).By(err)
	}
	return p.services.Accounts.AccountBySession(c.Request().Context(), cookie.Value)
}

func account(c echo.Context) string {
	a, _ := c.Get(accountKey).(string)
	return a
}

// askSignIn shows the forms for a mail address and for a token, or, behind a
// link, a button that uses the link: opening an address signs nobody in, so that
// another site's link can't sign a visitor in to somebody else's account, and
// programs that look at links in mail don't use them up.
func (p *pages) askSignIn(c echo.Context) error {
	page := p.signInPage(c)
	page.Link, page.Mail = c.QueryParam("link"), c.QueryParam("mail")
	if page.Link == "" {
		return p.show(c, http.StatusOK, page)
	}
	now, err := p.current(c)
	signedIn := err == nil
	if err != nil && !errors.Is(err, fault.Forbidden) {
		return p.trouble(c, err)
	}
	opens, err := p.linkOpens(c, &page)
	if errors.Is(err, fault.Forbidden) {
		page.Link, page.Mail = "", ""
		return p.notSignedIn(c, page, err)
	}
	if err != nil {
		return p.trouble(c, err)
	}
	page.Leaves = signedIn && now != opens
	return p.show(c, http.StatusOK, page)
}

// linkOpens returns the account that a link opens, and has the page say what the
// link does; empty: it makes an account.
func (p *pages) linkOpens(c echo.Context, page *view.SignIn) (account string, err error) {
	ctx, r := c.Request().Context(), p.reader(c)
	if page.Mail == "" {
		if account, err = p.services.Accounts.AccountByLink(ctx, page.Link); err != nil {
			return "", err
		}
		page.ByLink = view.ByLink(r, accounts.Short(account))
		return account, nil
	}
	to, err := p.services.Accounts.MailedLink(ctx, accounts.MailedLink{Key: page.Link, Address: page.Mail})
	if err != nil {
		return "", err
	}
	page.ByLink = view.ByMail(r, page.Mail, to.Account == "", to.Attaches)
	return to.Account, nil
}

func (p *pages) signInPage(c echo.Context) view.SignIn {
	next := c.QueryParam("next")
	if c.Request().Method == http.MethodPost {
		next = c.FormValue("next")
	}
	return view.SignIn{Frame: p.plain(c, view.SignInPage), Next: local(next), Mails: p.services.Accounts.Mails(),
		Passkeys: p.services.Accounts.HasPasskeys()}
}

// browser is who asks.
func (p *pages) browser(c echo.Context) accounts.Browser {
	return accounts.Browser{Address: p.s.ClientAddress(c.Request()), Name: c.Request().UserAgent()}
}

// signIn begins a session, by a link, a passkey or a token, or has a link mailed.
func (p *pages) signIn(c echo.Context) error {
	ctx, page, from := c.Request().Context(), p.signInPage(c), p.browser(c)
	link, mail, passkey := c.FormValue("link"), c.FormValue("mail"), c.FormValue("passkey")
	var in accounts.SignedIn
	var err error
	by := "token"
	switch {
	case link != "" && mail != "":
		now, known := p.current(c)
		if known != nil && !errors.Is(known, fault.Forbidden) {
			return p.trouble(c, known)
		}
		by = "mailed link"
		in, err = p.services.Accounts.SignInByMail(ctx, accounts.MailedLink{Key: link, Address: mail}, now, from)
	case link != "":
		by = "link"
		in, err = p.services.Accounts.SignInByLink(ctx, link, from)
	case passkey != "":
		by = "passkey"
		in, err = p.services.Accounts.SignInByPasskey(ctx, passkey, from)
	case mail != "":
		return p.mailLink(c, page, mail)
	default:
		in, err = p.services.Accounts.SignInByToken(ctx, strings.TrimSpace(c.FormValue("token")), from)
	}
	switch {
	case err == nil:
		c.SetCookie(p.cookie(in.Key, in.ExpiresAt))
		p.s.Log.InfoContext(ctx, "signed in", "address", from.Address.String(), "account", in.Account, "by", by)
		return c.Redirect(http.StatusSeeOther, page.Next)
	case errors.Is(err, fault.Forbidden), errors.Is(err, fault.TooMany), errors.Is(err, fault.Conflict):
		return p.notSignedIn(c, page, err)
	}
	return p.trouble(c, err)
}

// mailLink has a link mailed. What it answers is the same whether the address
// is that of an account or not.
func (p *pages) mailLink(c echo.Context, page view.SignIn, address string) error {
	order := accounts.MailOrder{Address: address, Language: p.reader(c).Language, Next: page.Next}
	invited, err := p.invited(c.Request().Context(), page.Next)
	if err == nil {
		err = p.services.Accounts.AskLink(c.Request().Context(), order, invited, p.browser(c))
	}
	var f *fault.Error
	switch {
	case err == nil:
		page.Sent = true
		return p.show(c, http.StatusOK, page)
	case errors.As(err, &f) && f.Kind != fault.Unavailable:
		page.Address = address
		return p.notSignedIn(c, page, err)
	}
	return p.trouble(c, err)
}

// notSignedIn shows the forms with what was wrong.
func (p *pages) notSignedIn(c echo.Context, page view.SignIn, err error) error {
	problem := web.ProblemOf(err)
	page.Wrong = p.reader(c).Say(problem.Data) + "."
	if len(problem.Errors) > 0 {
		page.Wrong = strings.Join(inWords(problem, p.reader(c)), " ")
	}
	status := problem.Status
	if status == http.StatusUnauthorized {
		status = http.StatusForbidden // there is no password to ask a browser for
	}
	for name, values := range problem.GetHeaders() {
		c.Response().Header()[name] = values
	}
	return p.show(c, status, page)
}

func (p *pages) signOut(c echo.Context) error {
	if cookie, err := c.Cookie(p.cookieName()); err == nil {
		if err := p.services.Accounts.SignOut(c.Request().Context(), cookie.Value); err != nil {
			return p.trouble(c, err)
		}
	}
	c.SetCookie(p.cookie("", time.Unix(1, 0)))
	return c.Redirect(http.StatusSeeOther, "/sign-in")
}

// cookieName is the name of a signed-in browser's cookie. Under https no other
// host of the domain can set it: browsers see to that by the prefix (RFC 6265bis).
func (p *pages) cookieName() string {
	if p.s.Secure() {
		return "__Host-dryslot_session"
	}
	return "dryslot_session"
}

// cookie is the session's. Browsers send it when a link on another site is followed, so
// that the addresses in alerts work, and never with another site's form.
func (p *pages) cookie(key string, expires time.Time) *http.Cookie {
	return &http.Cookie{Name: p.cookieName(), Value: key, Path: "/", Expires: expires, HttpOnly: true,
		SameSite: http.SameSiteLaxMode, Secure: p.s.Secure()}
}

// local keeps a redirect on this site. Browsers drop tabs and line ends from
// an address, so that "/\t/elsewhere" would lead elsewhere.
func local(next string) string {
	if !strings.HasPrefix(next, "/") || strings.HasPrefix(next, "//") || strings.Contains(next, "\\") ||
		strings.ContainsFunc(next, web.NotPrintableASCII) {
		return "/"
	}
	return next
}
