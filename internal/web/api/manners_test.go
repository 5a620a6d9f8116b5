package api

import (
	"bufio"
	"context"
	"encoding/json"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/message"
	"dryslot/internal/metrics"
	"dryslot/internal/pour"
	"dryslot/internal/ready"
	"dryslot/internal/web"
	"dryslot/internal/web/webtest"
)

func TestChangingAProject(t *testing.T) {
	h := newService(t)
	id := h.Create(t, h.Token, webtest.Yard)
	path := "/v1/projects/" + id
	read := h.Must(t, http.StatusOK, "GET", path, "")
	tag := read.Header.Get("ETag")

	changed := h.Must(t, http.StatusOK, "PATCH", path, `{"name":"Boules court","crew":{"people":1},
		"mix":{"price_per_bag":null,"cement_fraction":0.2}}`, "If-Match", tag, "Content-Type",
		"application/merge-patch+json")
	mustFit(t, "project", changed.Body)
	doc := parse(t, changed.Body)
	if doc.Get("revision").Text != "2" || !strings.HasPrefix(changed.Header.Get("ETag"), `"2-`) ||
		doc.Get("name").Text != "Boules court" || doc.Get("crew").Get("people").Text != "1" ||
		doc.Get("crew").Get("bags_per_hour").Text != "7" || doc.Get("mix").Get("cement_fraction").Text != "0.2" {
		t.Errorf("changed: %s", changed.Body)
	}
	if doc.Get("mix").Get("price_per_bag").Kind != pour.NullNode { // taken away: unknown
		t.Errorf("price %s", text(doc.Get("mix").Get("price_per_bag")))
	}
	stale := h.Must(t, http.StatusPreconditionFailed, "PATCH", path, `{"name":"x"}`, "If-Match", tag)
	if !strings.Contains(stale.Body, `\"2\"`) {
		t.Errorf("the stale answer does not tell the tag: %s", stale.Body)
	}
	h.Must(t, http.StatusOK, "PATCH", path, `{"name":"Court"}`, "If-Match", `"7", "2"`)
	h.Must(t, http.StatusOK, "PATCH", path, `{}`, "If-Match", `*`)
	fresh := parse(t, h.Must(t, http.StatusOK, "PATCH", path, `{"mix":null,"crew":{"people":null,"bags_per_hour":9}}`,
		"If-Match", `*`).Body)
	if fresh.Get("mix").Get("price_per_bag").Text != "6.5" || fresh.Get("crew").Get("people").Text != "1" ||
		fresh.Get("crew").Get("bags_per_hour").Text != "9" {
		t.Errorf("defaults: %s, %s", text(fresh.Get("mix")), text(fresh.Get("crew")))
	}

	// A project that was read goes back as it is.
	whole := h.Must(t, http.StatusOK, "GET", path, "")
	back := h.Must(t, http.StatusOK, "PATCH", path, whole.Body, "If-Match", whole.Header.Get("ETag"))
	again := parse(t, back.Body)
	if a, b := text(again), text(parse(t, whole.Body)); strings.Replace(a, `"revision":`+again.Get("revision").Text,
		`"revision":`+parse(t, whole.Body).Get("revision").Text, 1) != b {
		t.Errorf("sent back:\n%s\n%s", a, b)
	}

	// Lists are put in whole; a pad with log entries stays.
	h.Must(t, http.StatusCreated, "POST", path+"/log", `{"kind":"placed","pad":"A1","at":"2025-07-27T09:00:00+02:00"}`)
	gone := h.Must(t, http.StatusConflict, "PATCH", path, `{"pads":[`+pad+`]}`, "If-Match", "*")
	if !strings.Contains(gone.Body, "A1") || !strings.Contains(gone.Body, `"field":"pads"`) {
		t.Errorf("a logged pad: %s", gone.Body)
	}
	fewer := h.Must(t, http.StatusOK, "PATCH", path,
		`{"pads":[{"name":"A1","length_m":1.2,"width_m":0.9,"thickness_m":0.075}],"form_sets":[]}`, "If-Match", "*")
	pads := parse(t, fewer.Body).Get("pads").Array
	if len(pads) != 1 || pads[0].Get("state").Text != "placed" {
		t.Errorf("fewer pads: %s", fewer.Body)
	}

	// A move takes the zone and the units along, unless they are set.
	moved := parse(t, h.Must(t, http.StatusOK, "PATCH", path, `{"latitude":44.98,"longitude":-93.27}`, "If-Match",
		"*").Body)
	if moved.Get("time_zone").Text != "America/Chicago" || moved.Get("units").Text != "us" {
		t.Errorf("moved: %s, %s", moved.Get("time_zone").Text, moved.Get("units").Text)
	}
	set := parse(t, h.Must(t, http.StatusOK, "PATCH", path, `{"latitude":52.52,"longitude":13.42,
		"time_zone":"Europe/Vienna","units":"us"}`, "If-Match", "*").Body)
	if set.Get("time_zone").Text != "Europe/Vienna" || set.Get("units").Text != "us" {
		t.Errorf("set: %s, %s", set.Get("time_zone").Text, set.Get("units").Text)
	}
	h.Must(t, http.StatusNoContent, "DELETE", path, "", "If-Match", `"`+set.Get("revision").Text+`"`)
}

