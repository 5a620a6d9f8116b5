package api

import (
	"encoding/json"
	"fmt"
	"net/http"
	"net/netip"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"dryslot/internal/alerts"
	"dryslot/internal/fault"
	"dryslot/internal/message"
	"dryslot/internal/notify/outward"
	"dryslot/internal/notify/webhook"
	"dryslot/internal/projects"
	"dryslot/internal/web"
	"dryslot/internal/web/webtest"
)

// limited starts a service in which an account may make some requests a minute.
// ahead moves the clock that they are counted by.
func limited(t *testing.T, most int) (h *webtest.Service, ahead func(time.Duration)) {
	t.Helper()
	var passed atomic.Int64
	begun := time.Date(2025, 7, 27, 18, 0, 0, 0, time.UTC)
	h = webtest.New(t, func(h *webtest.Service, o web.Options) http.Handler {
		o.RequestsAMinute = most
		o.Wall = func() time.Time { return begun.Add(time.Duration(passed.Load())) }
		return handler(h, o)
	})
	return h, func(d time.Duration) { passed.Add(int64(d)) }
}

func problemOf(t *testing.T, a webtest.Answer) web.Problem {
	t.Helper()
	var p web.Problem
	if err := json.Unmarshal([]byte(a.Body), &p); err != nil {
		t.Fatal(err)
	}
	return p
}

// An account that asks too often is told when to go on; no other has to wait,
// and an answer that is kept ready counts as any other.
func TestRequestsOfAnAccountAreLimited(t *testing.T) {
	h, ahead := limited(t, 6)
	id := h.Create(t, h.Token, webtest.Yard)
	h.Refresh(t, id)
	tomorrow := "/v1/projects/" + id + "/mornings/tomorrow"
	for left := 4; left >= 0; left-- {
		a := h.Must(t, http.StatusOK, "GET", tomorrow, "")
		if got := a.Header.Get("RateLimit"); got != fmt.Sprintf(`"account";r=%d;t=%d`, left, 60-10*left) {
			t.Errorf("with %d left: RateLimit %s", left, got)
		}
		if got := a.Header.Get("RateLimit-Policy"); got != `"account";q=6;w=60` {
			t.Errorf("RateLimit-Policy %s", got)
		}
	}
	for _, path := range []string{tomorrow, "/v1/projects"} {
		a := h.Must(t, http.StatusTooManyRequests, "GET", path, "")
		if p := problemOf(t, a); p.Data.Code != web.TooManyRequests || a.Header.Get("Retry-After") != "10" {
			t.Errorf("%s: Retry-After %q, %s", path, a.Header.Get("Retry-After"), a.Body)
		}
	}
	h.Must(t, http.StatusOK, "GET", "/v1/projects", "", "Authorization", "Bearer "+webtest.SecondToken)
	ahead(10 * time.Second)
	h.Must(t, http.StatusOK, "GET", tomorrow, "")
	h.Must(t, http.StatusTooManyRequests, "GET", tomorrow, "")
}

// An address that tries tokens is stopped before any more is looked up for it.
// Probes are always answered.
func TestRequestsOfAnAddressAreLimited(t *testing.T) {
	h, ahead := limited(t, 6)
	statuses := map[int]int{}
	for i := range 100 {
		bad := fmt.Sprintf("Bearer a-token-that-opens-nothing-whatsoever-%d", i)
		statuses[h.Send(t, "GET", "/v1/projects", "", "Authorization", bad).Status]++
	}
	// One of the 24 went to the description that answers are compared with.
	if statuses[http.StatusUnauthorized] != 23 || statuses[http.StatusTooManyRequests] != 77 {
		t.Errorf("answered %v", statuses)
	}
	a := h.Must(t, http.StatusTooManyRequests, "GET", "/v1/projects", "")
	if a.Header.Get("Retry-After") != "3" || a.Header.Get("RateLimit-Policy") != `"address";q=24;w=60` {
		t.Errorf("Retry-After %q, policy %s", a.Header.Get("Retry-After"), a.Header.Get("RateLimit-Policy"))
	}
	for range 30 {
		h.Must(t, http.StatusOK, "GET", "/healthz", "")
	}
	ahead(3 * time.Second)
	h.Must(t, http.StatusOK, "GET", "/v1/projects", "")
}

