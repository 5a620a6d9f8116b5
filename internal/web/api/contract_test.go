package api

import (
	"net/http"
	"regexp"
	"strings"
	"testing"
	"time"

	"dryslot/internal/pour"
	"dryslot/internal/web/webtest"
)

// The whole of a builder's way through the API on a recorded forecast: every
// route answers in the contract's fields, no more and no less, with times in
// the project's offset.
func TestEveryRouteAnswersInItsFields(t *testing.T) {
	h := newService(t)
	w := &contractTest{h: h}
	w.create(t)
	t.Run("before the first forecast", w.beforeTheFirstForecast)
	h.Refresh(t, w.made.Get("id").Text)
	t.Run("with a forecast", w.withAForecast)
	t.Run("plans", w.plans)
	t.Run("the log", w.log)
	t.Run("photos", w.photos)
	t.Run("recipients and alerts", w.recipients)
	t.Run("the account", w.account)
	t.Run("members", w.members)
	t.Run("the calendar", w.calendar)
	t.Run("concrete", w.concrete)
	t.Run("machines", w.machines)
	w.send(t, http.StatusOK, "project", "PATCH", w.base, `{"crew":{"people":3},"mix":{"price_per_bag":null}}`,
		"If-Match", "*")
	h.Must(t, http.StatusNoContent, "DELETE", w.base, "")
	h.Must(t, http.StatusNotFound, "GET", w.base, "")
	keepExamples(t, h.Seen)
	if h.Errors.Len() > 0 {
		t.Errorf("the log: %s", h.Errors)
	}
}

// contractTest is a builder's way through the API on one project.
type contractTest struct {
	h    *webtest.Service
	made *pour.Node // the project as it was answered when it was made
	base string     // its path
}

// get asks for a path, and checks the answer's form, clock and offset.
func (w *contractTest) get(t *testing.T, form, path string) *pour.Node {
	t.Helper()
	a := w.h.Must(t, http.StatusOK, "GET", path, "")
	if a.Header.Get("Content-Type") != "application/json" {
		t.Errorf("%s: type %s", path, a.Header.Get("Content-Type"))
	}
	if a.Header.Get("Dryslot-Clock") != w.h.Now.Format(time.RFC3339) {
		t.Errorf("%s: the clock was not told: %v", path, a.Header)
	}
	mustFit(t, form, a.Body)
	return inBerlin(t, path, a.Body)
}

// send sends a request, and checks the answer's status, form and offset.
func (w *contractTest) send(t *testing.T, status int, form, method, path, body string,
	headers ...string) (*pour.Node, webtest.Answer) {
	t.Helper()
	a := w.h.Must(t, status, method, path, body, headers...)
	mustFit(t, form, a.Body)
	return inBerlin(t, path, a.Body), a
}

