package pages

import (
	"errors"
	"net/http"
	"strings"

	"github.com/labstack/echo/v4"

	"dryslot/internal/accounts"
	"dryslot/internal/fault"
	"dryslot/internal/web"
	"dryslot/internal/web/pages/view"
)

// account shows what opens the account: signed-in browsers and tokens.
func (p *pages) account(c echo.Context) error { return p.showAccount(c, http.StatusOK, "", "", nil) }

func (p *pages) showAccount(c echo.Context, status int, secret, told string, wrong []string) error {
	ctx, who := c.Request().Context(), account(c)
	sessions, err := p.services.Accounts.Sessions(ctx, who)
	if err != nil {
		return p.trouble(c, err)
	}
	tokens, err := p.services.Accounts.Tokens(ctx, who)
	if err != nil {
		return p.trouble(c, err)
	}
	mail, err := p.services.Accounts.MailOf(ctx, who)
	if err != nil {
		return p.trouble(c, err)
	}
	page := view.NewAccount(p.plain(c, view.AccountPage), p.reader(c))
	page.Mail, page.Mails, page.Told = mail, p.services.Accounts.Mails(), told
	for _, s := range sessions {
		page.AddBrowser(s.ID, s.Browser, s.CreatedAt)
	}
	for _, t := range tokens {
		page.AddToken(t.ID, t.Name, t.CreatedAt)
	}
	page.Secret, page.Wrong = secret, wrong
	if len(wrong) > 0 {
		page.Name, page.Address = c.FormValue("name"), c.FormValue("mail")
	}
	return p.show(c, status, page)
}

// changeAccount signs a browser out, or makes or revokes a token.
func (p *pages) changeAccount(c echo.Context) error {
	ctx, who := c.Request().Context(), account(c)
	var secret string
	var err error
	switch c.FormValue("do") {
	case "end-session":
		err = p.services.Accounts.EndSession(ctx, who, c.FormValue("session"))
	case "new-token":
		secret, _, err = p.services.Accounts.NewToken(ctx, who, strings.TrimSpace(c.FormValue("name")))
	case "mail":
		order := accounts.MailOrder{Address: c.FormValue("mail"), Language: p.reader(c).Language, Next: "/account",
			Account: who}
		if err = p.services.Accounts.AskAttach(ctx, order, p.browser(c)); err == nil {
			return p.showAccount(c, http.StatusOK, "", p.reader(c).Label(view.MailSent), nil)
		}
	case "revoke-token":
		err = p.services.Accounts.RevokeToken(ctx, who, c.FormValue("token"))
	default:
		err = fault.Of(fault.Invalid, NothingAsked)
	}
	switch {
	case err == nil && secret != "":
		return p.showAccount(c, http.StatusOK, secret, "", nil)
	case err == nil, errors.Is(err, fault.NotFound): // gone already, which was asked for
		return c.Redirect(http.StatusSeeOther, "/account")
	}
	problem := web.ProblemOf(err)
	if problem.Status >= http.StatusInternalServerError {
		return p.trouble(c, err)
	}
	return p.showAccount(c, problem.Status, "", "", inWords(problem, p.reader(c)))
}
