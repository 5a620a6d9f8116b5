package web

import (
	"context"
	"fmt"
	"math"
	"net/http"
	"strconv"
	"strings"

	"github.com/labstack/echo/v4"

	"dryslot/internal/fault"
	"dryslot/internal/notify"
	"dryslot/internal/pour"
	"dryslot/internal/unit"
	"dryslot/internal/watch"
	"dryslot/internal/web/view"
)

func (p *pages) askSetup(c echo.Context) error {
	none := func(string) (string, bool) { return "", false }
	return p.show(c, http.StatusOK, view.NewSetup(view.Plain("A new project", p.s.Sample, true), c.QueryParam("units") == "us", none, nil))
}

// setup makes a project from the form; what is wrong is said above it.
func (p *pages) setup(c echo.Context) error {
	ctx := c.Request().Context()
	us := c.FormValue("units") == "us"
	spec, wrong := readSetup(c.FormValue, us)
	mail := recipientOrder{Kind: "email", Address: strings.TrimSpace(c.FormValue("email"))}
	err := wrong.Err("the project can't be set up yet")
	if err == nil && mail.Address != "" {
		err = mail.check()
	}
	if err == nil {
		err = spec.Validate()
	}
	if err == nil {
		var kept pour.Project
		if kept, err = p.s.Service.CreateProject(ctx, account(c), spec); err == nil {
			if mail.Address != "" {
				if _, err := p.s.Service.AddRecipient(ctx, account(c), notify.Recipient{Project: kept.ID, Kind: mail.Kind, Address: mail.Address}); err != nil {
					return p.trouble(c, err)
				}
			}
			return c.Redirect(http.StatusSeeOther, "/p/"+kept.ID)
		}
	}
	problem := problemOf(err)
	if problem.Status != http.StatusUnprocessableEntity {
		return p.trouble(c, err)
	}
	given := func(name string) (string, bool) { return c.FormValue(name), true }
	return p.show(c, http.StatusUnprocessableEntity, view.NewSetup(view.Plain("A new project", p.s.Sample, true), us, given, inWords(problem)))
}

// inWords says a problem's faults, one a line.
func inWords(p *problem) []string {
	if len(p.Errors) == 0 {
		return []string{p.Detail + "."}
	}
	var out []string
	for _, f := range p.Errors {
		out = append(out, f.Field+", given as “"+f.Value+"”: "+f.Rule+".")
	}
	return out
}

// mostInRow bounds the numbers of pads before any is made.
const mostInRow = 100

// readSetup makes a project of pads in rows from the form, in SI.
func readSetup(value func(string) string, us bool) (pour.Spec, fault.List) {
	var wrong fault.List
	metre, small, litre, kilogram, yield := 1.0, 0.001, 1.0, 1.0, 1.0
	s := pour.DefaultSpec()
	s.Units = "metric"
	if us {
		s.Units = "us"
		metre, small, litre, kilogram = unit.MetresPerFoot, unit.MetresPerInch, unit.LitresPerQuart, unit.KilogramsPerPound
		yield = math.Pow(unit.MetresPerFoot, 3) * 1000
	}
	number := func(name string, factor float64) float64 {
		v, err := strconv.ParseFloat(strings.ReplaceAll(strings.TrimSpace(value(name)), ",", "."), 64)
		if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
			wrong.Add(name, value(name), "must be a number")
			return 0
		}
		return math.Round(v*factor*1e6) / 1e6
	}
	whole := func(name string, most int) int {
		n, err := strconv.Atoi(strings.TrimSpace(value(name)))
		if err != nil || n < 1 || n > most {
			wrong.Add(name, value(name), fmt.Sprintf("must be a whole number from 1 to %d", most))
			return 0
		}
		return n
	}
	clock := func(name string) unit.Clock {
		t, err := unit.ParseClock(strings.TrimSpace(value(name)))
		if err != nil {
			wrong.Add(name, value(name), "must be a time of the form HH:MM")
		}
		return t
	}
	s.Name = strings.TrimSpace(value("name"))
	s.Latitude, s.Longitude = number("latitude", 1), number("longitude", 1)
	s.Mix.BagKg, s.Mix.YieldLPerBag = number("bag", kilogram), number("yield", yield)
	s.Mix.WaterLPerBag, s.Mix.WaterLPerBagMax = number("water", litre), number("water_max", litre)
	s.Mix.PricePerBag = nil // not asked: better unknown than another bag's
	s.Crew.People, s.Crew.BagsPerHour = whole("people", 10), number("rate", 1)
	s.Crew.EarliestStart, s.Crew.LatestFinish, s.Crew.Finish = clock("earliest"), clock("latest"), value("finish")
	s.FormSets = []pour.FormSet{{Name: "forms", Count: whole("forms", pour.MaxPads)}}
	across, rows := whole("across", mostInRow), whole("rows", mostInRow)
	if across*rows > pour.MaxPads {
		wrong.Add("rows", fmt.Sprint(across*rows, " pads in all"), fmt.Sprintf("must make at most %d pads", pour.MaxPads))
		across, rows = 0, 0
	}
	one := pour.Pad{LengthM: number("length", metre), WidthM: number("width", metre), ThicknessM: number("thickness", small)}
	s.Pads = grid(one, across, rows, number("gap", small), value("order") == "alternate")
	return s, wrong
}