// Two changes from the same state: one wins, the other is told.
func TestTwoChangesAtOnce(t *testing.T) {
	h := newService(t)
	path := "/v1/projects/" + h.Create(t, h.Token, webtest.Yard)
	var wait sync.WaitGroup
	answers := make([]webtest.Answer, 6)
	for i := range answers {
		wait.Go(func() {
			answers[i] = h.Send(t, "PATCH", path, `{"name":"Name `+string(rune('a'+i))+`"}`, "If-Match", `"1"`)
		})
	}
	wait.Wait()
	won := 0
	for _, a := range answers {
		switch a.Status {
		case http.StatusOK:
			won++
		case http.StatusPreconditionFailed:
		default:
			t.Errorf("%d: %.300s", a.Status, a.Body)
		}
	}
	if won != 1 {
		t.Errorf("%d changes won", won)
	}
}

// No route shows or changes another account's things: each is as absent as
// what never was.
func TestAccountsAreApart(t *testing.T) {
	h := newService(t)
	id := h.Create(t, h.Token, webtest.Yard)
	h.Refresh(t, id)
	path := "/v1/projects/" + id
	rid := parse(t, h.Must(t, http.StatusCreated, "POST", path+"/recipients",
		`{"kind":"email","address":"site@example.org"}`).Body).Get("id").Text
	calendar := strings.TrimPrefix(parse(t, h.Must(t, http.StatusOK, "GET", path, "").Body).Get("calendar_url").Text,
		"http://dryslot.example")
	theirs := h.Create(t, webtest.SecondToken, webtest.Yard)
	before := everything(t, h, path)

	const log = `{"kind":"note","text":"x","at":"2025-07-27T09:00:00+02:00"}`
	for _, c := range [][3]string{
		{"GET", path, ""}, {"PATCH", path, `{"name":"Mine now"}`}, {"DELETE", path, ""}, {"GET", path + "/forecast",
			""}, {"GET", path + "/mornings", ""},
		{"GET", path + "/mornings/tomorrow", ""}, {"GET", path + "/plan", ""}, {"POST", path + "/plan", ""},
		{"POST", path + "/plan", `{"what_if":{"people":2}}`},
		{"GET", path + "/plans", ""}, {"GET", path + "/plans/1", ""}, {"POST", path + "/log", log},
		{"GET", path + "/log", ""}, {"GET", path + "/takeoff", ""}, {"POST", path + "/recipients",
			`{"kind":"email","address":"me@example.org"}`}, {"GET", path + "/recipients", ""},
		{"DELETE", path + "/recipients/" + rid, ""}, {"POST", path + "/recipients/" + rid + "/test", ""},
		{"GET", path + "/alerts", ""},
		// Theirs in the path, ours behind it.
		{"DELETE", "/v1/projects/" + theirs + "/recipients/" + rid, ""},
		{"POST", "/v1/projects/" + theirs + "/recipients/" + rid + "/test", ""},
	} {
		a := h.Send(t, c[0], c[1], c[2], "Authorization", "Bearer "+webtest.SecondToken, "If-Match", "*")
		if a.Status != http.StatusNotFound || strings.Contains(a.Body, "Boules") || strings.Contains(a.Body,
			"site@example.org") {
			t.Errorf("%s %s: %d: %.300s", c[0], c[1], a.Status, a.Body)
		}
		mustFit(t, "problem", a.Body)
	}
	list := parse(t, h.Must(t, http.StatusOK, "GET", "/v1/projects", "", "Authorization",
		"Bearer "+webtest.SecondToken).Body).Get("items").Array
	if len(list) != 1 || list[0].Get("id").Text != theirs {
		t.Errorf("the other account lists %d projects", len(list))
	}
	// A calendar's key opens its own project only.
	h.Must(t, http.StatusOK, "GET", calendar, "", "Authorization", "")
	h.Must(t, http.StatusNotFound, "GET", strings.Replace(calendar, id, theirs, 1), "", "Authorization", "")
	if after := everything(t, h, path); after != before {
		t.Errorf("something changed:\n%s\n%s", before, after)
	}
}

