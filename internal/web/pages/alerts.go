package pages

import (
	"context"
	"encoding/json"
	"net/http"
	"slices"
	"strings"

	"github.com/labstack/echo/v4"

	"dryslot/internal/fault"
	"dryslot/internal/notify"
	"dryslot/internal/paging"
	"dryslot/internal/web"
	"dryslot/internal/web/pages/view"
)

// alerts shows who gets the alerts and what was sent.
func (p *pages) alerts(c echo.Context) error {
	return p.onProject(c, func(b board) error { return p.showAlerts(c, b, http.StatusOK, "", nil) })
}

func (p *pages) showAlerts(c echo.Context, b board, status int, secret string, wrong []string) error {
	var to []view.RecipientLine
	var sent []view.SentLine
	err := p.store.InAccount(c.Request().Context(), account(c), func(ctx context.Context, tx web.Tx) error {
		all, err := tx.Recipients(ctx, b.Project.ID)
		if err != nil {
			return err
		}
		for _, r := range all {
			to = append(to, b.Recipient(r))
		}
		list, _, err := tx.Alerts(ctx, b.Project.ID, paging.Page{Limit: 20})
		for _, d := range list {
			sent = append(sent, b.Sent(d.DueAt, string(d.State), d.Message.Subject, d.Reason.Data, d.Message.Text))
		}
		return err
	})
	if err != nil {
		return p.trouble(c, err)
	}
	if i := slices.IndexFunc(to, func(r view.RecipientLine) bool { return r.ID == c.FormValue("recipient") }); i >= 0 &&
		c.FormValue("do") == "choose" {
		to[i].Wrong, wrong = wrong, nil
	}
	page := view.NewAlerts(b.Setting, to, sent)
	page.Wrong, page.Secret, page.Push = wrong, secret, p.services.PushKey
	page.Calendar = web.CalendarAddress(p.s.PublicURL, b.Project)
	if chosen := c.Request().PostForm["alerts"]; len(wrong) > 0 {
		for i, g := range page.Groups {
			page.Groups[i].Chosen = slices.Contains(chosen, g.Value)
		}
	}
	if len(wrong) > 0 {
		page.Address = c.FormValue("address")
	}
	return p.show(c, status, page)
}

// subscription reads what a browser says of its subscription (the JSON form of
// PushSubscription in the Push API of W3C).
func subscription(project, sent string) (notify.Recipient, error) {
	var s struct {
		Endpoint string
		Keys     struct{ P256dh, Auth string }
	}
	if err := json.Unmarshal([]byte(sent), &s); err != nil {
		return notify.Recipient{}, fault.Of(fault.Unreadable, FormUnread).By(err)
	}
	return notify.Recipient{Project: project, Kind: notify.Push, Address: s.Endpoint,
		Secret: notify.PushSecret(s.Keys.P256dh, s.Keys.Auth)}, nil
}

// changeAlerts adds, tries or removes a recipient.
func (p *pages) changeAlerts(c echo.Context) error {
	return p.onProject(c, func(b board) error {
		ctx, id := c.Request().Context(), b.Project.ID
		var err error
		var made notify.Recipient
		switch c.FormValue("do") {
		case "add":
			to := notify.Recipient{Project: id, Kind: notify.Email, Address: strings.TrimSpace(c.FormValue("address")),
				Alerts: view.Chosen(c.Request().PostForm["alerts"])}
			if strings.Contains(to.Address, "://") {
				to.Kind = notify.Webhook
			}
			made, err = p.services.Alerts.AddRecipient(ctx, account(c), to)
		case "push":
			var to notify.Recipient
			if to, err = subscription(id, c.FormValue("address")); err == nil {
				_, err = p.services.Alerts.AddRecipient(ctx, account(c), to)
			}
		case "choose":
			err = p.services.Alerts.ChooseAlerts(ctx, account(c), id, c.FormValue("recipient"),
				view.Chosen(c.Request().PostForm["alerts"]))
		case "test":
			_, err = p.services.Alerts.TestRecipient(ctx, account(c), id, c.FormValue("recipient"))
		case "remove":
			err = p.store.InAccount(ctx, account(c), func(ctx context.Context, tx web.Tx) error {
				return tx.DeleteRecipient(ctx, id, c.FormValue("recipient"))
			})
		default:
			err = fault.Of(fault.Invalid, NothingAsked)
		}
		if err == nil && made.Secret != "" {
			return p.showAlerts(c, b, http.StatusOK, made.Secret, nil)
		}
		if err == nil {
			return c.Redirect(http.StatusSeeOther, "/p/"+id+"/alerts")
		}
		problem := web.ProblemOf(err)
		if problem.Status >= http.StatusInternalServerError {
			return p.trouble(c, err)
		}
		return p.showAlerts(c, b, problem.Status, "", inWords(problem, b.Reader))
	})
}
