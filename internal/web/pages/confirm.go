package pages

import (
	"net/http"
	"slices"

	"github.com/labstack/echo/v4"

	"dryslot/internal/projects"
	"dryslot/internal/web/pages/view"
)

// askConfirm shows what is taken to have been done and was not logged.
func (p *pages) askConfirm(c echo.Context) error {
	return p.onDay(c, func(b board) error { return p.show(c, http.StatusOK, view.NewConfirm(b.Setting)) })
}

// confirm logs it, but for the pads that were switched off.
func (p *pages) confirm(c echo.Context) error {
	form, err := c.FormParams()
	if err != nil {
		return p.trouble(c, err)
	}
	answer := projects.Confirmation{Pads: form["pads"], By: acts(c).Name}
	for _, pad := range form["offered"] {
		if !slices.Contains(form["pads"], pad) { // switched off
			answer.Not = append(answer.Not, pad)
		}
	}
	if err := p.services.Projects.Confirm(c.Request().Context(), account(c), c.Param("id"), answer); err != nil {
		return p.trouble(c, err)
	}
	return c.Redirect(http.StatusSeeOther, "/p/"+c.Param("id"))
}
