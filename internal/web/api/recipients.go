package api

import (
	"context"
	"net/http"
	"reflect"
	"time"

	"dryslot/internal/accounts"
	"dryslot/internal/alerts"
	"dryslot/internal/fault"
	"dryslot/internal/message"
	"dryslot/internal/notify"
	"dryslot/internal/pour"
	"dryslot/internal/say"
	"dryslot/internal/unit"
	"dryslot/internal/web"
)

// recipientOrder is a recipient as sent.
type recipientOrder struct {
	Kind    string        `json:"kind" required:"true" enum:"email,webhook,push"`
	Address string        `json:"address" required:"true"`
	Alerts  []notify.Kind `json:"alerts,omitempty"`
	Keys    *pushKeys     `json:"keys,omitempty"`
}

// pushKeys are those of a browser's subscription.
type pushKeys struct {
	P256dh string `json:"p256dh" required:"true"`
	Auth   string `json:"auth" required:"true"`
}

// pushView is what a browser subscribes with.
type pushView struct {
	PublicKey *string `json:"public_key"`
}

// recipientView is a recipient as answered; its secret only once, when added.
type recipientView struct {
	ID        string                `json:"id"`
	Kind      string                `json:"kind"`
	Address   string                `json:"address"`
	Alerts    []notify.Kind         `json:"alerts"`
	CreatedAt time.Time             `json:"created_at"`
	State     notify.RecipientState `json:"state" enum:"unconfirmed,active,stopped"`
	Secret    *string               `json:"secret,omitempty" doc:"Of a webhook (Standard Webhooks), shown this once"`
}

type recipientIn struct {
	InProject
	RID string `path:"rid" doc:"The recipient's id"`
}

// alertView is an alert with what became of it.
type alertView struct {
	Key         string               `json:"key"`
	Kind        notify.Kind          `json:"kind"`
	Date        unit.Date            `json:"date" doc:"The morning that it is about"`
	Recipient   string               `json:"recipient" doc:"The recipient's id"`
	State       alerts.DeliveryState `json:"state" enum:"due,retrying,sent,failed"`
	Tries       int                  `json:"tries"`
	Reason      *string              `json:"reason" doc:"Why the last try failed, or why it was given up"`
	ReasonData  *message.Message     `json:"reason_data" doc:"The same as a code with its figures"`
	Subject     string               `json:"subject" doc:"As it was sent"`
	SubjectData []message.Message    `json:"subject_data" doc:"The same as codes with their figures, one a sentence"`
	Text        string               `json:"text" doc:"As it was sent"`
	TextData    []message.Message    `json:"text_data" doc:"The same as codes with their figures, one a sentence"`
	DueAt       *time.Time           `json:"due_at"`
	NextTryAt   *time.Time           `json:"next_try_at"`
	SettledAt   *time.Time           `json:"settled_at"`
	Urgent      bool                 `json:"urgent"`
	OfUseUntil  *time.Time           `json:"of_use_until"`
}

func (s *server) recipientRoutes() {
	handle(s, route{method: http.MethodPost, path: "/v1/projects/{id}/recipients", id: "add-recipient",
		summary: "Send alerts there too", status: http.StatusCreated, body: reflect.TypeFor[recipientOrder](),
		headers: []string{"Location"}, secret: true}, s.addRecipient)
	handle(s, route{method: http.MethodGet, path: "/v1/projects/{id}/recipients", id: "list-recipients",
		summary: "Where alerts go", role: accounts.RoleOwner}, s.listRecipients)
	handle(s, route{method: http.MethodDelete, path: "/v1/projects/{id}/recipients/{rid}", id: "remove-recipient",
		summary: "Send no more alerts there", status: http.StatusNoContent}, s.removeRecipient)
	handle(s, route{method: http.MethodPost, path: "/v1/projects/{id}/recipients/{rid}/test", id: "test-recipient",
		summary: "Send a test alert there", status: http.StatusAccepted, headers: []string{"Location"}},
		s.testRecipient)
	handle(s, route{method: http.MethodGet, path: "/v1/push", id: "get-push",
		summary: "The key that browsers subscribe to alerts with"}, s.getPush)
	handle(s, route{method: http.MethodGet, path: "/v1/projects/{id}/alerts", id: "list-alerts",
		summary: "Alerts, and what became of them"}, s.listAlerts)
}

func (s *server) addRecipient(ctx context.Context, c *call, in *InProject) (*reply[recipientView], error) {
	doc, err := pour.Parse(c.body)
	if err != nil {
		return nil, err
	}
	var order recipientOrder
	form := doc.Read(&order)
	if err := pour.Together(form, order.recipient("").Check()); err != nil {
		return nil, err
	}
	if err := projectID(in.ID); err != nil {
		return nil, err
	}
	return once(ctx, s, c, func(ctx context.Context, tx web.Tx) (*reply[recipientView], error) {
		p, zone, err := s.find(ctx, tx, in.ID)
		if err != nil {
			return nil, err
		}
		r, err := s.services.Alerts.AddRecipient(ctx, c.account, order.recipient(p.ID))
		if err != nil {
			return nil, err
		}
		v := viewRecipient(r, zone)
		if r.Kind == notify.Webhook {
			v.Secret = someText(r.Secret)
		}
		return &reply[recipientView]{Status: http.StatusCreated, Body: &v, Location: "/v1/projects/" + p.ID +
			"/recipients"}, nil
	})
}

