package pages

import (
	"context"
	"net"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"testing"
	"time"

	"dryslot/internal/alerts"
	"dryslot/internal/notify"
	"dryslot/internal/notify/email"
	"dryslot/internal/notify/smtptest"
	"dryslot/internal/paging"
	"dryslot/internal/postgres"
	"dryslot/internal/web/webtest"
)

// delivers tries every alert of a project that is due.
func delivers(t *testing.T, h *webtest.Service, account, project string) []alerts.Delivery {
	t.Helper()
	list := func() (all []alerts.Delivery) {
		err := h.Store.InAccount(t.Context(), account, func(ctx context.Context, tx *postgres.AccountTx) (err error) {
			all, _, err = tx.Alerts(ctx, project, paging.Page{Limit: 50})
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
		return all
	}
	for _, d := range list() {
		if d.State == alerts.DeliveryDue {
			if err := h.Alerts.Deliver(t.Context(), account, d.Key); err != nil {
				t.Fatal(err)
			}
		}
	}
	return list()
}

// A mail address gets one message before its reader agrees, and none after they
// have had enough. Who added it can do neither in their place.
func TestTheReaderOfAMailAddressDecides(t *testing.T) {
	h := newService(t)
	server := smtptest.Start(t, smtptest.Options{})
	host, port, err := net.SplitHostPort(server.Addr)
	if err != nil {
		t.Fatal(err)
	}
	n, err := strconv.Atoi(port)
	if err != nil {
		t.Fatal(err)
	}
	mail, err := email.New(email.Server{Host: host, Port: n}, "Yard <pads@example.org>")
	if err != nil {
		t.Fatal(err)
	}
	h.Alerts.Channels = map[string]alerts.Channel{mail.Kind(): mail}
	id := h.Create(t, webtest.FirstToken, webtest.Yard)
	h.Refresh(t, id)
	account, err := h.Store.AccountByToken(t.Context(), webtest.FirstToken)
	if err != nil {
		t.Fatal(err)
	}
	base := "/v1/projects/" + id
	made := h.Must(t, http.StatusCreated, "POST", base+"/recipients", `{"kind":"email","address":"site@example.org"}`)
	state := func() string {
		return parse(t, h.Must(t, http.StatusOK, "GET", base+"/recipients", "").Body).Get("items").Array[0].Get(
			"state").Text
	}
	if state() != string(notify.Unconfirmed) {
		t.Errorf("a new address is %s", state())
	}
	h.Must(t, http.StatusConflict, "POST", base+"/recipients/"+parse(t, made.Body).Get("id").Text+"/test", "")
	delivers(t, h, account, id)
	if err := h.Projects.RaiseDue(t.Context(), account, id); err != nil {
		t.Fatal(err)
	}
	kept := delivers(t, h, account, id)
	got := server.Received()
	if len(got) != 1 || len(kept) != 1 || kept[0].Kind != notify.Confirm || kept[0].State != alerts.DeliverySent {
		t.Fatalf("%d messages, %d alerts before the reader agreed", len(got), len(kept))
	}
	link := strings.Trim(got[0].Header.Get("List-Unsubscribe"), "<>")
	page, ok := strings.CutPrefix(link, "http://dryslot.example")
	if !ok {
		t.Fatalf("List-Unsubscribe is %q", link)
	}
	parts, err := got[0].Parts()
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(parts["text/plain"], link) || !strings.Contains(parts["text/html"], `href="`+link+`"`) {
		t.Errorf("the message does not give its page: %q", parts)
	}
	shown := h.Must(t, http.StatusOK, "GET", base+"/alerts", "").Body + made.Body
	if strings.Contains(shown, strings.TrimPrefix(page, "/r/")) {
		t.Error("who added the address sees the key of its page")
	}

	v := newSite(t, h) // a browser that is signed in nowhere
	for range 2 {
		if status, _, _ := v.get(page); status != http.StatusOK || state() != string(notify.Unconfirmed) {
			t.Errorf("opening the page: %d, then %s", status, state())
		}
	}
	if status, _, _ := v.post(page, url.Values{"do": {"confirm"}}, "Sec-Fetch-Site",
		"cross-site"); status != http.StatusForbidden || state() != string(notify.Unconfirmed) {
		t.Errorf("another site's form: %d", status)
	}
	if status, _, _ := v.post(page, url.Values{"do": {"confirm"}}); status != http.StatusOK ||
		state() != string(notify.Active) {
		t.Errorf("agreeing: %d, then %s", status, state())
	}
	h.Now = h.Now.Add(24 * time.Hour) // past the next evening alert
	if err := h.Projects.RaiseDue(t.Context(), account, id); err != nil {
		t.Fatal(err)
	}
	delivers(t, h, account, id)
	got = server.Received()
	if len(got) < 2 {
		t.Fatalf("%d messages after the reader agreed", len(got))
	}
	last := got[len(got)-1]
	if last.Header.Get("List-Unsubscribe") != "<"+link+">" ||
		last.Header.Get("List-Unsubscribe-Post") != "List-Unsubscribe=One-Click" {
		t.Errorf("header %v", last.Header)
	}
	// What a mail program posts for its reader: no cookie, no form of ours.
	if status, _, _ := v.post(page, url.Values{"List-Unsubscribe": {"One-Click"}}); status != http.StatusOK ||
		state() != string(notify.Stopped) {
		t.Errorf("one click: %d, then %s", status, state())
	}
	h.Now = h.Now.Add(24 * time.Hour)
	if err := h.Projects.RaiseDue(t.Context(), account, id); err != nil {
		t.Fatal(err)
	}
	delivers(t, h, account, id)
	if after := len(server.Received()); after != len(got) {
		t.Errorf("%d messages after the last", after-len(got))
	}
	h.Must(t, http.StatusConflict, "POST", base+"/recipients", `{"kind":"email","address":"site@example.org"}`)
	if status, _, _ := v.get("/r/no-such-key"); status != http.StatusNotFound {
		t.Errorf("a key that is none: %d", status)
	}
}
