package pages

import (
	"context"
	"errors"
	"net/http"
	"net/url"
	"strings"

	"github.com/labstack/echo/v4"

	"dryslot/internal/accounts"
	"dryslot/internal/fault"
	"dryslot/internal/message"
	"dryslot/internal/web"
	"dryslot/internal/web/pages/view"
)

// actsKey is where in echo's context it stands as whom a page's visitor works.
const actsKey = "acts"

// acts returns as whom a visitor works on the project of a page.
func acts(c echo.Context) accounts.Member {
	m, _ := c.Get(actsKey).(accounts.Member)
	return m
}

// actAs finds out as whom a signed-in visitor works on the project of a page, and
// refuses a member whose role does not allow it.
func (p *pages) actAs(c echo.Context, needed accounts.Role) error {
	m := accounts.Member{Role: accounts.RoleAccount}
	if id := c.Param("id"); id != "" {
		var err error
		m, err = p.services.Accounts.RoleOn(c.Request().Context(), account(c), id)
		if err != nil && !errors.Is(err, fault.NotFound) {
			return err
		}
		if err != nil {
			m = accounts.Member{Role: accounts.RoleAccount} // an id that can't be one names nothing
		}
	}
	c.Set(actsKey, m)
	if m.Role == accounts.RoleAccount {
		return nil
	}
	if !m.Role.May(needed) {
		return web.NewProblem(http.StatusForbidden, message.New(accounts.RoleTooLow,
			message.Term("needed", string(needed)), message.Term("is", string(m.Role))))
	}
	c.Set(accountKey, m.Account)
	c.SetRequest(c.Request().WithContext(accounts.Acting(c.Request().Context(), m)))
	return nil
}

// crew shows who takes part in a project and the links by which others may.
func (p *pages) crew(c echo.Context) error { return p.showCrew(c, http.StatusOK, "", nil) }

func (p *pages) showCrew(c echo.Context, status int, link string, wrong []string) error {
	return p.onProject(c, func(b board) error {
		ctx, who, id := c.Request().Context(), account(c), b.Project.ID
		members, err := p.services.Accounts.Members(ctx, who, id)
		if err != nil {
			return p.trouble(c, err)
		}
		invitations, err := p.services.Accounts.Invitations(ctx, who, id)
		if err != nil {
			return p.trouble(c, err)
		}
		page := view.NewCrew(b.Setting)
		for _, m := range members {
			page.AddMember(b.Setting, m.Member, m.Name, string(m.Role), m.Since)
		}
		for _, i := range invitations {
			page.AddInvitation(b.Setting, i.ID, string(i.Role), i.ExpiresAt)
		}
		page.Link, page.Wrong = link, wrong
		return p.show(c, status, page)
	})
}

// changeCrew makes or withdraws a link, removes a member, or renews the
// calendar's address.
func (p *pages) changeCrew(c echo.Context) error {
	ctx, who, id := c.Request().Context(), account(c), c.Param("id")
	// Members and links hang on a project of the account itself.
	err := p.store.InAccount(ctx, who, func(ctx context.Context, tx web.Tx) error {
		_, err := tx.Project(ctx, id)
		return err
	})
	if err != nil {
		return p.trouble(c, err)
	}
	link := ""
	switch c.FormValue("do") {
	case "invite":
		var key string
		if key, _, err = p.services.Accounts.Invite(ctx, who, id, accounts.Role(c.FormValue("role"))); err == nil {
			link = p.s.PublicURL + "/join/" + url.PathEscape(key)
		}
	case "withdraw":
		err = p.services.Accounts.Withdraw(ctx, who, id, c.FormValue("invitation"))
	case "remove":
		err = p.services.Accounts.RemoveMember(ctx, who, id, c.FormValue("member"))
	case "renew":
		err = p.store.InAccount(ctx, who, func(ctx context.Context, tx web.Tx) error {
			return tx.RenewCalendarKey(ctx, id)
		})
	default:
		err = fault.New(fault.Invalid, "nothing was asked for")
	}
	switch {
	case err == nil && link != "":
		return p.showCrew(c, http.StatusOK, link, nil)
	case err == nil, errors.Is(err, fault.NotFound): // gone already, which was asked for
		return c.Redirect(http.StatusSeeOther, "/p/"+id+"/crew")
	}
	problem := web.ProblemOf(err)
	if problem.Status >= http.StatusInternalServerError {
		return p.trouble(c, err)
	}
	return p.showCrew(c, problem.Status, "", inWords(problem, p.reader(c)))
}

// askJoin shows what a link is for, and asks for a name, or for a sign-in first.
func (p *pages) askJoin(c echo.Context) error { return p.showJoin(c, http.StatusOK, nil) }

func (p *pages) showJoin(c echo.Context, status int, wrong []string) error {
	to, err := p.services.Accounts.InvitedBy(c.Request().Context(), c.Param("key"))
	if err != nil {
		return p.notInvited(c, err)
	}
	_, err = p.current(c)
	if err != nil && !errors.Is(err, fault.Forbidden) {
		return p.trouble(c, err)
	}
	page := view.NewJoin(p.plain(c, view.JoinPage), p.reader(c), to.ProjectName, string(to.Role),
		joinPath(c.Param("key")))
	page.Known, page.Wrong, page.Name, page.Mails = err == nil, wrong, c.FormValue("name"), p.services.Accounts.Mails()
	return p.show(c, status, page)
}

// notInvited shows that a link opens nothing: an address that nobody has to
// sign in for is not found, and not forbidden.
func (p *pages) notInvited(c echo.Context, err error) error {
	if errors.Is(err, fault.Forbidden) {
		err = fault.Of(fault.NotFound, accounts.InvitationSpent).By(err)
	}
	return p.trouble(c, err)
}

func joinPath(key string) string { return "/join/" + url.PathEscape(key) }

func (p *pages) join(c echo.Context) error {
	project, err := p.services.Accounts.Join(c.Request().Context(), c.Param("key"), account(c), c.FormValue("name"))
	if err == nil {
		return c.Redirect(http.StatusSeeOther, "/p/"+project)
	}
	problem := web.ProblemOf(err)
	if errors.Is(err, fault.Forbidden) || problem.Status >= http.StatusInternalServerError {
		return p.notInvited(c, err)
	}
	return p.showJoin(c, problem.Status, inWords(problem, p.reader(c)))
}

// invited reports whether a page to go to is that of a link that can be used.
func (p *pages) invited(ctx context.Context, next string) (bool, error) {
	key, ok := strings.CutPrefix(next, "/join/")
	if !ok {
		return false, nil
	}
	key, err := url.PathUnescape(key)
	if err != nil {
		return false, nil
	}
	_, err = p.services.Accounts.InvitedBy(ctx, key)
	if errors.Is(err, fault.Forbidden) {
		return false, nil
	}
	return err == nil, err
}

// shared lists the projects of others that an account takes part in.
func (p *pages) shared(ctx context.Context, who string) ([]view.SharedProject, error) {
	memberships, err := p.services.Accounts.Memberships(ctx, who)
	if err != nil {
		return nil, err
	}
	var out []view.SharedProject
	for _, m := range memberships {
		err := p.store.InAccount(accounts.Acting(ctx, m), m.Account, func(ctx context.Context, tx web.Tx) error {
			x, err := tx.Project(ctx, m.Project)
			out = append(out, view.SharedProject{Project: x, Role: string(m.Role)})
			return err
		})
		if err != nil {
			return nil, err
		}
	}
	return out, nil
}