func (o recipientOrder) recipient(project string) notify.Recipient {
	r := notify.Recipient{Project: project, Kind: o.Kind, Address: o.Address, Alerts: o.Alerts}
	if o.Kind == notify.Push {
		var k pushKeys
		if o.Keys != nil {
			k = *o.Keys
		}
		r.Secret = notify.PushSecret(k.P256dh, k.Auth)
	}
	return r
}

func (s *server) getPush(context.Context, *call, *struct{}) (*reply[pushView], error) {
	return &reply[pushView]{Body: &pushView{someText(s.services.PushKey)}}, nil
}

// chosen are the kinds of alert that a recipient gets.
func chosen(r notify.Recipient) []notify.Kind {
	if r.Alerts == nil {
		return notify.Kinds()
	}
	return r.Alerts
}

func viewRecipient(r notify.Recipient, zone *time.Location) recipientView {
	return recipientView{ID: r.ID, Kind: r.Kind, Address: r.Address, Alerts: chosen(r), CreatedAt: r.CreatedAt.In(zone),
		State: r.State()}
}

func (s *server) listRecipients(ctx context.Context, c *call, in *listIn) (*reply[list[recipientView]], error) {
	page, err := in.page()
	if err != nil {
		return nil, err
	}
	var out *list[recipientView]
	err = s.inProject(ctx, c, in.ID, func(ctx context.Context, tx web.Tx, p pour.Project, zone *time.Location) error {
		recipients, err := tx.Recipients(ctx, p.ID)
		if err != nil {
			return err
		}
		var views []recipientView
		for _, r := range recipients {
			views = append(views, viewRecipient(r, zone))
		}
		out, err = part(views, page, func(v recipientView) string { return v.ID })
		return err
	})
	return &reply[list[recipientView]]{Body: out}, err
}

func (s *server) removeRecipient(ctx context.Context, c *call, in *recipientIn) (*reply[struct{}], error) {
	return &reply[struct{}]{}, s.inProject(ctx, c, in.ID, func(ctx context.Context, tx web.Tx, p pour.Project,
		_ *time.Location) error {
		if !uuidForm.MatchString(in.RID) {
			return noRecipient(in.RID)
		}
		err := tx.DeleteRecipient(ctx, p.ID, in.RID)
		if fault.KindOf(err) == fault.NotFound {
			return noRecipient(in.RID)
		}
		return err
	})
}

func noRecipient(id string) error {
	return fault.Of(fault.NotFound, alerts.RecipientUnknown).At("rid", web.Cut(id), fault.RuleOf(RecipientID))
}

func (s *server) testRecipient(ctx context.Context, c *call, in *recipientIn) (*reply[alertView], error) {
	if len(c.body) > 0 {
		if err := pour.Read(c.body, &struct{}{}); err != nil {
			return nil, err
		}
	}
	if err := projectID(in.ID); err != nil {
		return nil, err
	}
	return once(ctx, s, c, func(ctx context.Context, tx web.Tx) (*reply[alertView], error) {
		p, zone, err := s.find(ctx, tx, in.ID)
		if err != nil {
			return nil, err
		}
		if !uuidForm.MatchString(in.RID) {
			return nil, noRecipient(in.RID)
		}
		d, err := s.services.Alerts.TestRecipient(ctx, c.account, p.ID, in.RID)
		if fault.KindOf(err) == fault.NotFound {
			return nil, noRecipient(in.RID)
		}
		if err != nil {
			return nil, err
		}
		v := viewAlert(d, s.reader(c, p, zone), zone)
		return &reply[alertView]{Status: http.StatusAccepted, Body: &v, Location: "/v1/projects/" + p.ID + "/alerts"},
			nil
	})
}

func viewAlert(d alerts.Delivery, r say.Reader, zone *time.Location) alertView {
	v := alertView{Key: d.Key, Kind: d.Kind, Date: d.Date, Recipient: d.Recipient, State: d.State, Tries: d.Tries,
		Subject: d.Message.Subject, Text: d.Message.Text, DueAt: some(d.DueAt), NextTryAt: some(d.NextTryAt),
		SettledAt: some(d.SettledAt), Urgent: d.Message.Urgent, OfUseUntil: some(d.Message.UsedBy)}
	v.SubjectData, v.TextData = d.Message.Sentences()
	if why := d.Reason.Data; !why.IsZero() {
		said := r.Say(why)
		v.Reason, v.ReasonData = &said, &why
	}
	inZone(&v, zone)
	return v
}

func (s *server) listAlerts(ctx context.Context, c *call, in *listIn) (*reply[list[alertView]], error) {
	page, err := in.page()
	if err != nil {
		return nil, err
	}
	var out *list[alertView]
	err = s.inProject(ctx, c, in.ID, func(ctx context.Context, tx web.Tx, p pour.Project, zone *time.Location) error {
		deliveries, next, err := tx.Alerts(ctx, p.ID, page)
		if err != nil {
			return err
		}
		var views []alertView
		for _, d := range deliveries {
			views = append(views, viewAlert(d, s.reader(c, p, zone), zone))
		}
		out = newList(views, next)
		return nil
	})
	return &reply[list[alertView]]{Body: out}, err
}
