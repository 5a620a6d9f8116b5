package api

import (
	"net/http"
	"regexp"
	"strings"
	"testing"
	"time"

	ical "github.com/arran4/golang-ical"

	"dryslot/internal/accounts"
	"dryslot/internal/pour"
	"dryslot/internal/web/webtest"
)

// The whole of a builder's way through the API on a recorded forecast: every
// route answers in the contract's fields, no more and no less, with times in
// the project's offset.
func TestEveryRouteAnswersInItsFields(t *testing.T) {
	h := newHouse(t)
	get := func(form, path string) *pour.Node {
		t.Helper()
		a := h.Must(t, http.StatusOK, "GET", path, "")
		if a.Header.Get("Content-Type") != "application/json" {
			t.Errorf("%s: type %s", path, a.Header.Get("Content-Type"))
		}
		if a.Header.Get("Dryslot-Clock") != h.Now.Format(time.RFC3339) {
			t.Errorf("%s: the clock was not told: %v", path, a.Header)
		}
		mustFit(t, form, a.Body)
		return inBerlin(t, path, a.Body)
	}
	send := func(status int, form, method, path, body string, headers ...string) (*pour.Node, webtest.Answer) {
		t.Helper()
		a := h.Must(t, status, method, path, body, headers...)
		mustFit(t, form, a.Body)
		return inBerlin(t, path, a.Body), a
	}

	made, a := send(http.StatusCreated, "project", "POST", "/v1/projects", webtest.Yard)
	base := "/v1/projects/" + made.Get("id").Text
	if got := a.Header.Get("Location"); got != base {
		t.Errorf("Location %q, want %q", got, base)
	}
	if !strings.HasPrefix(a.Header.Get("ETag"), `"1-`) || made.Get("revision").Text != "1" {
		t.Errorf("ETag %s of revision %s", a.Header.Get("ETag"), made.Get("revision").Text)
	}
	if made.Get("time_zone").Text != "Europe/Berlin" || made.Get("units").Text != "metric" {
		t.Errorf("zone %s, units %s", made.Get("time_zone").Text, made.Get("units").Text)
	}
	if pads := made.Get("pads").Array; pads[0].Get("state").Text != "waiting" || pads[0].Get("bags").Text == "0" {
		t.Errorf("a new pad: %s", text(pads[0]))
	}

	t.Run("before the first forecast", func(t *testing.T) {
		m := get("morning", base+"/mornings/tomorrow")
		caution := m.Get("cautions").Array
		if m.Get("verdict").Text != "hold" || m.Get("score").Kind != pour.NullNode || m.Get("window").Kind != pour.NullNode ||
			m.Get("forecast").Kind != pour.NullNode || len(m.Get("pads").Array) != 0 || len(caution) == 0 || caution[0].Get("code").Text != "no-forecast" {
			t.Errorf("tomorrow: %s", text(m))
		}
		if m.Get("date").Text != "2025-07-28" {
			t.Errorf("tomorrow is %s", m.Get("date").Text)
		}
		p := get("plan", base+"/plan")
		if p.Get("state").Text != "awaiting-forecast" || p.Get("version").Text != "0" {
			t.Errorf("plan %s", text(p))
		}
		if n := len(get("mornings", base+"/mornings").Get("items").Array); n != 10 {
			t.Errorf("%d mornings", n)
		}
		get("no forecast", base+"/forecast")
		get("takeoff", base+"/takeoff")
		get("push", "/v1/push")
		get("now", base+"/now")
		if n := len(get("plans", base+"/plans").Get("items").Array); n != 0 {
			t.Errorf("%d plans", n)
		}
	})

	h.Refresh(t, made.Get("id").Text)

	t.Run("with a forecast", func(t *testing.T) {
		f := get("forecast", base+"/forecast")
		if f.Get("feed").Text != "open-meteo" || f.Get("age_min").Text != "0" || len(f.Get("hours").Array) < 24*5 {
			t.Errorf("forecast %.300s", text(f))
		}
		v := f.Get("verification")
		if leads := v.Get("leads").Array; len(leads) != 6 || leads[0].Get("lead_h").Text != "6" || leads[0].Get("pairs").Text != "0" ||
			leads[0].Get("brier").Kind != pour.NullNode || leads[0].Get("recalibrated").Bool || !strings.Contains(v.Get("against").Text, "not a gauge") {
			t.Errorf("verification %.600s", text(v))
		}
		get("projects", "/v1/projects")
		get("project", base)
		m := get("mornings", base+"/mornings?days=3")
		if n := len(m.Get("items").Array); n != 3 || m.Get("items").Array[0].Get("chart") != nil {
			t.Errorf("%d mornings of 3, or one with its chart", n)
		}
		next := get("mornings", base+"/mornings?limit=4")
		next = get("mornings", base+"/mornings?limit=200&cursor="+next.Get("next_cursor").Text)
		if n := len(next.Get("items").Array); n != 6 || next.Get("next_cursor").Kind != pour.NullNode {
			t.Errorf("%d mornings after 4 of 10", n)
		}
		tomorrow := get("morning", base+"/mornings/tomorrow")
		if same := get("morning", base+"/mornings/2025-07-28"); text(same) != text(tomorrow) {
			t.Error("tomorrow is not the date that it is")
		}
		if tomorrow.Get("chart") == nil {
			t.Error("a morning by itself has no chart")
		}
		if f.Get("members").Text != tomorrow.Get("forecast").Get("members").Text {
			t.Errorf("members: %s of the forecast, %s of the morning", f.Get("members").Text, tomorrow.Get("forecast").Get("members").Text)
		}
		get("morning", base+"/mornings/today")
		if tomorrow.Get("score").Kind != pour.NumberNode || tomorrow.Get("forecast").Get("feed").Text != "open-meteo" {
			t.Errorf("tomorrow: %.600s", text(tomorrow))
		}
		p := get("plan", base+"/plan")
		if p.Get("state").Text != "open" || p.Get("version").Text != "1" || len(p.Get("pours").Array) == 0 {
			t.Errorf("plan: %s", text(p))
		}
		now := get("now", base+"/now")
		if now.Get("day").Text != "off" || len(now.Get("rain").Get("next_hours").Array) == 0 || len(now.Get("pads").Array) != 3 {
			t.Errorf("now: %.600s", text(now))
		}
		take := get("takeoff", base+"/takeoff")
		if len(take.Get("pads").Array) != 3 || len(take.Get("pours").Array) != len(p.Get("pours").Array) {
			t.Errorf("takeoff %.300s", text(take))
		}
	})

	t.Run("plans", func(t *testing.T) {
		again, a := send(http.StatusCreated, "made plan", "POST", base+"/plan", "")
		if again.Get("version").Text != "2" || a.Header.Get("Location") != base+"/plans/2" {
			t.Errorf("planned again: version %s at %s", again.Get("version").Text, a.Header.Get("Location"))
		}
		tried, _ := send(http.StatusOK, "made plan", "POST", base+"/plan", `{"what_if":{"people":3,"earliest_start":"05:30","water_temperature_c":12,"cover":"plastic","pads":["A1","A3"]}}`)
		if tried.Get("version").Kind != pour.NullNode || len(tried.Get("mornings").Array) == 0 {
			t.Errorf("tried: %.300s", text(tried))
		}
		if got := get("plan", base+"/plan").Get("version").Text; got != "2" {
			t.Errorf("a what_if was kept: version %s", got)
		}
		send(http.StatusCreated, "made plan", "POST", base+"/plan", "{}")
		first := get("compared plan", base+"/plans/1")
		third := get("compared plan", base+"/plans/3")
		far := get("compared plan", base+"/plans/3?against=1")
		if first.Get("against").Kind != pour.NullNode || third.Get("against").Text != "2" || far.Get("against").Text != "1" {
			t.Errorf("against %s, %s, %s", text(first.Get("against")), text(third.Get("against")), text(far.Get("against")))
		}
		page := get("plans", base+"/plans?limit=2")
		if len(page.Get("items").Array) != 2 || page.Get("next_cursor").Kind != pour.StringNode {
			t.Fatalf("a first page: %.300s", text(page))
		}
		rest := get("plans", base+"/plans?limit=2&cursor="+page.Get("next_cursor").Text)
		if len(rest.Get("items").Array) != 1 || rest.Get("next_cursor").Kind != pour.NullNode {
			t.Errorf("a last page: %.300s", text(rest))
		}
	})

	t.Run("the log", func(t *testing.T) {
		told, _ := send(http.StatusCreated, "log answer", "POST", base+"/log",
			`{"kind":"placed","pad":"A1","at":"2025-07-27T09:10:00+02:00","bags":5,"water_l":15.5,"minutes":52,"rain_mm":null,"text":"went well"}`)
		if told.Get("entry").Get("pad").Text != "A1" || told.Get("plan").Get("because").Text == "" {
			t.Errorf("placed: %.600s", text(told))
		}
		// The same instant told in another offset comes back in the project's.
		told, _ = send(http.StatusCreated, "log answer", "POST", base+"/log", `{"kind":"finished","pad":"A1","at":"2025-07-27T11:00:00Z"}`)
		if got := told.Get("entry").Get("at").Text; got != "2025-07-27T13:00:00+02:00" {
			t.Errorf("finished at %s", got)
		}
		send(http.StatusCreated, "log answer", "POST", base+"/log", `{"kind":"note","pad":null,"text":"before the project was entered","at":"2024-05-01T12:00:00+02:00"}`)
		list := get("log", base+"/log").Get("items").Array
		if len(list) != 3 || list[0].Get("kind").Text != "note" || list[2].Get("kind").Text != "finished" {
			t.Errorf("log: %d entries", len(list))
		}
		pads := get("project", base).Get("pads").Array
		if pads[0].Get("state").Text != "finished" || pads[0].Get("placed_at").Text != "2025-07-27T09:10:00+02:00" {
			t.Errorf("A1 is %s", text(pads[0]))
		}
	})

	t.Run("recipients and alerts", func(t *testing.T) {
		mail, _ := send(http.StatusCreated, "recipient", "POST", base+"/recipients", `{"kind":"email","address":"site@example.org"}`)
		if mail.Get("secret") != nil {
			t.Error("a mail address has a secret")
		}
		hook, _ := send(http.StatusCreated, "recipient", "POST", base+"/recipients", `{"kind":"webhook","address":"https://hooks.example.org/pour"}`)
		if secret := hook.Get("secret"); secret == nil || !strings.HasPrefix(secret.Text, "whsec_") {
			t.Errorf("webhook: %s", text(hook))
		}
		list := get("recipients", base+"/recipients").Get("items").Array
		if len(list) != 2 || list[0].Get("secret") != nil || list[1].Get("secret") != nil {
			t.Errorf("%d recipients, secrets shown again", len(list))
		}
		test, _ := send(http.StatusAccepted, "alert", "POST", base+"/recipients/"+hook.Get("id").Text+"/test", "")
		if test.Get("recipient").Text != hook.Get("id").Text || test.Get("state").Text != "due" || test.Get("text").Text == "" {
			t.Errorf("test alert: %s", text(test))
		}
		alerts := get("alerts", base+"/alerts").Get("items").Array
		found := false
		for _, a := range alerts {
			found = found || a.Get("key").Text == test.Get("key").Text
		}
		if !found {
			t.Errorf("the test alert is not among %d", len(alerts))
		}
		h.Must(t, http.StatusNoContent, "DELETE", base+"/recipients/"+hook.Get("id").Text, "")
		h.Must(t, http.StatusNotFound, "DELETE", base+"/recipients/"+hook.Get("id").Text, "")
	})

	t.Run("the account", func(t *testing.T) {
		if _, err := h.People.SignInByToken(t.Context(), webtest.Firstly, accounts.Browser{Name: "Firefox"}); err != nil {
			t.Fatal(err)
		}
		a := h.Must(t, http.StatusCreated, "POST", "/v1/account/tokens", `{"name":"Yard screen"}`)
		mustFit(t, "token", a.Body)
		made := parse(t, a.Body)
		fresh := "Bearer " + made.Get("token").Text
		a = h.Must(t, http.StatusOK, "GET", "/v1/account", "", "Authorization", fresh)
		mustFit(t, "account", a.Body)
		whole := parse(t, a.Body)
		if n := len(whole.Get("tokens").Array); n != 2 || whole.Get("tokens").Array[1].Get("token") != nil {
			t.Errorf("%d tokens: %s", n, text(whole))
		}
		session := "/v1/account/sessions/" + whole.Get("sessions").Array[0].Get("id").Text
		token := "/v1/account/tokens/" + made.Get("id").Text
		for _, path := range []string{session, token} {
			h.Must(t, http.StatusNotFound, "DELETE", path, "", "Authorization", "Bearer "+webtest.Secondly)
			h.Must(t, http.StatusNoContent, "DELETE", path, "")
			h.Must(t, http.StatusNotFound, "DELETE", path, "")
		}
		h.Must(t, http.StatusUnauthorized, "GET", "/v1/account", "", "Authorization", fresh)
		h.Must(t, http.StatusUnprocessableEntity, "POST", "/v1/account/tokens", `{"name":"Yard"}`, "Idempotency-Key", "k")
		for _, body := range []string{`{}`, `{"name":""}`, `{"name":7}`, `{"name":"` + strings.Repeat("x", 61) + `"}`, `{"name":"a","for":"b"}`} {
			if a := h.Send(t, "POST", "/v1/account/tokens", body); a.Status != http.StatusUnprocessableEntity {
				t.Errorf("%s: %d %s", body, a.Status, a.Body)
			}
		}
	})

	t.Run("members", func(t *testing.T) {
		fit := func(form string, a webtest.Answer) *pour.Node {
			t.Helper()
			mustFit(t, form, a.Body)
			return parse(t, a.Body)
		}
		as := []string{"Authorization", "Bearer " + webtest.Secondly}
		made := fit("invitation", h.Must(t, http.StatusCreated, "POST", base+"/invitations", `{"role":"crew"}`))
		list := fit("invitations", h.Must(t, http.StatusOK, "GET", base+"/invitations", ""))
		if n := len(list.Get("items").Array); n != 1 || list.Get("items").Array[0].Get("url") != nil {
			t.Errorf("%d invitations: %s", n, text(list))
		}
		_, key, _ := strings.Cut(made.Get("url").Text, "/join/")
		h.Must(t, http.StatusNotFound, "GET", base, "", as...)
		h.Must(t, http.StatusNotFound, "POST", base+"/members", `{"key":"none","name":"Ana"}`, as...)
		join := `{"key":"` + key + `","name":"Ana"}`
		h.Must(t, http.StatusConflict, "POST", base+"/members", join) // one's own project
		fit("membership", h.Must(t, http.StatusCreated, "POST", base+"/members", join, as...))
		fit("members", h.Must(t, http.StatusOK, "GET", base+"/members", "", as...))
		fit("account", h.Must(t, http.StatusOK, "GET", "/v1/account", "", as...))
		entry := h.Must(t, http.StatusCreated, "POST", base+"/log", `{"kind":"note","at":"2025-07-27T09:30:00+02:00","text":"sheets are on site"}`, as...)
		if by := parse(t, entry.Body).Get("entry").Get("by").Text; by != "Ana" {
			t.Errorf("the entry is by %q", by)
		}
		member := fit("members", h.Must(t, http.StatusOK, "GET", base+"/members", "")).Get("items").Array[0].Get("id").Text
		h.Must(t, http.StatusForbidden, "DELETE", base, "", as...)
		h.Must(t, http.StatusNoContent, "DELETE", base+"/members/"+member, "", as...) // leaves
		h.Must(t, http.StatusNotFound, "GET", base+"/members", "", as...)
		h.Must(t, http.StatusNoContent, "DELETE", base+"/invitations/"+made.Get("id").Text, "")
		h.Must(t, http.StatusNotFound, "POST", base+"/members", join, as...)
	})

	t.Run("the calendar", func(t *testing.T) {
		path, ok := strings.CutPrefix(made.Get("calendar_url").Text, "http://dryslot.example")
		if !ok {
			t.Fatalf("calendar_url %s", made.Get("calendar_url").Text)
		}
		a := h.Must(t, http.StatusOK, "GET", path, "", "Authorization", "")
		if a.Header.Get("Content-Type") != "text/calendar; charset=utf-8" {
			t.Errorf("type %s", a.Header.Get("Content-Type"))
		}
		cal, err := ical.ParseCalendar(strings.NewReader(a.Body))
		if err != nil {
			t.Fatal(err)
		}
		pours := get("plan", base+"/plan").Get("pours").Array
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
			if s := e.GetProperty(ical.ComponentPropertySummary); s == nil || !strings.Contains(s.Value, pours[i].Get("pads").Array[0].Text) {
				t.Errorf("event %d: %v", i, s)
			}
		}
		for _, line := range strings.Split(strings.TrimSuffix(a.Body, "\r\n"), "\r\n") {
			if len(line) > 75 || strings.ContainsAny(line, "\r\n") { // RFC 5545, 3.1
				t.Errorf("line of %d octets: %q", len(line), line)
			}
		}
	})

	t.Run("concrete", func(t *testing.T) {
		get("evaporation", "/v1/concrete/evaporation?air_c=25&concrete_c=22&humidity_pct=50&wind_m_s=3")
		get("mix", "/v1/concrete/mix-temperature?bag_c=5&water_c=20&bag_kg=36.3&water_l=2.8&ice_kg=0")
		if m := get("mix", "/v1/concrete/mix-temperature?bag_c=5&wanted_c=12&bag_kg=36.3&water_l=2.8"); m.Get("mix_c").Text != "12" {
			t.Errorf("wanted 12, got %s", text(m))
		}
		get("set", "/v1/concrete/set-time?concrete_c=20&cement=rapid&water_cement=0.5")
		get("set", "/v1/concrete/set-time?concrete_c=20&water_cement=0.5")
	})

	t.Run("machines", func(t *testing.T) {
		for path, want := range map[string]string{"/healthz": "alive", "/readyz": "ready", "/metrics": "dryslot_http_request_seconds_bucket{", "/openapi.json": `"openapi":"3.1.0"`} {
			if a := h.Must(t, http.StatusOK, "GET", path, "", "Authorization", ""); !strings.Contains(a.Body, want) {
				t.Errorf("%s: %.200s", path, a.Body)
			}
			if a := h.Must(t, http.StatusOK, "HEAD", path, ""); a.Body != "" {
				t.Errorf("HEAD %s has a body", path)
			}
		}
	})

	send(http.StatusOK, "project", "PATCH", base, `{"crew":{"people":3},"mix":{"price_per_bag":null}}`, "If-Match", "*")
	h.Must(t, http.StatusNoContent, "DELETE", base, "")
	h.Must(t, http.StatusNotFound, "GET", base, "")
	keepExamples(t, h.Seen)
	if h.Errors.Len() > 0 {
		t.Errorf("the log: %s", h.Errors)
	}
}

