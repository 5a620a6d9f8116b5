package api

import (
	"net/http"
	"strings"
	"testing"
	"time"

	ical "github.com/arran4/golang-ical"

	"dryslot/internal/accounts"
	"dryslot/internal/pour"
	"dryslot/internal/web/webtest"
)

func (w *contractTest) recipients(t *testing.T) {
	mail, _ := w.send(t, http.StatusCreated, "recipient", "POST", w.base+"/recipients",
		`{"kind":"email","address":"site@example.org"}`)
	if mail.Get("secret") != nil {
		t.Error("a mail address has a secret")
	}
	hook, _ := w.send(t, http.StatusCreated, "recipient", "POST", w.base+"/recipients",
		`{"kind":"webhook","address":"https://hooks.example.org/pour"}`)
	if secret := hook.Get("secret"); secret == nil || !strings.HasPrefix(secret.Text, "whsec_") {
		t.Errorf("webhook: %s", text(hook))
	}
	list := w.get(t, "recipients", w.base+"/recipients").Get("items").Array
	if len(list) != 2 || list[0].Get("secret") != nil || list[1].Get("secret") != nil {
		t.Errorf("%d recipients, secrets shown again", len(list))
	}
	test, _ := w.send(t, http.StatusAccepted, "alert", "POST", w.base+"/recipients/"+hook.Get("id").Text+"/test", "")
	if test.Get("recipient").Text != hook.Get("id").Text || test.Get("state").Text != "due" ||
		test.Get("text").Text == "" {
		t.Errorf("test alert: %s", text(test))
	}
	alerts := w.get(t, "alerts", w.base+"/alerts").Get("items").Array
	found := false
	for _, a := range alerts {
		found = found || a.Get("key").Text == test.Get("key").Text
	}
	if !found {
		t.Errorf("the test alert is not among %d", len(alerts))
	}
	w.h.Must(t, http.StatusNoContent, "DELETE", w.base+"/recipients/"+hook.Get("id").Text, "")
	w.h.Must(t, http.StatusNotFound, "DELETE", w.base+"/recipients/"+hook.Get("id").Text, "")
}

func (w *contractTest) account(t *testing.T) {
	browser := accounts.Browser{Name: "Firefox"}
	if _, err := w.h.People.SignInByToken(t.Context(), webtest.FirstToken, browser); err != nil {
		t.Fatal(err)
	}
	a := w.h.Must(t, http.StatusCreated, "POST", "/v1/account/tokens", `{"name":"Yard screen"}`)
	mustFit(t, "token", a.Body)
	made := parse(t, a.Body)
	fresh := "Bearer " + made.Get("token").Text
	a = w.h.Must(t, http.StatusOK, "GET", "/v1/account", "", "Authorization", fresh)
	mustFit(t, "account", a.Body)
	whole := parse(t, a.Body)
	if n := len(whole.Get("tokens").Array); n != 2 || whole.Get("tokens").Array[1].Get("token") != nil {
		t.Errorf("%d tokens: %s", n, text(whole))
	}
	session := "/v1/account/sessions/" + whole.Get("sessions").Array[0].Get("id").Text
	token := "/v1/account/tokens/" + made.Get("id").Text
	for _, path := range []string{session, token} {
		w.h.Must(t, http.StatusNotFound, "DELETE", path, "", "Authorization", "Bearer "+webtest.SecondToken)
		w.h.Must(t, http.StatusNoContent, "DELETE", path, "")
		w.h.Must(t, http.StatusNotFound, "DELETE", path, "")
	}
	w.h.Must(t, http.StatusUnauthorized, "GET", "/v1/account", "", "Authorization", fresh)
	w.h.Must(t, http.StatusUnprocessableEntity, "POST", "/v1/account/tokens", `{"name":"Yard"}`, "Idempotency-Key", "k")
	for _, body := range []string{`{}`, `{"name":""}`, `{"name":7}`, `{"name":"` + strings.Repeat("x", 61) + `"}`,
		`{"name":"a","for":"b"}`} {
		if a := w.h.Send(t, "POST", "/v1/account/tokens", body); a.Status != http.StatusUnprocessableEntity {
			t.Errorf("%s: %d %s", body, a.Status, a.Body)
		}
	}
}

