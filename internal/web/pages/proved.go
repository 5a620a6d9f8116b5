package pages

import (
	"context"
	"net/http"

	"github.com/labstack/echo/v4"

	"dryslot/internal/fault"
	"dryslot/internal/place"
	"dryslot/internal/web"
	"dryslot/internal/web/pages/view"
)

// proved shows how earlier chances of rain proved at the project's place.
func (p *pages) proved(c echo.Context) error {
	return p.onProject(c, func(b board) error {
		proof := view.Proof{}
		err := p.store.InAccount(c.Request().Context(), account(c), func(ctx context.Context, tx web.Tx) error {
			kept, _, err := web.Planned(ctx, tx, b.Project.ID, place.CellOf(b.Project.Latitude, b.Project.Longitude))
			if fault.KindOf(err) == fault.NotFound {
				return nil // before the first forecast
			}
			if err != nil {
				return err
			}
			stated, _ := kept.Forecast.Stated()
			proof.Wet = stated.Wet
			proof.Of, proof.Reports, proof.Told, err = p.services.Forecasts.Proved(ctx, account(c), kept)
			return err
		})
		if err != nil {
			return p.trouble(c, err)
		}
		return p.show(c, http.StatusOK, view.NewProved(b.Setting, proof))
	})
}
