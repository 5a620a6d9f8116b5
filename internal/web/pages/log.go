package pages

import (
	"cmp"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"dryslot/internal/fault"
	"dryslot/internal/message"
	"dryslot/internal/pour"
	"dryslot/internal/projects"
	"dryslot/internal/unit"
	"dryslot/internal/web/pages/view"
)

// entriesShown is how many entries of the log a page shows.
const entriesShown = 40

// log shows what happened so far; after an entry, what followed from it.
func (p *pages) log(c echo.Context) error {
	return p.onProject(c, func(b board) error {
		newest := newestFirst(b.Log)
		for _, e := range b.Log {
			if e.ID != "" && e.ID == c.QueryParam("entry") {
				changes := b.changes
				if e.RecordedAt.After(b.Plan.MadeAt) { // no plan could be made from it yet
					changes = []string{b.Reader.Say(message.New(projects.PlanFollows))}
				}
				return p.show(c, http.StatusOK, view.Answered(b.Setting, e, changes, newest))
			}
		}
		return p.show(c, http.StatusOK, view.NewLog(b.Setting, newest, nil))
	})
}

func newestFirst(log []pour.LogEntry) []pour.LogEntry {
	var out []pour.LogEntry
	for i := len(log) - 1; i >= 0 && len(out) < entriesShown; i-- {
		out = append(out, log[i])
	}
	return out
}

// record takes the form. What is wrong is said above it, with what was given
// still in it; what is accepted answers with the plan that follows.
func (p *pages) record(c echo.Context) error {
	return p.onProject(c, func(b board) error {
		entry, given, wrong := readForm(c, b.Setting)
		if len(wrong) > 0 {
			given.Wrong = append(given.Wrong, logWords(pour.CheckEntry(b.Project.Spec, entry, b.Now), b.Setting,
				wrong)...)
		} else {
			entry.By = acts(c).Name
			told, err := p.services.Projects.Record(c.Request().Context(), account(c), b.Project.ID, entry)
			if err == nil {
				return c.Redirect(http.StatusSeeOther, after(c.FormValue("back"), b.Project.ID, told.Entry.ID))
			}
			if kind := fault.KindOf(err); kind != fault.Invalid && kind != fault.Conflict {
				return p.trouble(c, err)
			}
			given.Wrong = append(given.Wrong, logWords(err, b.Setting, nil)...)
		}
		return p.show(c, http.StatusUnprocessableEntity, view.NewLog(b.Setting, newestFirst(b.Log), &given))
	})
}

// after is where an accepted entry leads: back to the page that it was tapped on,
// else to what followed from it.
func after(back, project, entry string) string {
	switch back {
	case "today":
		return "/p/" + project
	case "pads":
		return "/p/" + project + "/pads"
	}
	return "/p/" + project + "/log?entry=" + entry
}

// wholeSite are the kinds that name no pad: a form with buttons for several kinds
// sends the pads of the others with them.
var wholeSite = []pour.EntryKind{pour.EntryStarted, pour.EntryRainBegan, pour.EntryRainEnded, pour.EntryUndone}

// padsOf are the pads that a form names, or those that stand for all where none is.
func padsOf(c echo.Context, kind pour.EntryKind) []string {
	form, err := c.FormParams()
	if err != nil || slices.Contains(wholeSite, kind) {
		return nil
	}
	for _, name := range []string{"pads", "pad", "all"} {
		given := slices.DeleteFunc(slices.Clone(form[name]), func(p string) bool { return p == "" })
		slices.Sort(given)
		if given = slices.Compact(given); len(given) > 0 { // both drawings of a plan may name it
			return given
		}
	}
	return nil
}

// tapped is when something happened: as given, or so many minutes ago.
func tapped(c echo.Context, s view.Setting) (time.Time, error) {
	if given := c.FormValue("at"); given != "" {
		return instant(given, s.Zone)
	}
	ago, err := strconv.Atoi(cmp.Or(c.FormValue("ago"), "0"))
	if err != nil || ago < 0 || ago > 24*60 {
		return time.Time{}, fmt.Errorf("web: %q is no number of minutes", c.FormValue("ago"))
	}
	return s.Now.Add(-time.Duration(ago) * time.Minute), nil
}

