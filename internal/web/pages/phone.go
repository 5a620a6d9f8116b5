package pages

import (
	"net/http"
	"sync"

	"github.com/labstack/echo/v4"

	"dryslot/internal/web/draw"
	"dryslot/internal/web/pages/view"
	"dryslot/internal/web/phone"
)

// forever is for what never changes under its address.
const forever = "public, max-age=31536000, immutable"

// phone registers what makes the pages an app on a phone.
func (p *pages) phone(e *echo.Echo) {
	script := phone.Read()
	e.GET(script.Address, func(c echo.Context) error {
		c.Response().Header().Set("Cache-Control", forever)
		return c.Blob(http.StatusOK, "text/javascript; charset=utf-8", script.JS)
	})
	e.GET(phone.WorkerAddress, func(c echo.Context) error {
		setHeaders(c.Response().Header())
		c.Response().Header().Set("Cache-Control", "no-cache")
		return c.Blob(http.StatusOK, "text/javascript; charset=utf-8", script.JS)
	})
	e.GET(phone.ManifestAddress, func(c echo.Context) error {
		b, err := phone.Manifest(p.reader(c).Language)
		if err != nil {
			return err
		}
		c.Response().Header().Set(echo.HeaderVary, "Accept-Language")
		return c.Blob(http.StatusOK, "application/manifest+json", b)
	})
	for _, size := range phone.IconSizes() {
		drawn := sync.OnceValues(func() ([]byte, error) { return draw.Icon(size) })
		e.GET(phone.IconAddress(size), func(c echo.Context) error {
			b, err := drawn()
			if err != nil {
				return err
			}
			c.Response().Header().Set("Cache-Control", "public, max-age=86400")
			return c.Blob(http.StatusOK, "image/png", b)
		})
	}
	e.GET("/offline", func(c echo.Context) error {
		r := p.reader(c)
		return p.show(c, http.StatusOK, view.Trouble{Frame: p.plain(c, view.OfflinePage),
			Headline: r.Label(view.OfflinePage), Lines: []string{r.Label(view.OfflineWhy)}})
	}, p.manners)
}