// refusedBy checks that a request is refused for one field by a rule with a
// bound.
func refusedBy(t *testing.T, a webtest.Answer, field, value string, rule message.Code, most int) {
	t.Helper()
	p := problemOf(t, a)
	if a.Status != http.StatusUnprocessableEntity || len(p.Errors) != 1 {
		t.Fatalf("%d: %s", a.Status, a.Body)
	}
	e := p.Errors[0]
	if e.Field != field || e.Value != value || e.Data.Code != rule || e.Data.Figures[0] != message.Count("max", most) {
		t.Errorf("refused as %+v, want %s = %s by %s", e, field, value, rule)
	}
}

func TestQuotas(t *testing.T) {
	h := newService(t)
	h.Projects.MostProjects, h.Projects.MostPads, h.Alerts.MostRecipients = 3, 3, 2

	// Those who ask at once share what is left.
	id := h.Create(t, h.Token, webtest.Yard)
	var asking sync.WaitGroup
	var made, refused atomic.Int32
	for range 6 {
		asking.Go(func() {
			switch h.Send(t, "POST", "/v1/projects", webtest.Yard).Status {
			case http.StatusCreated:
				made.Add(1)
			case http.StatusUnprocessableEntity:
				refused.Add(1)
			}
		})
	}
	asking.Wait()
	if made.Load() != 2 || refused.Load() != 4 {
		t.Errorf("%d were made and %d refused", made.Load(), refused.Load())
	}
	refusedBy(t, h.Send(t, "POST", "/v1/projects", webtest.Yard), "name", "Boules court kerb", projects.ProjectsFull, 3)
	h.Create(t, webtest.SecondToken, webtest.Yard)

	pads := func(n int) string {
		var list []string
		for i := range n {
			list = append(list, fmt.Sprintf(`{"name":"A%d","length_m":1,"width_m":1,"thickness_m":0.1}`, i+1))
		}
		return `{"pads":[` + strings.Join(list, ",") + `]}`
	}
	change := func(body string) webtest.Answer {
		return h.Send(t, "PATCH", "/v1/projects/"+id, body, "If-Match", "*", "Content-Type",
			"application/merge-patch+json")
	}
	refusedBy(t, change(pads(4)), "pads", "4", fault.MostItems, 3)
	h.Projects.MostPads = 2 // as an operator may set it later
	if a := change(pads(3)); a.Status != http.StatusOK {
		t.Errorf("as many pads as before: %d %s", a.Status, a.Body)
	}
	refusedBy(t, h.Send(t, "POST", "/v1/projects", strings.Replace(webtest.Yard, "kerb", "path", 1),
		"Authorization", "Bearer "+webtest.SecondToken), "pads", "3", fault.MostItems, 2)

	to := "/v1/projects/" + id + "/recipients"
	for i := range 2 {
		h.Must(t, http.StatusCreated, "POST", to,
			fmt.Sprintf(`{"kind":"webhook","address":"https://hooks.example.org/%d"}`, i))
	}
	refusedBy(t, h.Send(t, "POST", to, `{"kind":"webhook","address":"https://hooks.example.org/3"}`),
		"address", "https://hooks.example.org/3", alerts.RecipientsFull, 2)
}

// Where nothing can ever be delivered is told when the address is entered.
func TestAddressesWhereNothingArrivesAreRefused(t *testing.T) {
	h := newService(t)
	inner := []netip.Prefix{netip.MustParsePrefix("127.0.0.0/8")}
	h.Alerts.Channels = map[string]alerts.Channel{"webhook": webhook.New(webhook.Options{Private: inner})}
	to := "/v1/projects/" + h.Create(t, h.Token, webtest.Yard) + "/recipients"
	for address, want := range map[string]int{"https://hooks.example.org/1": 201, "http://127.0.0.1:9/": 201,
		"http://10.0.0.7/": 422, "http://[::ffff:10.0.0.7]/": 422, "http://169.254.169.254/latest": 422} {
		a := h.Must(t, want, "POST", to, `{"kind":"webhook","address":"`+address+`"}`)
		if want != http.StatusUnprocessableEntity {
			continue
		}
		e := problemOf(t, a).Errors
		if len(e) != 1 || e[0].Field != "address" || e[0].Value != address || e[0].Data.Code != outward.PublicWanted {
			t.Errorf("%s: %s", address, a.Body)
		}
	}
}