// everything reads all there is of a project.
func everything(t *testing.T, h *webtest.Service, path string) string {
	t.Helper()
	var b strings.Builder
	for _, p := range []string{"", "/plan", "/plans", "/log", "/recipients", "/alerts", "/mornings", "/takeoff"} {
		b.WriteString(h.Must(t, http.StatusOK, "GET", path+p, "").Body)
	}
	return b.String()
}

// Lists hold together over their parts: no item twice, none left out.
func TestLists(t *testing.T) {
	h := newService(t)
	want := map[string]bool{}
	for range 7 {
		want[h.Create(t, h.Token, webtest.Yard)] = true
	}
	for _, limit := range []string{"1", "3", "7", "200"} {
		got, cursor := map[string]bool{}, ""
		for parts := 0; ; parts++ {
			doc := parse(t, h.Must(t, http.StatusOK, "GET", "/v1/projects?limit="+limit+cursor, "").Body)
			for _, p := range doc.Get("items").Array {
				if got[p.Get("id").Text] {
					t.Errorf("limit %s: twice", limit)
				}
				got[p.Get("id").Text] = true
			}
			next := doc.Get("next_cursor")
			if next.Kind == pour.NullNode {
				break
			}
			if cursor = "&cursor=" + next.Text; parts > 7 {
				t.Fatal("it does not end")
			}
		}
		if len(got) != len(want) {
			t.Errorf("limit %s: %d of %d", limit, len(got), len(want))
		}
	}
}

// A fault of our own is a problem too, and tells nothing of how.
func TestAPanicIsAProblem(t *testing.T) {
	h := newService(t)
	id := h.Create(t, h.Token, webtest.Yard)
	h.Projects.Now = func() time.Time { panic("the clock fell off the wall") }
	a := h.Must(t, http.StatusInternalServerError, "GET", "/v1/projects/"+id+"/plan", "")
	mustFit(t, "problem", a.Body)
	if a.Header.Get("Content-Type") != "application/problem+json" || strings.Contains(a.Body, "wall") ||
		!strings.Contains(h.Errors.String(), "fell off the wall") {
		t.Errorf("%v %s; the log: %.200s", a.Header, a.Body, h.Errors)
	}
	h.Projects.Now = func() time.Time { return h.Now }
	h.Must(t, http.StatusOK, "GET", "/v1/projects/"+id+"/plan", "")
}

// gone is a store whose database does not answer.
type gone struct{ Store }

var away = &fault.Error{Kind: fault.Unavailable, RetryAfter: 1500 * time.Millisecond}

func (gone) AccountByToken(context.Context, string) (string, error) { return "", away }
func (gone) ReadyAnswer(context.Context, string, ready.Query) (ready.Found, error) {
	return ready.Found{}, away
}
func (gone) Ready(context.Context) error { return away }
func (gone) Figures(context.Context, time.Time) (metrics.Figures, error) {
	return metrics.Figures{}, away
}

