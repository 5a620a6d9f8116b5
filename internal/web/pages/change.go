package pages

import (
	"context"
	"net/http"
	"strconv"
	"strings"

	"github.com/labstack/echo/v4"

	"dryslot/internal/fault"
	"dryslot/internal/message"
	"dryslot/internal/place"
	"dryslot/internal/web"
	"dryslot/internal/web/form"
	"dryslot/internal/web/pages/view"
)

func (p *pages) askChange(c echo.Context) error {
	return p.onProject(c, func(b board) error {
		in := p.readJob(c.Request().Context(), form.Of(b.Project.Spec, b.Reader), b.Project.Spec, b.Reader, false)
		return p.show(c, http.StatusOK, view.ChangedJob(b.Setting, in))
	})
}

// change changes the project by the form, or removes it where that
// word is typed; what is wrong is said with what was given still in the form.
func (p *pages) change(c echo.Context) error {
	return p.onProject(c, func(b board) error {
		ctx := c.Request().Context()
		v, button := posted(c)
		if button == "remove" {
			return p.remove(c, b)
		}
		r := b.Reader
		if units := v.Get("units"); units != "" {
			r.US = units == place.UnitsUS
			b.Reader = r
		}
		keep := !form.Press(v, button) && button != lookOnly
		in := p.readJob(ctx, v, b.Project.Spec, r, keep)
		b.Project.Revision, _ = strconv.ParseInt(v.Get("revision"), 10, 64) // unreadable: no revision, so stale
		if keep && len(in.Wrong) == 0 {
			_, err := p.services.Projects.ChangeProject(ctx, account(c), b.Project.ID, b.Project.Revision, in.Got.Spec)
			switch fault.KindOf(err) {
			case "":
				if err != nil {
					return p.trouble(c, err)
				}
				return c.Redirect(http.StatusSeeOther, "/p/"+b.Project.ID)
			case fault.Stale:
				in.Wrong = []view.Fault{{Words: r.Label(view.ChangedMeanwhile)}}
			case fault.Invalid, fault.Conflict:
				in.Wrong = formFaults(nil, err, in.Got, r)
			default:
				return p.trouble(c, err)
			}
		}
		return p.show(c, status(keep), view.ChangedJob(b.Setting, in))
	})
}

func (p *pages) remove(c echo.Context, b board) error {
	word := b.Reader.Label(view.RemoveWord)
	if sure := strings.TrimSpace(c.FormValue("sure")); !strings.EqualFold(sure, word) &&
		!strings.EqualFold(sure, "remove") {
		in := p.readJob(c.Request().Context(), form.Of(b.Project.Spec, b.Reader), b.Project.Spec, b.Reader, false)
		in.Wrong = []view.Fault{{Field: "sure", Label: b.Reader.Label(view.RemoveLabel),
			Words: b.Reader.Say(message.New(view.RemoveNot))}}
		return p.show(c, http.StatusUnprocessableEntity, view.ChangedJob(b.Setting, in))
	}
	err := p.store.InAccount(c.Request().Context(), account(c), func(ctx context.Context, tx web.Tx) error {
		return tx.DeleteProject(ctx, b.Project.ID)
	})
	if err != nil {
		return p.trouble(c, err)
	}
	return c.Redirect(http.StatusSeeOther, "/projects")
}
