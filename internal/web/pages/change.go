package pages

import (
	"context"
	"math"
	"net/http"
	"strconv"
	"strings"

	"github.com/labstack/echo/v4"

	"dryslot/internal/fault"
	"dryslot/internal/pour"
	"dryslot/internal/unit"
	"dryslot/internal/web"
	"dryslot/internal/web/pages/view"
)

func (p *pages) askChange(c echo.Context) error {
	return p.onProject(c, func(b board) error {
		none := func(string) (string, bool) { return "", false }
		return p.show(c, http.StatusOK, view.NewChange(b.Setting, none, nil))
	})
}

// change changes the project by the form, or removes it where that
// word is typed; what is wrong is said with what was given still in the form.
func (p *pages) change(c echo.Context) error {
	return p.onProject(c, func(b board) error {
		if c.FormValue("do") == "remove" {
			return p.remove(c, b)
		}
		given := func(name string) (string, bool) { return c.FormValue(name), true }
		spec, wrong := readChange(c.FormValue, b.Project.Spec)
		faults := setupFaults(setupFaults(nil, wrong.Broken(FormUnread), b.Reader), spec.Validate(), b.Reader)
		if len(faults) == 0 {
			revision, _ := strconv.ParseInt(c.FormValue("revision"), 10, 64) // unreadable: no revision, so stale
			_, err := p.services.Projects.ChangeProject(c.Request().Context(), account(c), b.Project.ID, revision, spec)
			switch fault.KindOf(err) {
			case "":
				if err != nil {
					return p.trouble(c, err)
				}
				return c.Redirect(http.StatusSeeOther, "/p/"+b.Project.ID)
			case fault.Stale:
				faults = []view.Fault{{Words: b.Reader.Label(view.ChangedMeanwhile)}}
			case fault.Invalid:
				faults = setupFaults(nil, err, b.Reader)
			default:
				return p.trouble(c, err)
			}
		}
		return p.show(c, http.StatusUnprocessableEntity, view.NewChange(b.Setting, given, faults))
	})
}

func (p *pages) remove(c echo.Context, b board) error {
	if !strings.EqualFold(strings.TrimSpace(c.FormValue("sure")), "remove") {
		none := func(string) (string, bool) { return "", false }
		return p.show(c, http.StatusUnprocessableEntity, view.NewChange(b.Setting, none,
			[]view.Fault{{Field: "sure", Label: b.Reader.Label(view.RemoveLabel), Words: b.Reader.Label(view.RemoveNot)}}))
	}
	err := p.store.InAccount(c.Request().Context(), account(c), func(ctx context.Context, tx web.Tx) error {
		return tx.DeleteProject(ctx, b.Project.ID)
	})
	if err != nil {
		return p.trouble(c, err)
	}
	return c.Redirect(http.StatusSeeOther, "/projects")
}

// readChange puts the form's values in place of a spec's.
func readChange(value func(string) string, s pour.Spec) (pour.Spec, fault.List) {
	var wrong fault.List
	given := func(name string) string { return strings.TrimSpace(value(name)) }
	number := func(name string) float64 {
		v, err := strconv.ParseFloat(strings.ReplaceAll(given(name), ",", "."), 64)
		if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
			wrong.Break(name, given(name), fault.RuleOf(fault.NumberWanted))
			return 0
		}
		return v
	}
	whole := func(name string) int {
		n, err := strconv.Atoi(given(name))
		if err != nil {
			wrong.Break(name, given(name), fault.RuleOf(fault.WholeWanted))
		}
		return n
	}
	clock := func(name string) unit.Clock { return readTime(&wrong, name, given(name)) }
	s.Name = given("name")
	if lang := given("language"); lang != "" {
		s.Language = &lang
	}
	s.Limits.RainRisk = number("risk") / 100
	s.Crew.People, s.Crew.BagsPerHour = whole("people"), number("rate")
	s.Crew.EarliestStart, s.Crew.LatestFinish = clock("earliest"), clock("latest")
	s.Alerts.EveningAt, s.Alerts.QuietUntil, s.Alerts.LeadMin = clock("evening"), clock("quiet"), whole("lead")
	s.Mix.PricePerBag = nil
	if given("price") != "" {
		v := number("price")
		s.Mix.PricePerBag = &v
	}
	was := s.Stock.BagsOnHand
	s.Stock.BagsOnHand = nil
	if given("bags") != "" {
		n := whole("bags")
		s.Stock.BagsOnHand = &n
	}
	if now := s.Stock.BagsOnHand; was == nil || now == nil || *was != *now {
		s.Stock.CountedAt = nil // counted now
	}
	return s, wrong
}
