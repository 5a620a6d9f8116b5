package pages

import (
	"net/http"

	"github.com/labstack/echo/v4"

	"dryslot/internal/alerts"
	"dryslot/internal/fault"
	"dryslot/internal/place"
	"dryslot/internal/say"
	"dryslot/internal/web/pages/view"
)

// reach shows the reader of a mail address whether alerts go to it. Opening it
// changes nothing: programs that look at links in mail open them too.
func (p *pages) reach(c echo.Context) error {
	to, err := p.services.Alerts.ReaderOf(c.Request().Context(), c.Param("key"))
	if err != nil {
		return p.trouble(c, err)
	}
	return p.showReach(c, to)
}

func (p *pages) showReach(c echo.Context, to alerts.Reader) error {
	x := to.Project
	r := say.Asked(c.Request().Header.Get("Accept-Language"), x.Language, x.Units == place.UnitsUS)
	frame := view.Plain(r, r.Label(view.ReachPage), p.s.Sample, false)
	return p.show(c, http.StatusOK, view.NewReach(frame, r, to.State(), to.Address, x.Name, c.Request().URL.Path))
}

// changeReach agrees to alerts or stops them. A mail program that stops them for
// its reader posts List-Unsubscribe=One-Click, with no cookie (RFC 8058).
func (p *pages) changeReach(c echo.Context) error {
	ctx, key := c.Request().Context(), c.Param("key")
	var err error
	switch {
	case c.FormValue("do") == "confirm":
		err = p.services.Alerts.Confirm(ctx, key)
	case c.FormValue("do") == "stop", c.FormValue("List-Unsubscribe") == "One-Click":
		err = p.services.Alerts.Stop(ctx, key)
	default:
		err = fault.New(fault.Invalid, "nothing was asked for")
	}
	if err != nil {
		return p.trouble(c, err)
	}
	return p.reach(c)
}