// create makes the project.
func (w *contractTest) create(t *testing.T) {
	made, a := w.send(t, http.StatusCreated, "project", "POST", "/v1/projects", webtest.Yard)
	w.made, w.base = made, "/v1/projects/"+made.Get("id").Text
	if got := a.Header.Get("Location"); got != w.base {
		t.Errorf("Location %q, want %q", got, w.base)
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
}

func (w *contractTest) beforeTheFirstForecast(t *testing.T) {
	m := w.get(t, "morning", w.base+"/mornings/tomorrow")
	caution := m.Get("cautions").Array
	if m.Get("verdict").Text != "hold" || m.Get("score").Kind != pour.NullNode ||
		m.Get("window").Kind != pour.NullNode || m.Get("forecast").Kind != pour.NullNode ||
		len(m.Get("pads").Array) != 0 || len(caution) == 0 || caution[0].Get("code").Text != "no-forecast" {
		t.Errorf("tomorrow: %s", text(m))
	}
	if m.Get("date").Text != "2025-07-28" {
		t.Errorf("tomorrow is %s", m.Get("date").Text)
	}
	p := w.get(t, "plan", w.base+"/plan")
	if p.Get("state").Text != "awaiting-forecast" || p.Get("version").Text != "0" {
		t.Errorf("plan %s", text(p))
	}
	if n := len(w.get(t, "mornings", w.base+"/mornings").Get("items").Array); n != 10 {
		t.Errorf("%d mornings", n)
	}
	w.get(t, "no forecast", w.base+"/forecast")
	w.get(t, "takeoff", w.base+"/takeoff")
	w.get(t, "push", "/v1/push")
	w.get(t, "now", w.base+"/now")
	if n := len(w.get(t, "plans", w.base+"/plans").Get("items").Array); n != 0 {
		t.Errorf("%d plans", n)
	}
}

func (w *contractTest) withAForecast(t *testing.T) {
	f := w.get(t, "forecast", w.base+"/forecast")
	if f.Get("feed").Text != "open-meteo" || f.Get("age_min").Text != "0" || len(f.Get("hours").Array) < 24*5 {
		t.Errorf("forecast %.300s", text(f))
	}
	v := f.Get("verification")
	if leads := v.Get("leads").Array; len(leads) != 6 || leads[0].Get("lead_h").Text != "6" ||
		leads[0].Get("pairs").Text != "0" || leads[0].Get("brier").Kind != pour.NullNode ||
		leads[0].Get("recalibrated").Bool || !strings.Contains(v.Get("against").Text, "not a gauge") {
		t.Errorf("verification %.600s", text(v))
	}
	w.get(t, "projects", "/v1/projects")
	w.get(t, "project", w.base)
	m := w.get(t, "mornings", w.base+"/mornings?days=3")
	if n := len(m.Get("items").Array); n != 3 || m.Get("items").Array[0].Get("chart") != nil {
		t.Errorf("%d mornings of 3, or one with its chart", n)
	}
	next := w.get(t, "mornings", w.base+"/mornings?limit=4")
	next = w.get(t, "mornings", w.base+"/mornings?limit=200&cursor="+next.Get("next_cursor").Text)
	if n := len(next.Get("items").Array); n != 6 || next.Get("next_cursor").Kind != pour.NullNode {
		t.Errorf("%d mornings after 4 of 10", n)
	}
	tomorrow := w.get(t, "morning", w.base+"/mornings/tomorrow")
	if same := w.get(t, "morning", w.base+"/mornings/2025-07-28"); text(same) != text(tomorrow) {
		t.Error("tomorrow is not the date that it is")
	}
	if tomorrow.Get("chart") == nil {
		t.Error("a morning by itself has no chart")
	}
	if f.Get("members").Text != tomorrow.Get("forecast").Get("members").Text {
		t.Errorf("members: %s of the forecast, %s of the morning", f.Get("members").Text,
			tomorrow.Get("forecast").Get("members").Text)
	}
	w.get(t, "morning", w.base+"/mornings/today")
	if tomorrow.Get("score").Kind != pour.NumberNode || tomorrow.Get("forecast").Get("feed").Text != "open-meteo" {
		t.Errorf("tomorrow: %.600s", text(tomorrow))
	}
	p := w.get(t, "plan", w.base+"/plan")
	if p.Get("state").Text != "open" || p.Get("version").Text != "1" || len(p.Get("pours").Array) == 0 {
		t.Errorf("plan: %s", text(p))
	}
	now := w.get(t, "now", w.base+"/now")
	if now.Get("day").Text != "off" || len(now.Get("rain").Get("next_hours").Array) == 0 ||
		len(now.Get("pads").Array) != 3 {
		t.Errorf("now: %.600s", text(now))
	}
	take := w.get(t, "takeoff", w.base+"/takeoff")
	if len(take.Get("pads").Array) != 3 || len(take.Get("pours").Array) != len(p.Get("pours").Array) {
		t.Errorf("takeoff %.300s", text(take))
	}
}

func (w *contractTest) plans(t *testing.T) {
	again, a := w.send(t, http.StatusCreated, "made plan", "POST", w.base+"/plan", "")
	if again.Get("version").Text != "2" || a.Header.Get("Location") != w.base+"/plans/2" {
		t.Errorf("planned again: version %s at %s", again.Get("version").Text, a.Header.Get("Location"))
	}
	tried, _ := w.send(t, http.StatusOK, "made plan", "POST", w.base+"/plan",
		`{"what_if":{"people":3,"earliest_start":"05:30","water_temperature_c":12,"cover":"plastic",
			"pads":["A1","A3"]}}`)
	if tried.Get("version").Kind != pour.NullNode || len(tried.Get("mornings").Array) == 0 {
		t.Errorf("tried: %.300s", text(tried))
	}
	if got := w.get(t, "plan", w.base+"/plan").Get("version").Text; got != "2" {
		t.Errorf("a what_if was kept: version %s", got)
	}
	w.send(t, http.StatusCreated, "made plan", "POST", w.base+"/plan", "{}")
	first := w.get(t, "compared plan", w.base+"/plans/1")
	third := w.get(t, "compared plan", w.base+"/plans/3")
	far := w.get(t, "compared plan", w.base+"/plans/3?against=1")
	if first.Get("against").Kind != pour.NullNode || third.Get("against").Text != "2" ||
		far.Get("against").Text != "1" {
		t.Errorf("against %s, %s, %s", text(first.Get("against")), text(third.Get("against")), text(far.Get("against")))
	}
	page := w.get(t, "plans", w.base+"/plans?limit=2")
	if len(page.Get("items").Array) != 2 || page.Get("next_cursor").Kind != pour.StringNode {
		t.Fatalf("a first page: %.300s", text(page))
	}
	rest := w.get(t, "plans", w.base+"/plans?limit=2&cursor="+page.Get("next_cursor").Text)
	if len(rest.Get("items").Array) != 1 || rest.Get("next_cursor").Kind != pour.NullNode {
		t.Errorf("a last page: %.300s", text(rest))
	}
}

func (w *contractTest) log(t *testing.T) {
	told, _ := w.send(t, http.StatusCreated, "log answer", "POST", w.base+"/log",
		`{"kind":"placed","pad":"A1","at":"2025-07-27T09:10:00+02:00","bags":5,"water_l":15.5,"minutes":52,
			"rain_mm":null,"text":"went well"}`)
	if told.Get("entry").Get("pad").Text != "A1" || told.Get("plan").Get("because").Text == "" {
		t.Errorf("placed: %.600s", text(told))
	}
	// The same instant told in another offset comes back in the project's.
	told, _ = w.send(t, http.StatusCreated, "log answer", "POST", w.base+"/log",
		`{"kind":"finished","pad":"A1","at":"2025-07-27T11:00:00Z"}`)
	if got := told.Get("entry").Get("at").Text; got != "2025-07-27T13:00:00+02:00" {
		t.Errorf("finished at %s", got)
	}
	w.send(t, http.StatusCreated, "log answer", "POST", w.base+"/log",
		`{"kind":"note","pad":null,"text":"before the project was entered","at":"2024-05-01T12:00:00+02:00"}`)
	list := w.get(t, "log", w.base+"/log").Get("items").Array
	if len(list) != 3 || list[0].Get("kind").Text != "note" || list[2].Get("kind").Text != "finished" {
		t.Errorf("log: %d entries", len(list))
	}
	pads := w.get(t, "project", w.base).Get("pads").Array
	if pads[0].Get("state").Text != "finished" || pads[0].Get("placed_at").Text != "2025-07-27T09:10:00+02:00" {
		t.Errorf("A1 is %s", text(pads[0]))
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
	h := newService(t)
	a := h.Must(t, http.StatusOK, "GET", "/openapi.json", "")
	doc := parse(t, a.Body)
	for path, methods := range map[string]string{
		"/v1/projects": "get post", "/v1/projects/{id}": "get patch delete", "/v1/projects/{id}/forecast": "get",
		"/v1/projects/{id}/mornings": "get", "/v1/projects/{id}/mornings/{date}": "get",
		"/v1/projects/{id}/plan": "get post", "/v1/projects/{id}/plans": "get", "/v1/projects/{id}/plans/{n}": "get",
		"/v1/projects/{id}/log": "get post", "/v1/projects/{id}/takeoff": "get",
		"/v1/projects/{id}/recipients": "get post", "/v1/projects/{id}/recipients/{rid}": "delete",
		"/v1/projects/{id}/recipients/{rid}/test": "post", "/v1/projects/{id}/alerts": "get",
		"/v1/projects/{id}/calendar.ics": "get", "/v1/projects/{id}/members": "get post",
		"/v1/projects/{id}/members/{mid}": "delete", "/v1/projects/{id}/invitations": "get post",
		"/v1/projects/{id}/invitations/{iid}": "delete", "/v1/account": "get", "/v1/account/tokens": "post",
		"/v1/account/tokens/{tid}": "delete", "/v1/account/sessions/{sid}": "delete", "/v1/concrete/evaporation": "get",
		"/v1/concrete/mix-temperature": "get", "/v1/concrete/set-time": "get", "/healthz": "get", "/readyz": "get",
		"/metrics": "get", "/openapi.json": "get",
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
			if strings.HasPrefix(path, "/v1/") && (op.Get("responses").Get("default") == nil ||
				!strings.Contains(text(op.Get("responses").Get("default")), "application/problem+json")) {
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
