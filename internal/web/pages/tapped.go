package pages

import (
	"cmp"
	"net/http"
	"strconv"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"dryslot/internal/web/pages/view"
)

// asScript reports whether the script of the pages asks, which reads JSON.
func asScript(c echo.Context) bool {
	return c.Request().Header.Get("Accept") == echo.MIMEApplicationJSON
}

// told is the answer to the script, with what would stand on a page: an entry that is
// accepted is 201 with the Location of the page that follows.
type told struct {
	Wrong []string `json:"wrong"`
}

// tapTime takes the time of an entry from the tap, where the script gives it: the
// page may be hours old, and the entry may have waited for signal. Without a
// script it is the time of arrival. "20 minutes ago" counts back from it, and a
// time that the builder gave goes before.
func (p *pages) tapTime(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		form := c.Request().Form
		if form.Get("at") == "" {
			at := p.timeOf(form.Get("tapped"))
			if ago, err := strconv.Atoi(cmp.Or(form.Get("ago"), "0")); err == nil && ago >= 0 && ago <= longAgo {
				form.Set("at", at.Add(-time.Duration(ago)*time.Minute).Format(time.RFC3339Nano))
			}
		}
		answerScript(c)
		return next(c)
	}
}

// timeOf is the time of a tap, else that of arrival.
func (p *pages) timeOf(tapped string) time.Time {
	if at, err := time.Parse(time.RFC3339Nano, tapped); err == nil {
		return at
	}
	return p.s.Clock()
}

// answerScript has the script get 201 where a browser is led on.
func answerScript(c echo.Context) {
	if !asScript(c) {
		return
	}
	r := c.Response()
	r.Before(func() {
		if r.Status == http.StatusSeeOther && !strings.HasPrefix(r.Header().Get(echo.HeaderLocation), "/sign-in") {
			r.Status = http.StatusCreated
		}
	})
}

// longAgo is how many minutes ago an entry can be said to be.
const longAgo = 24 * 60

// showScript answers the script with what is wrong, in the words of the page.
func showScript(c echo.Context, status int, page view.Page) error {
	out := told{Wrong: []string{}}
	if x, ok := page.(interface{ Problems() []string }); ok {
		out.Wrong = x.Problems()
	}
	return c.JSON(status, out)
}