// A database that is gone is 503, not 500, with when to try again, and /readyz
// says so; the process itself is alive.
func TestADatabaseThatIsGone(t *testing.T) {
	h := web.New(web.Options{Store: gone{}, Clock: time.Now}, Routes(Services{}, gone{}))
	for path, want := range map[string]int{"/v1/projects": http.StatusServiceUnavailable,
		"/v1/projects/00000000-0000-0000-0000-000000000000/plan": http.StatusServiceUnavailable,
		"/readyz": http.StatusServiceUnavailable, "/metrics": http.StatusOK, "/healthz": http.StatusOK} {
		r := httptest.NewRequest(http.MethodGet, path, nil)
		r.Header.Set("Authorization", "Bearer "+webtest.FirstToken)
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		if w.Code != want {
			t.Errorf("%s: %d, want %d", path, w.Code, want)
		}
		if want == http.StatusServiceUnavailable {
			mustFit(t, "problem", w.Body.String())
			if w.Header().Get("Retry-After") != "2" {
				t.Errorf("%s: Retry-After %q", path, w.Header().Get("Retry-After"))
			}
		}
	}
}

// A body that breaks off, or is no body at all, is the sender's mistake.
func TestBodiesThatBreakOff(t *testing.T) {
	h := newService(t)
	for name, rest := range map[string]string{
		"chunks that are none":     "Transfer-Encoding: chunked\r\n\r\nZZ\r\nnonsense\r\n",
		"a chunk cut short":        "Transfer-Encoding: chunked\r\n\r\n20\r\n{\"name\"",
		"a length that is not met": "Content-Length: 500\r\n\r\n{\"name\"",
	} {
		conn, err := net.Dial("tcp", strings.TrimPrefix(h.URL, "http://"))
		if err != nil {
			t.Fatal(err)
		}
		_, err = conn.Write([]byte("POST /v1/projects HTTP/1.1\r\nHost: x\r\nConnection: close\r\nContent-Type: " +
			"application/json\r\nAuthorization: Bearer " + h.Token + "\r\n" + rest))
		if err == nil {
			err = conn.(*net.TCPConn).CloseWrite()
		}
		if err != nil {
			t.Fatal(err)
		}
		resp, err := http.ReadResponse(bufio.NewReader(conn), nil)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		body, err := io.ReadAll(resp.Body)
		if err != nil || resp.StatusCode != http.StatusBadRequest ||
			resp.Header.Get("Content-Type") != "application/problem+json" {
			t.Errorf("%s: %d %s, %v", name, resp.StatusCode, body, err)
		}
		if err := conn.Close(); err != nil {
			t.Fatal(err)
		}
	}
}

func TestMetricsAreWellFormed(t *testing.T) {
	h := newService(t)
	id := h.Create(t, h.Token, webtest.Yard)
	h.Refresh(t, id)
	h.Must(t, http.StatusNotFound, "GET", "/v1/projects/"+id+"/plans/77", "")
	h.Must(t, http.StatusNotFound, "GET", "/nowhere/\"quoted\"", "")
	h.Now = h.Now.Add(time.Hour)
	body := h.Must(t, http.StatusOK, "GET", "/metrics", "", "Authorization", "").Body
	line := regexp.MustCompile(
		`^(# (HELP|TYPE) [a-z_0-9]+ .+|[a-z_0-9]+(\{([a-z]+="[^"\n]*",?)+\})? (-?[0-9.e+-]+|\+Inf))$`)
	for _, l := range strings.Split(strings.TrimSuffix(body, "\n"), "\n") {
		if !line.MatchString(l) {
			t.Errorf("a line of no form: %q", l)
		}
	}
	for _, want := range []string{
		`dryslot_http_request_seconds_count{method="GET",route="/v1/projects/:id/plans/:n",status="404"} 1`,
		"go_goroutines ", "process_cpu_seconds_total ", "dryslot_database_up 1\n", "dryslot_cells 1\n",
		"dryslot_projects 1\n",
		"dryslot_forecast_age_seconds 3600\n", `dryslot_jobs{state="available"}`} {
		if !strings.Contains(body, want) {
			t.Errorf("without %s:\n%s", want, body)
		}
	}
	if strings.Contains(body, "nowhere") || strings.Contains(body, id) {
		t.Error("a request chose a label")
	}
}