// inBerlin parses a body and checks that all its times carry Berlin's offset.
func inBerlin(t *testing.T, path, body string) *pour.Node {
	t.Helper()
	n := parse(t, body)
	found := map[string]bool{}
	offsets(n, found)
	delete(found, "+02:00")
	if len(found) > 0 {
		t.Errorf("%s: other offsets %v", path, found)
	}
	return n
}

// The description names every route of the contract, and nothing that needs
// another host.
func TestTheDescriptionIsWhole(t *testing.T) {
	h := newHouse(t)
	a := h.Must(t, http.StatusOK, "GET", "/openapi.json", "")
	doc := parse(t, a.Body)
	for path, methods := range map[string]string{
		"/v1/projects": "get post", "/v1/projects/{id}": "get patch delete", "/v1/projects/{id}/forecast": "get",
		"/v1/projects/{id}/mornings": "get", "/v1/projects/{id}/mornings/{date}": "get", "/v1/projects/{id}/plan": "get post",
		"/v1/projects/{id}/plans": "get", "/v1/projects/{id}/plans/{n}": "get", "/v1/projects/{id}/log": "get post",
		"/v1/projects/{id}/takeoff": "get", "/v1/projects/{id}/recipients": "get post", "/v1/projects/{id}/recipients/{rid}": "delete",
		"/v1/projects/{id}/recipients/{rid}/test": "post", "/v1/projects/{id}/alerts": "get", "/v1/projects/{id}/calendar.ics": "get",
		"/v1/projects/{id}/members": "get post", "/v1/projects/{id}/members/{mid}": "delete", "/v1/projects/{id}/invitations": "get post",
		"/v1/projects/{id}/invitations/{iid}": "delete", "/v1/account": "get", "/v1/account/tokens": "post", "/v1/account/tokens/{tid}": "delete", "/v1/account/sessions/{sid}": "delete",
		"/v1/concrete/evaporation": "get", "/v1/concrete/mix-temperature": "get", "/v1/concrete/set-time": "get",
		"/healthz": "get", "/readyz": "get", "/metrics": "get", "/openapi.json": "get",
	} {
		item := doc.Get("paths").Get(path)
		if item == nil {
			t.Errorf("%s is not described", path)
			continue
		}
		for _, m := range strings.Fields(methods) {
			op := item.Get(m)
			if op == nil || op.Get("responses") == nil {
				t.Errorf("%s %s is not described", m, path)
				continue
			}
			if strings.HasPrefix(path, "/v1/") && (op.Get("responses").Get("default") == nil || !strings.Contains(text(op.Get("responses").Get("default")), "application/problem+json")) {
				t.Errorf("%s %s: problems are not described", m, path)
			}
		}
	}
	for _, host := range regexp.MustCompile(`https?://[^/"]*`).FindAllString(a.Body, -1) {
		if !strings.HasSuffix(host, ".example") && !strings.HasSuffix(host, ".example.org") {
			t.Errorf("the description speaks of %s", host)
		}
	}
}