func (w *contractTest) members(t *testing.T) {
	fit := func(form string, a webtest.Answer) *pour.Node {
		t.Helper()
		mustFit(t, form, a.Body)
		return parse(t, a.Body)
	}
	as := []string{"Authorization", "Bearer " + webtest.SecondToken}
	made := fit("invitation", w.h.Must(t, http.StatusCreated, "POST", w.base+"/invitations", `{"role":"crew"}`))
	list := fit("invitations", w.h.Must(t, http.StatusOK, "GET", w.base+"/invitations", ""))
	if n := len(list.Get("items").Array); n != 1 || list.Get("items").Array[0].Get("url") != nil {
		t.Errorf("%d invitations: %s", n, text(list))
	}
	_, key, _ := strings.Cut(made.Get("url").Text, "/join/")
	w.h.Must(t, http.StatusNotFound, "GET", w.base, "", as...)
	w.h.Must(t, http.StatusNotFound, "POST", w.base+"/members", `{"key":"none","name":"Ana"}`, as...)
	join := `{"key":"` + key + `","name":"Ana"}`
	w.h.Must(t, http.StatusConflict, "POST", w.base+"/members", join) // one's own project
	fit("membership", w.h.Must(t, http.StatusCreated, "POST", w.base+"/members", join, as...))
	fit("members", w.h.Must(t, http.StatusOK, "GET", w.base+"/members", "", as...))
	fit("account", w.h.Must(t, http.StatusOK, "GET", "/v1/account", "", as...))
	entry := w.h.Must(t, http.StatusCreated, "POST", w.base+"/log", `{"kind":"note","at":"2025-07-27T09:30:00+02:00",
		"text":"sheets are on site"}`, as...)
	if by := parse(t, entry.Body).Get("entry").Get("by").Text; by != "Ana" {
		t.Errorf("the entry is by %q", by)
	}
	member := fit("members", w.h.Must(t, http.StatusOK, "GET", w.base+"/members",
		"")).Get("items").Array[0].Get("id").Text
	w.h.Must(t, http.StatusForbidden, "DELETE", w.base, "", as...)
	w.h.Must(t, http.StatusNoContent, "DELETE", w.base+"/members/"+member, "", as...) // leaves
	w.h.Must(t, http.StatusNotFound, "GET", w.base+"/members", "", as...)
	w.h.Must(t, http.StatusNoContent, "DELETE", w.base+"/invitations/"+made.Get("id").Text, "")
	w.h.Must(t, http.StatusNotFound, "POST", w.base+"/members", join, as...)
}

func (w *contractTest) calendar(t *testing.T) {
	path, ok := strings.CutPrefix(w.made.Get("calendar_url").Text, "http://dryslot.example")
	if !ok {
		t.Fatalf("calendar_url %s", w.made.Get("calendar_url").Text)
	}
	a := w.h.Must(t, http.StatusOK, "GET", path, "", "Authorization", "")
	if a.Header.Get("Content-Type") != "text/calendar; charset=utf-8" {
		t.Errorf("type %s", a.Header.Get("Content-Type"))
	}
	cal, err := ical.ParseCalendar(strings.NewReader(a.Body))
	if err != nil {
		t.Fatal(err)
	}
	pours := w.get(t, "plan", w.base+"/plan").Get("pours").Array
	strips := 0
	var events []*ical.VEvent // the pours
	for _, e := range cal.Events() {
		if len(e.Alarms()) != 1 {
			t.Errorf("%s has %d alarms", e.Id(), len(e.Alarms()))
		}
		switch {
		case strings.Contains(e.Id(), "-strip-"):
			strips++
		case !strings.Contains(e.Id(), "-cover-") && !strings.Contains(e.Id(), "-frost-"):
			events = append(events, e)
		}
	}
	if len(events) != len(pours) || strips == 0 {
		t.Fatalf("%d events, %d pours, %d times to strip", len(events), len(pours), strips)
	}
	for i, e := range events {
		start, err := e.GetStartAt()
		want, _ := time.Parse(time.RFC3339, pours[i].Get("start").Text)
		if err != nil || !start.Equal(want.Truncate(time.Second)) {
			t.Errorf("event %d starts %v, %v; the pour %v", i, start, err, want)
		}
		if s := e.GetProperty(ical.ComponentPropertySummary); s == nil || !strings.Contains(s.Value,
			pours[i].Get("pads").Array[0].Text) {
			t.Errorf("event %d: %v", i, s)
		}
	}
	for _, line := range strings.Split(strings.TrimSuffix(a.Body, "\r\n"), "\r\n") {
		if len(line) > 75 || strings.ContainsAny(line, "\r\n") { // RFC 5545, 3.1
			t.Errorf("line of %d octets: %q", len(line), line)
		}
	}
}

func (w *contractTest) concrete(t *testing.T) {
	w.get(t, "evaporation", "/v1/concrete/evaporation?air_c=25&concrete_c=22&humidity_pct=50&wind_m_s=3")
	w.get(t, "mix", "/v1/concrete/mix-temperature?bag_c=5&water_c=20&bag_kg=36.3&water_l=2.8&ice_kg=0")
	if m := w.get(t, "mix", "/v1/concrete/mix-temperature?bag_c=5&wanted_c=12&bag_kg=36.3&water_l=2.8"); m.Get(
		"mix_c").Text != "12" {
		t.Errorf("wanted 12, got %s", text(m))
	}
	w.get(t, "set", "/v1/concrete/set-time?concrete_c=20&cement=rapid&water_cement=0.5")
	w.get(t, "set", "/v1/concrete/set-time?concrete_c=20&water_cement=0.5")
}

func (w *contractTest) machines(t *testing.T) {
	for path, want := range map[string]string{"/healthz": "alive", "/readyz": "ready",
		"/metrics": "dryslot_http_request_seconds_bucket{", "/openapi.json": `"openapi":"3.1.0"`} {
		if a := w.h.Must(t, http.StatusOK, "GET", path, "", "Authorization", ""); !strings.Contains(a.Body, want) {
			t.Errorf("%s: %.200s", path, a.Body)
		}
		if a := w.h.Must(t, http.StatusOK, "HEAD", path, ""); a.Body != "" {
			t.Errorf("HEAD %s has a body", path)
		}
	}
}