// readForm reads the form in the project's zone and units; unread names
// the fields that can't be read.
func readForm(c echo.Context, s view.Setting) (e pour.LogEntry, g view.Given, unread map[string]bool) {
	g = view.Given{Pad: c.FormValue("pad"), At: c.FormValue("at"), Bags: c.FormValue("bags"),
		Water: c.FormValue("water"), Minutes: c.FormValue("minutes"), Rain: c.FormValue("rain"),
		Text: c.FormValue("text")}
	var wrong fault.List
	e = pour.LogEntry{Kind: pour.EntryKind(c.FormValue("kind")), Text: g.Text}
	if names := padsOf(c, e.Kind); len(names) == 1 {
		e.Pad = names[0]
	} else {
		e.Pads = names
	}
	e.ID = c.FormValue("id")
	if c.FormValue("kind") == view.RainOnAll {
		e.Kind, e.Pad, e.Pads = pour.EntryRainedOn, "", nil
	}
	if e.Kind == pour.EntryUndone {
		e.Entry = c.FormValue("entry")
	}
	if e.Kind == pour.EntryRated {
		e.Ratings = &pour.Ratings{Cracks: c.FormValue("cracks"), ChippedEdges: c.FormValue("chipped_edges"),
			Scaling: c.FormValue("scaling"), Colour: c.FormValue("colour")}
	}
	if e.Kind == pour.EntryCovered {
		e.Cover = c.FormValue("cover")
	}
	at, err := tapped(c, s)
	if err != nil {
		example := message.Text("example", s.Now.In(s.Zone).Format("2006-01-02T15:04"))
		wrong.Break("at", cmp.Or(g.At, c.FormValue("ago")), fault.RuleOf(FormWhen, example))
	}
	e.At = at
	if e.Kind == pour.EntryRainedOn { // asked for there only
		covered := c.FormValue("covered") == "yes"
		if covered || c.FormValue("covered") == "no" {
			e.Covered = &covered
		}
	}
	litres, millimetres := 1.0, 1.0
	if s.Reader.US {
		litres, millimetres = unit.LitresPerQuart, 25.4
	}
	e.Bags = readNumber(&wrong, "bags", g.Bags, 1)
	e.WaterL = readNumber(&wrong, "water_l", g.Water, litres)
	e.Minutes = readNumber(&wrong, "minutes", g.Minutes, 1)
	e.RainMM = readNumber(&wrong, "rain_mm", g.Rain, millimetres)
	unread = map[string]bool{}
	for _, f := range wrong {
		unread[f.Path] = true
		g.Wrong = append(g.Wrong, fieldRule(s.Reader, logNames(s.Reader)[f.Path], f.Value, f.Rule.Message))
	}
	return e, g, unread
}

// readNumber reads a number that may be left out, and takes it to SI.
func readNumber(wrong *fault.List, name, value string, factor float64) *float64 {
	value = strings.ReplaceAll(strings.TrimSpace(value), ",", ".")
	if value == "" {
		return nil
	}
	v, err := strconv.ParseFloat(value, 64)
	if err != nil {
		wrong.Break(name, value, fault.RuleOf(NumberOrEmpty))
		return nil
	}
	v *= factor
	return &v
}

// instant reads a form's date and time as the project's clock shows it, or an
// instant of RFC 3339, as the script gives it.
func instant(value string, zone *time.Location) (time.Time, error) {
	if t, err := time.Parse(time.RFC3339Nano, value); err == nil {
		return t.In(zone), nil
	}
	for _, layout := range []string{"2006-01-02T15:04", "2006-01-02T15:04:05"} {
		if t, err := time.ParseInLocation(layout, value, zone); err == nil {
			return t, nil
		}
	}
	return time.Time{}, fmt.Errorf("web: %q is not a date and time of the form YYYY-MM-DDTHH:MM", value)
}
