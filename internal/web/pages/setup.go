package pages

import (
	"errors"
	"math"
	"net/http"
	"strconv"
	"strings"

	"github.com/labstack/echo/v4"

	"dryslot/internal/fault"
	"dryslot/internal/message"
	"dryslot/internal/notify"
	"dryslot/internal/place"
	"dryslot/internal/pour"
	"dryslot/internal/say"
	"dryslot/internal/unit"
	"dryslot/internal/web/pages/view"
)

// setupReader is who the form is for: the units are those asked for, else those
// usual where the language is spoken.
func (p *pages) setupReader(c echo.Context, units string) say.Reader {
	r := p.reader(c)
	if units != "" {
		r.US = units == place.UnitsUS
	}
	return r
}

func (p *pages) askSetup(c echo.Context) error {
	none := func(string) (string, bool) { return "", false }
	return p.show(c, http.StatusOK,
		view.NewSetup(p.plain(c, view.SetupPage), p.setupReader(c, c.QueryParam("units")), none, nil))
}

// setup makes a project from the form; all that is wrong is said at once, with
// what was given still in it.
func (p *pages) setup(c echo.Context) error {
	ctx := c.Request().Context()
	r := p.setupReader(c, c.FormValue("units"))
	spec, wrong := readSetup(c.FormValue, r.US)
	mail := notify.Recipient{Kind: notify.Email, Address: strings.TrimSpace(c.FormValue("email"))}
	faults := setupFaults(nil, wrong.Broken(FormUnread), r)
	if mail.Address != "" {
		faults = setupFaults(faults, mail.Check(), r)
	}
	faults = setupFaults(faults, spec.Validate(), r)
	if len(faults) == 0 {
		kept, err := p.services.Projects.CreateProject(ctx, account(c), spec)
		if err == nil && mail.Address != "" {
			mail.Project = kept.ID
			_, err = p.services.Alerts.AddRecipient(ctx, account(c), mail)
		}
		if err == nil {
			return c.Redirect(http.StatusSeeOther, "/p/"+kept.ID)
		}
		if fault.KindOf(err) != fault.Invalid {
			return p.trouble(c, err)
		}
		faults = setupFaults(nil, err, r)
	}
	given := func(name string) (string, bool) { return c.FormValue(name), true }
	return p.show(c, http.StatusUnprocessableEntity, view.NewSetup(p.plain(c, view.SetupPage), r, given, faults))
}

// mostInRow bounds the numbers of pads before any is made.
const mostInRow = 100

