package pages

import (
	"errors"
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"dryslot/internal/fault"
	"dryslot/internal/web"
	"dryslot/internal/web/pages/view"
)

// sessionCookie is the cookie of a signed-in browser.
const sessionCookie = "dryslot_session"

// sessionLife is how long a browser stays signed in.
const sessionLife = 30 * 24 * time.Hour

// accountKey is where a page's account is kept in echo's context.
const accountKey = "account"

// signedIn lets a page through with its account, and sends anyone else to
// sign in first.
func (p *pages) signedIn(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		cookie, err := c.Cookie(sessionCookie)
		if err == nil {
			account, err := p.store.AccountBySession(c.Request().Context(), cookie.Value)
			if err == nil {
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
			if !errors.Is(err, fault.Forbidden) {
				return p.trouble(c, err)
			}
		}
		return c.Redirect(http.StatusSeeOther, "/sign-in?next="+url.QueryEscape(c.Request().URL.Path))
	}
}

func account(c echo.Context) string {
	a, _ := c.Get(accountKey).(string)
	return a
}

// askSignIn shows the form, or signs in by a link that carries the token.
func (p *pages) askSignIn(c echo.Context) error {
	if token := c.QueryParam("token"); token != "" {
		return p.enter(c, token, c.QueryParam("next"))
	}
	return p.show(c, http.StatusOK, view.SignIn{Frame: p.plain(c, view.SignInPage), Next: local(c.QueryParam("next"))})
}

func (p *pages) signIn(c echo.Context) error {
	return p.enter(c, c.FormValue("token"), c.FormValue("next"))
}

// enter starts a session for the account of a token.
func (p *pages) enter(c echo.Context, token, next string) error {
	ctx := c.Request().Context()
	token = strings.TrimSpace(token)
	account, err := "", error(fault.Forbidden)
	if token != "" && !strings.ContainsFunc(token, web.NotPrintableASCII) {
		account, err = p.store.AccountByToken(ctx, token)
	}
	if errors.Is(err, fault.Forbidden) {
		page := view.SignIn{Frame: p.plain(c, view.SignInPage), Next: local(next), Wrong: p.reader(c).Label(view.SignInWrong)}
		return p.show(c, http.StatusForbidden, page)
	}
	if err != nil {
		return p.trouble(c, err)
	}
	expires := p.s.Wall().Add(sessionLife)
	key, err := p.store.CreateSession(ctx, account, expires)
	if err != nil {
		return p.trouble(c, err)
	}
	c.SetCookie(p.cookie(key, expires))
	return c.Redirect(http.StatusSeeOther, local(next))
}

func (p *pages) signOut(c echo.Context) error {
	if cookie, err := c.Cookie(sessionCookie); err == nil {
		if err := p.store.DeleteSession(c.Request().Context(), cookie.Value); err != nil {
			return p.trouble(c, err)
		}
	}
	c.SetCookie(p.cookie("", time.Unix(1, 0)))
	return c.Redirect(http.StatusSeeOther, "/sign-in")
}

func (p *pages) cookie(key string, expires time.Time) *http.Cookie {
	return &http.Cookie{Name: sessionCookie, Value: key, Path: "/", Expires: expires, HttpOnly: true,
		SameSite: http.SameSiteLaxMode, Secure: strings.HasPrefix(p.s.PublicURL, "https://")}
}

// local keeps a redirect on this site. Browsers drop tabs and line ends from
// an address, so that "/\t/elsewhere" would lead elsewhere.
func local(next string) string {
	if !strings.HasPrefix(next, "/") || strings.HasPrefix(next, "//") || strings.Contains(next, "\\") || strings.ContainsFunc(next, web.NotPrintableASCII) {
		return "/"
	}
	return next
}
