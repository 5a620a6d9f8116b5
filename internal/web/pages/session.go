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

// accountKey is where a page's account is kept in echo's context.
const accountKey = "account"

// signedIn lets a page through with its account, and sends anyone else to
// sign in first.
func (p *pages) signedIn(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		account, err := p.current(c)
		if errors.Is(err, fault.Forbidden) {
			return c.Redirect(http.StatusSeeOther, "/sign-in?next="+url.QueryEscape(c.Request().URL.Path))
		}
		if err != nil {
			return p.trouble(c, err)
		}
		c.Set(accountKey, account)
		if c.Request().Method != http.MethodGet {
			leave, err := p.s.TakeTurn(c.Request().Context(), account)
			if err != nil {
				return p.trouble(c, err)
			}
			defer leave()
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

// askSignIn shows the form for a token, or, behind a link, a button that uses
// the link: opening an address signs nobody in, so that another site's link
// can't sign a visitor in to somebody else's account, and programs that look
// at links in mail don't use them up.
func (p *pages) askSignIn(c echo.Context) error {
	page := p.signInPage(c)
	key := c.QueryParam("link")
	if key == "" {
		return p.show(c, http.StatusOK, page)
	}
	account, err := p.services.Accounts.AccountByLink(c.Request().Context(), key)
	if errors.Is(err, fault.Forbidden) {
		return p.notSignedIn(c, page, err)
	}
	if err != nil {
		return p.trouble(c, err)
	}
	now, err := p.current(c)
	if err != nil && !errors.Is(err, fault.Forbidden) {
		return p.trouble(c, err)
	}
	page.Link, page.ByLink = key, view.ByLink(p.reader(c), accounts.Short(account))
	page.Leaves = err == nil && now != account
	return p.show(c, http.StatusOK, page)
}

func (p *pages) signInPage(c echo.Context) view.SignIn {
	next := c.QueryParam("next")
	if c.Request().Method == http.MethodPost {
		next = c.FormValue("next")
	}
	return view.SignIn{Frame: p.plain(c, view.SignInPage), Next: local(next)}
}

// signIn begins a session, by a link or a token.
func (p *pages) signIn(c echo.Context) error {
	ctx, page := c.Request().Context(), p.signInPage(c)
	from := accounts.Browser{Address: p.s.ClientAddress(c.Request()), Name: c.Request().UserAgent()}
	var in accounts.SignedIn
	var err error
	if key := c.FormValue("link"); key != "" {
		in, err = p.services.Accounts.SignInByLink(ctx, key, from)
	} else {
		in, err = p.services.Accounts.SignInByToken(ctx, strings.TrimSpace(c.FormValue("token")), from)
	}
	if errors.Is(err, fault.Forbidden) || errors.Is(err, fault.TooMany) {
		return p.notSignedIn(c, page, err)
	}
	if err != nil {
		return p.trouble(c, err)
	}
	c.SetCookie(p.cookie(in.Key, in.ExpiresAt))
	return c.Redirect(http.StatusSeeOther, page.Next)
}

// notSignedIn shows the form for a token with what was wrong.
func (p *pages) notSignedIn(c echo.Context, page view.SignIn, err error) error {
	problem := web.ProblemOf(err)
	page.Wrong = p.reader(c).Say(problem.Data) + "."
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

// cookie comes with requests that other sites' links lead to, so that the
// addresses in alerts work, and never with their forms.
func (p *pages) cookie(key string, expires time.Time) *http.Cookie {
	return &http.Cookie{Name: p.cookieName(), Value: key, Path: "/", Expires: expires, HttpOnly: true,
		SameSite: http.SameSiteLaxMode, Secure: p.s.Secure()}
}

// local keeps a redirect on this site. Browsers drop tabs and line ends from
// an address, so that "/\t/elsewhere" would lead elsewhere.
func local(next string) string {
	if !strings.HasPrefix(next, "/") || strings.HasPrefix(next, "//") || strings.Contains(next, "\\") || strings.ContainsFunc(next, web.NotPrintableASCII) {
		return "/"
	}
	return next
}
