package pages

import (
	"net/http"
	"slices"

	"github.com/labstack/echo/v4"

	"dryslot/internal/takeoff"
	"dryslot/internal/web/pages/states"
	"dryslot/internal/web/pages/view"
)

// statePages are the pages that look different from state to state.
var statePages = []string{"day", "live", "pads", "proved"}

// allStates lists an invented project in every state, for who works on the pages: where
// the weather is invented too.
func (p *pages) allStates(c echo.Context) error {
	page := view.Projects{Frame: p.plain(c, view.StatesPage), Headline: p.reader(c).Label(view.StatesPage)}
	for _, state := range states.Names() {
		for _, name := range statePages {
			page.Items = append(page.Items, view.ProjectLine{Name: state + " " + name, Href: "/states/" + state + "/" +
				name})
		}
	}
	return p.show(c, http.StatusOK, page)
}

// oneState shows one page of an invented project in one state.
func (p *pages) oneState(c echo.Context) error {
	state := c.Param("state")
	if !slices.Contains(states.Names(), state) {
		return echo.ErrNotFound
	}
	s := states.In(states.Setting(state), p.reader(c).Language)
	s.Still = true
	switch c.Param("page") {
	case "live":
		return p.show(c, http.StatusOK, view.NewLive(s))
	case "pads":
		return p.show(c, http.StatusOK, view.NewPads(s, states.Bags))
	case "proved":
		return p.show(c, http.StatusOK, view.NewProved(s, states.Proof(40)))
	}
	t := takeoff.Of(takeoff.Job{Spec: s.Project.Spec, Records: s.Records, Pours: s.Plan.Pours})
	page, _ := view.NewDay(s, states.Date(), t)
	return p.show(c, http.StatusOK, page)
}
