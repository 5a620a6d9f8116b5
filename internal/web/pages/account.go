package pages

import (
	"context"
	"errors"
	"net/http"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"dryslot/internal/accounts"
	"dryslot/internal/fault"
	"dryslot/internal/web"
	"dryslot/internal/web/pages/view"
)

// accountNews is what became of a form of the account's page.
type accountNews struct {
	secret  string // a token that was made
	archive string // address of an archive that was asked for
	told    string
	wrong   []string
}

// account shows what opens the account, signed-in browsers and tokens, and what
// is kept of it.
func (p *pages) account(c echo.Context) error { return p.showAccount(c, http.StatusOK, accountNews{}) }

func (p *pages) showAccount(c echo.Context, status int, news accountNews) error {
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
	held, err := p.services.Accounts.Holdings(ctx, who)
	if err != nil {
		return p.trouble(c, err)
	}
	page := view.NewAccount(p.plain(c, view.AccountPage), p.reader(c))
	if err := p.addPasskeys(c, &page); err != nil {
		return p.trouble(c, err)
	}
	page.Mail, page.Mails, page.Told = mail, p.services.Accounts.Mails(), news.told
	page.Holds(accounts.Short(who), held)
	for _, s := range sessions {
		page.AddBrowser(s.ID, s.Browser, s.CreatedAt)
	}
	for _, t := range tokens {
		page.AddToken(t.ID, t.Name, t.CreatedAt)
	}
	page.Secret, page.Archive, page.Wrong = news.secret, news.archive, news.wrong
	if len(news.wrong) > 0 {
		page.KeyName = c.FormValue("key_name")
		page.Name, page.Address = c.FormValue("name"), c.FormValue("mail")
	}
	return p.show(c, status, page)
}

// changeAccount signs a browser out, makes or revokes a token, gives out what is
// kept or deletes it.
func (p *pages) changeAccount(c echo.Context) error {
	ctx, who := c.Request().Context(), account(c)
	var news accountNews
	var err error
	switch c.FormValue("do") {
	case "end-session":
		err = p.services.Accounts.EndSession(ctx, who, c.FormValue("session"))
	case "new-token":
		news.secret, _, err = p.services.Accounts.NewToken(ctx, who, strings.TrimSpace(c.FormValue("name")),
			p.reader(c).Language)
	case "mail":
		order := accounts.MailOrder{Address: c.FormValue("mail"), Language: p.reader(c).Language, Next: "/account",
			Account: who}
		if err = p.services.Accounts.AskAttach(ctx, order, p.browser(c)); err == nil {
			news.told = p.reader(c).Label(view.MailSent)
		}
	case "revoke-token":
		err = p.services.Accounts.RevokeToken(ctx, who, c.FormValue("token"))
	case "new-passkey":
		err = p.services.Accounts.AddPasskey(ctx, who, c.FormValue("key_name"), c.FormValue("passkey"),
			p.reader(c).Language)
		if err == nil {
			news.told = p.reader(c).Label(view.PasskeyMade)
		}
	case "name-passkey":
		err = p.services.Accounts.NamePasskey(ctx, who, c.FormValue("key"), c.FormValue("key_name"))
	case "remove-passkey":
		err = p.services.Accounts.RemovePasskey(ctx, who, c.FormValue("key"))
	case "archive":
		var key string
		if key, err = p.services.Accounts.NewArchiveLink(ctx, who); err == nil {
			news.archive = "/archive/" + key
		}
	case "delete":
		if err = p.services.Accounts.Delete(ctx, who, strings.TrimSpace(c.FormValue("confirm"))); err == nil {
			c.SetCookie(p.cookie("", time.Unix(1, 0)))
			return c.Redirect(http.StatusSeeOther, "/sign-in")
		}
	default:
		err = fault.Of(fault.Invalid, NothingAsked)
	}
	switch {
	case err == nil && (news.secret != "" || news.told != "" || news.archive != ""):
		return p.showAccount(c, http.StatusOK, news)
	case err == nil, errors.Is(err, fault.NotFound): // gone already, which was asked for
		return c.Redirect(http.StatusSeeOther, "/account")
	}
	problem := web.ProblemOf(err)
	if problem.Status >= http.StatusInternalServerError {
		return p.trouble(c, err)
	}
	return p.showAccount(c, problem.Status, accountNews{wrong: inWords(problem, p.reader(c))})
}

// archive gives out what is kept of an account to whoever has the link, once.
func (p *pages) archive(c echo.Context) error {
	ctx := c.Request().Context()
	use := p.services.Accounts.UseArchiveLink
	if web.AsksHead(c.Request()) {
		use = p.services.Accounts.AccountByArchiveLink
	}
	who, err := use(ctx, c.Param("key"))
	if err != nil {
		return p.trouble(c, err)
	}
	archive, err := web.NewArchive(ctx, func(ctx context.Context, fn func(context.Context, web.Tx) error) error {
		return p.store.InAccount(ctx, who, fn)
	}, p.s.Clock())
	if err != nil {
		return p.trouble(c, err)
	}
	c.Response().Header().Set(echo.HeaderContentDisposition, `attachment; filename="`+web.ArchiveName(who)+`"`)
	p.s.SendArchive(ctx, c.Response(), archive)
	return nil
}
