package pages

import (
	"crypto/ecdh"
	"crypto/rand"
	"encoding/base64"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"dryslot/internal/notify"
	"dryslot/internal/web/browsertest"
	"dryslot/internal/web/pages/view"
	"dryslot/internal/web/webtest"
)

// recipients are those of a project as the API tells them.
func recipients(t *testing.T, h *webtest.Service, id string) map[string][]string {
	t.Helper()
	out := map[string][]string{}
	for _, r := range parse(t, h.Must(t, http.StatusOK, "GET", "/v1/projects/"+id+"/recipients",
		"").Body).Get("items").Array {
		var kinds []string
		for _, k := range r.Get("alerts").Array {
			kinds = append(kinds, k.Text)
		}
		out[r.Get("kind").Text+" "+r.Get("address").Text] = kinds
	}
	return out
}

// The groups hold each kind of alert once, so that all of them are all alerts.
func TestGroupsOfAlertsHoldEachKindOnce(t *testing.T) {
	var all []notify.Kind
	var names []string
	for _, g := range view.AlertGroups() {
		all, names = append(all, g.Kinds...), append(names, g.Value)
		if got := view.Chosen([]string{g.Value}); !slices.Equal(got, g.Kinds) {
			t.Errorf("%s alone: %v", g.Value, got)
		}
	}
	want := notify.Kinds()
	slices.Sort(all)
	slices.Sort(want)
	if !slices.Equal(all, want) || view.Chosen(names) != nil {
		t.Errorf("%v, want %v", all, want)
	}
	if got := view.Chosen(nil); got == nil || len(got) != 0 {
		t.Errorf("none chosen: %v", got)
	}
}

// A recipient gets the alerts that were chosen, and one that would get none is
// refused; the calendar's address opens it.
func TestWhoGetsWhichAlerts(t *testing.T) {
	h := newService(t)
	id := h.Create(t, webtest.FirstToken, rowOfPads(2))
	v := newSite(t, h)
	v.signIn(webtest.FirstToken)
	page := "/p/" + id + "/alerts"
	hook := "https://hooks.example.org/pads"
	if status, _, _ := v.post(page, url.Values{"do": {"add"},
		"address": {hook}}); status != http.StatusUnprocessableEntity {
		t.Errorf("no alert chosen: %d", status)
	}
	v.post(page, url.Values{"do": {"add"}, "address": {hook}, "alerts": {"plan", "care"}})
	v.post(page, url.Values{"do": {"add"}, "address": {hook + "/all"}, "alerts": {"plan", "morning", "pour", "care"}})
	got := recipients(t, h, id)
	if some := got["webhook "+hook]; !slices.Equal(some, []string{"evening", "change", "strip", "damp", "uncover"}) {
		t.Errorf("chosen: %v", some)
	}
	if all := got["webhook "+hook+"/all"]; len(all) != len(notify.Kinds()) {
		t.Errorf("all: %v", all)
	}
	rid := parse(t, h.Must(t, http.StatusOK, "GET", "/v1/projects/"+id+"/recipients",
		"").Body).Get("items").Array[0].Get("id").Text
	choose := func(to string, groups ...string) (status int, body string) {
		status, _, body = v.post(page, url.Values{"do": {"choose"}, "recipient": {to}, "alerts": groups})
		return status, body
	}
	choose(rid, "morning")
	if some := recipients(t, h, id)["webhook "+hook]; !slices.Equal(some, []string{"morning", "not_started"}) {
		t.Errorf("chosen anew: %v", some)
	}
	if status, body := choose(rid); status != http.StatusUnprocessableEntity ||
		!strings.Contains(body, "<details open><summary>Choose alerts") {
		t.Errorf("none chosen anew: %d", status)
	}
	if status, _ := choose(id, "morning"); status != http.StatusNotFound {
		t.Errorf("chosen for nobody: %d", status)
	}
	choose(rid, "plan", "morning", "pour", "care")
	if all := recipients(t, h, id)["webhook "+hook]; len(all) != len(notify.Kinds()) {
		t.Errorf("all again: %v", all)
	}
	address := parse(t, h.Must(t, http.StatusOK, "GET", "/v1/projects/"+id, "").Body).Get("calendar_url").Text
	if _, _, body := v.get(page); !strings.Contains(body, strings.ReplaceAll(address, "&", "&amp;")) {
		t.Errorf("the page lacks the calendar's address %s", address)
	}
}

// One tap on a phone that lets alerts through makes its browser a recipient; where
// they are not let through the page says what to do.
func TestAlertsAreTurnedOnOnAPhone(t *testing.T) {
	h := newService(t)
	id := h.Create(t, webtest.FirstToken, rowOfPads(2))
	v := newSite(t, h)
	b := browsertest.Start(t)
	b.Size(t, 390, 844)
	base := strings.Replace(v.base, "127.0.0.1", "localhost", 1)
	b.Open(t, base+"/p/"+id+"/alerts")
	b.Do(t, chromedp.SendKeys(chromedp.CSS("#token"), webtest.FirstToken), chromedp.Submit(chromedp.CSS("#token")),
		chromedp.WaitVisible(chromedp.CSS("nav")))
	browsertest.Eval[bool](t, b, `navigator.serviceWorker.ready.then(() => true)`)
	browsertest.Eval[string](t, b,
		`Notification.requestPermission = () => Promise.resolve("denied");
			document.querySelector("[data-push] button").click() || ""`)
	browsertest.Eval[bool](t, b,
		`new Promise(done => { const wait = () =>
			document.querySelector("[data-push] .wrong").hidden ? setTimeout(wait, 20) : done(true); wait() })`)
	key, err := ecdh.P256().GenerateKey(rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	// The browser's push service is an outside one: what it gives the page stands in for it.
	subscribed := fmt.Sprintf(`{"endpoint":"https://push.example.org/s/1","expirationTime":null,
		"keys":{"p256dh":%q,"auth":%q}}`,
		base64.RawURLEncoding.EncodeToString(key.PublicKey().Bytes()), base64.RawURLEncoding.EncodeToString(make([]byte,
			16)))
	browsertest.Eval[string](t, b, `Notification.requestPermission = () => Promise.resolve("granted");
PushManager.prototype.subscribe = (o) => o.userVisibleOnly && o.applicationServerKey.length ? Promise.resolve(`+
		subscribed+`) : Promise.reject();
document.querySelector("[data-push] button").click() || ""`)
	b.Do(t, chromedp.WaitVisible(chromedp.CSS(".gets")))
	if got := recipients(t, h, id); len(got) != 1 || got["push https://push.example.org/s/1"] == nil {
		t.Errorf("%v", got)
	}
	v.signIn(webtest.FirstToken)
	for _, bad := range []string{"", "{}", `{"endpoint":"https://push.example.org/s/2"}`} {
		if status, _, _ := v.post("/p/"+id+"/alerts", url.Values{"do": {"push"}, "address": {bad}}); status < 400 ||
			status > 499 {
			t.Errorf("subscription %q: %d", bad, status)
		}
	}
}