// readSetup makes a project of pads in rows from the form, in SI.
func readSetup(value func(string) string, us bool) (pour.Spec, fault.List) {
	var wrong fault.List
	litre, yield := 1.0, 1.0
	s := pour.DefaultSpec()
	s.Units = "metric"
	if us {
		s.Units = "us"
		litre = unit.LitresPerQuart
		yield = math.Pow(unit.MetresPerFoot, 3) * 1000
	}
	number := func(name string, factor float64) float64 {
		v, err := strconv.ParseFloat(strings.ReplaceAll(strings.TrimSpace(value(name)), ",", "."), 64)
		if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
			wrong.Break(name, value(name), fault.RuleOf(fault.NumberWanted))
			return 0
		}
		return math.Round(v*factor*1e6) / 1e6
	}
	whole := func(name string, most int) int {
		n, err := strconv.Atoi(strings.TrimSpace(value(name)))
		if err != nil || n < 1 || n > most {
			wrong.Break(name, value(name), fault.Whole(1, most))
			return 0
		}
		return n
	}
	clock := func(name string) unit.Clock { return readTime(&wrong, name, value(name)) }
	quantity := func(name string) float64 {
		f, err := view.Typed(name, value(name), us)
		q, _ := f.Value.(message.Quantity)
		var refused *unit.Refusal
		if errors.As(err, &refused) {
			wrong.Break(name, value(name), fault.Refused(refused))
			return 0
		}
		return math.Round(q.V*1e6) / 1e6
	}
	if lang := value("language"); lang != "" {
		s.Language = &lang
	}
	s.Name = strings.TrimSpace(value("name"))
	if both := strings.Fields(strings.ReplaceAll(value("latitude"), ", ", " ")); len(both) == 2 && strings.TrimSpace(value("longitude")) == "" {
		typed := value
		value = func(name string) string { // as a map gives them
			switch name {
			case "latitude":
				return both[0]
			case "longitude":
				return both[1]
			}
			return typed(name)
		}
	}
	s.Latitude, s.Longitude = number("latitude", 1), number("longitude", 1)
	s.Mix.BagKg, s.Mix.YieldLPerBag = quantity("bag"), number("yield", yield)
	s.Mix.WaterLPerBag, s.Mix.WaterLPerBagMax = number("water", litre), number("water_max", litre)
	s.Mix.PricePerBag = nil // not asked: better unknown than another bag's
	s.Crew.People, s.Crew.BagsPerHour = whole("people", 10), number("rate", 1)
	s.Crew.EarliestStart, s.Crew.LatestFinish, s.Crew.Finish = clock("earliest"), clock("latest"), value("finish")
	forms := whole("forms", pour.MaxPads)
	s.FormSets = []pour.FormSet{{Name: firstForms, Count: forms}}
	alternate, between := value("order") == "alternate", firstForms
	if strings.TrimSpace(value("infill")) != "" {
		kept := whole("infill", pour.MaxPads)
		switch {
		case !alternate:
			wrong.Break("infill", value("infill"), fault.RuleOf(InfillOrder))
		case kept > 0 && forms > 0 && kept >= forms:
			wrong.Break("infill", value("infill"), fault.RuleOf(InfillAll))
		case kept > 0:
			between = infillForms
			s.FormSets = []pour.FormSet{{Name: firstForms, Count: forms - kept}, {Name: infillForms, Count: kept}}
		}
	}
	across, rows := whole("across", mostInRow), whole("rows", mostInRow)
	if across*rows > pour.MaxPads {
		wrong.Break("rows", strconv.Itoa(across*rows), fault.RuleOf(PadsTooMany, message.Count("max", pour.MaxPads)))
		across, rows = 0, 0
	}
	one := pour.Pad{LengthM: quantity("length"), WidthM: quantity("width"), ThicknessM: quantity("thickness")}
	gap := quantity("gap")
	if across == 0 || rows == 0 {
		across, rows = 1, 1 // so that one pad's size is judged all the same
	}
	s.Pads = grid(one, across, rows, gap, alternate, between)
	return s, wrong
}

// readTime reads a time of day as people type it.
func readTime(wrong *fault.List, name, value string) unit.Clock {
	c, err := unit.ParseTime(strings.TrimSpace(value))
	var refused *unit.Refusal
	if errors.As(err, &refused) {
		wrong.Break(name, value, fault.Refused(refused))
	}
	return c
}

// The form sets that the page makes.
const (
	firstForms  = "forms"
	infillForms = "infill forms"
)

// grid lays pads of one size out in rows; alternate has every other one wait
// until its neighbours are stripped, in the form set named between.
func grid(one pour.Pad, across, rows int, gap float64, alternate bool, between string) []pour.Pad {
	name := func(r, k int) string { return rowName(r) + strconv.Itoa(k+1) }
	first := firstForms
	var out []pour.Pad
	for r := range rows {
		for k := range across {
			p := one
			p.Name, p.FormSet, p.After = name(r, k), &first, []pour.After{}
			p.XM, p.YM = float64(k)*(one.LengthM+gap), float64(r)*(one.WidthM+gap)
			if alternate && (r+k)%2 == 1 {
				p.FormSet = &between
				for _, n := range [][2]int{{r - 1, k}, {r, k - 1}, {r, k + 1}, {r + 1, k}} {
					if n[0] >= 0 && n[0] < rows && n[1] >= 0 && n[1] < across {
						p.After = append(p.After, pour.After{Pad: name(n[0], n[1]), Until: pour.Stripped})
					}
				}
			}
			out = append(out, p)
		}
	}
	return out
}

// rowName gives A to Z, then AA and on.
func rowName(r int) string {
	if r < 26 {
		return string(rune('A' + r))
	}
	return rowName(r/26-1) + rowName(r%26)
}