// Invented weather says so in every answer, problems and the calendar too.
func TestSampleWeatherSaysSo(t *testing.T) {
	h := newService(t)
	id := h.Create(t, h.Token, webtest.Yard)
	h.Refresh(t, id)
	calendar := strings.TrimPrefix(parse(t, h.Must(t, http.StatusOK, "GET", "/v1/projects/"+id,
		"").Body).Get("calendar_url").Text, "http://dryslot.example")
	for _, sample := range []bool{true, false} {
		srv := httptest.NewServer(handler(h, web.Options{Store: h.Store, Clock: h.Projects.Now, Sample: sample}))
		h.URL = srv.URL
		for path, status := range map[string]int{"/v1/projects/" + id + "/mornings/tomorrow": http.StatusOK,
			"/v1/nowhere": http.StatusNotFound, "/healthz": http.StatusOK, calendar: http.StatusOK} {
			a := h.Must(t, status, "GET", path, "")
			if said := a.Header.Get("Dryslot-Weather"); (said == web.SampleWeather) != sample {
				t.Errorf("%s, sample %v: says %q", path, sample, said)
			}
			if path == calendar && strings.Contains(strings.ReplaceAll(a.Body, "\r\n ", ""),
				"not for real pours") != sample {
				t.Errorf("sample %v: %s", sample, a.Body)
			}
			if a.Header.Get("Dryslot-Clock") != "" {
				t.Errorf("%s: a clock that is not set is told", path)
			}
		}
		srv.Close()
	}
}

// A problem is told in the language that is asked for, with the rule as data
// beside it; English where no language is known.
func TestAProblemIsToldInTheLanguageAskedFor(t *testing.T) {
	h := newService(t)
	body := strings.Replace(webtest.Yard, `"name"`, `"waste_fraction":7,"name"`, 1)
	for _, c := range []struct{ accept, detail, rule string }{
		{"es-MX,es;q=0.9", "el proyecto no cumple una regla", "debe ser un número de 0 a 0.5"},
		{"en-US", "the project breaks a rule", "must be a number from 0 to 0.5"},
		{"tlh", "the project breaks a rule", "must be a number from 0 to 0.5"},
	} {
		a := h.Must(t, http.StatusUnprocessableEntity, "POST", "/v1/projects", body, "Accept-Language", c.accept)
		var got struct {
			Detail string
			Errors []struct {
				Field, Rule string
				Data        message.Message `json:"rule_data"`
			}
		}
		if err := json.Unmarshal([]byte(a.Body), &got); err != nil {
			t.Fatal(err)
		}
		if got.Detail != c.detail || len(got.Errors) != 1 || got.Errors[0].Rule != c.rule ||
			got.Errors[0].Field != "waste_fraction" {
			t.Fatalf("%s: %s", c.accept, a.Body)
		}
		if most, ok := got.Errors[0].Data.Figures.Number("max"); !ok || most != 0.5 ||
			got.Errors[0].Data.Code != fault.NumberRange {
			t.Errorf("%s: %s", c.accept, a.Body)
		}
		if !strings.Contains(strings.Join(a.Header.Values("Vary"), ","), "Accept-Language") {
			t.Errorf("%s: Vary is %q", c.accept, a.Header.Values("Vary"))
		}
	}
	away := h.Must(t, http.StatusNotFound, "GET", "/v1/nowhere", "", "Accept-Language", "es")
	if !strings.Contains(away.Body, `"detail":"no existe esa ruta"`) || !strings.Contains(away.Body,
		`"code":"no_route"`) {
		t.Error(away.Body)
	}
}