// grid lays pads of one size out in rows; alternate has every other one wait
// until its neighbours are stripped.
func grid(one pour.Pad, across, rows int, gap float64, alternate bool) []pour.Pad {
	name := func(r, k int) string { return rowName(r) + strconv.Itoa(k+1) }
	set := "forms"
	var out []pour.Pad
	for r := range rows {
		for k := range across {
			p := one
			p.Name, p.FormSet, p.After = name(r, k), &set, []pour.After{}
			p.XM, p.YM = float64(k)*(one.LengthM+gap), float64(r)*(one.WidthM+gap)
			if alternate && (r+k)%2 == 1 {
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

// alerts shows where word goes and what was sent.
func (p *pages) alerts(c echo.Context) error {
	return p.onProject(c, func(b board) error { return p.showAlerts(c, b, http.StatusOK, nil) })
}

func (p *pages) showAlerts(c echo.Context, b board, status int, wrong []string) error {
	var to []view.RecipientLine
	var sent []string
	err := p.s.Store.InAccount(c.Request().Context(), account(c), func(ctx context.Context, tx watch.Tx) error {
		all, err := tx.Recipients(ctx, b.Project.ID)
		if err != nil {
			return err
		}
		for _, r := range all {
			how := map[string]string{"email": "by mail", "webhook": "by webhook"}[r.Kind]
			to = append(to, view.RecipientLine{ID: r.ID, Words: r.Address + ", " + how})
		}
		list, _, err := tx.Alerts(ctx, b.Project.ID, watch.Page{Limit: 20})
		for _, d := range list {
			line := fmt.Sprintf("%s, due %s: %s", d.Message.Subject, b.Reader().Moment(d.DueAt), d.State)
			if d.Reason != "" {
				line += " (" + d.Reason + ")"
			}
			sent = append(sent, line)
		}
		return err
	})
	if err != nil {
		return p.trouble(c, err)
	}
	page := view.NewWord(b.Setting, to, sent)
	page.Wrong = wrong
	if len(wrong) > 0 {
		page.Address = c.FormValue("address")
	}
	return p.show(c, status, page)
}

// changeAlerts adds, tries or removes a recipient.
func (p *pages) changeAlerts(c echo.Context) error {
	return p.onProject(c, func(b board) error {
		ctx, id := c.Request().Context(), b.Project.ID
		var err error
		switch c.FormValue("do") {
		case "add":
			order := recipientOrder{Kind: "email", Address: strings.TrimSpace(c.FormValue("address"))}
			if strings.Contains(order.Address, "://") {
				order.Kind = "webhook"
			}
			if err = order.check(); err == nil {
				_, err = p.s.Service.AddRecipient(ctx, account(c), notify.Recipient{Project: id, Kind: order.Kind, Address: order.Address})
			}
		case "test":
			_, err = p.s.Service.TestRecipient(ctx, account(c), id, c.FormValue("recipient"))
		case "remove":
			err = p.s.Store.InAccount(ctx, account(c), func(ctx context.Context, tx watch.Tx) error {
				return tx.DeleteRecipient(ctx, id, c.FormValue("recipient"))
			})
		default:
			err = fault.New(fault.Invalid, "nothing was asked for")
		}
		if err == nil {
			return c.Redirect(http.StatusSeeOther, "/p/"+id+"/alerts")
		}
		problem := problemOf(err)
		if problem.Status >= http.StatusInternalServerError {
			return p.trouble(c, err)
		}
		return p.showAlerts(c, b, problem.Status, inWords(problem))
	})
}
