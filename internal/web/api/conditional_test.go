package api

import (
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"dryslot/internal/pour"
	"dryslot/internal/web"
	"dryslot/internal/web/webtest"
)

func TestEveryRouteTellsItsMethods(t *testing.T) {
	if n := webtest.Methods(t, Routes(Services{}, barren{})); n < 20 {
		t.Errorf("only %d paths", n)
	}
}

// A read that the client has already is answered 304 without a body; an age
// alone changes no tag, what happened and another language do (RFC 9110, 13.1.2).
func TestReadsThatTheClientHas(t *testing.T) {
	h := newService(t)
	id := h.Create(t, h.Token, webtest.Yard)
	h.Refresh(t, id)
	base := "/v1/projects/" + id
	paths := []string{"/v1/projects", base, base + "/mornings", base + "/mornings/tomorrow",
		base + "/plan", base + "/plans", base + "/plans/1"}
	tagsOf := map[string]string{}
	for _, path := range paths {
		a := h.Must(t, http.StatusOK, "GET", path, "")
		tag := a.Header.Get("ETag")
		tagsOf[path] = tag
		for _, held := range []string{tag, `"other", ` + tag, "*", "W/" + strings.TrimPrefix(tag, "W/")} {
			for _, method := range []string{"GET", "HEAD"} {
				b := h.Must(t, http.StatusNotModified, method, path, "", "If-None-Match", held)
				if b.Body != "" || b.Header.Get("ETag") != tag || b.Header.Get("Cache-Control") == "" {
					t.Errorf("%s %s: %v %q", method, path, b.Header, b.Body)
				}
			}
		}
		h.Must(t, http.StatusOK, "GET", path, "", "If-None-Match", `"other"`)
	}
	for _, path := range paths {
		en := h.Must(t, http.StatusOK, "GET", path, "", "Accept-Language", "en")
		es := h.Must(t, http.StatusOK, "GET", path, "", "Accept-Language", "es")
		if (en.Body == es.Body) != (en.Header.Get("ETag") == es.Header.Get("ETag")) {
			t.Errorf("%s: tags %s and %s of two languages", path, en.Header.Get("ETag"), es.Header.Get("ETag"))
		}
	}
	h.Now = h.Now.Add(5 * time.Minute)
	for _, path := range paths {
		h.Must(t, http.StatusNotModified, "GET", path, "", "If-None-Match", tagsOf[path])
	}
	// What the log says of a pad is another answer, at the same revision.
	h.Must(t, http.StatusCreated, "POST", base+"/log", `{"kind":"placed","pad":"A1","at":"2025-07-27T09:10:00+02:00"}`)
	for _, path := range paths[:6] {
		h.Must(t, http.StatusOK, "GET", path, "", "If-None-Match", tagsOf[path])
	}
	h.Must(t, http.StatusNotModified, "GET", base+"/plans/1", "", "If-None-Match", tagsOf[base+"/plans/1"])
	h.Must(t, http.StatusOK, "PATCH", base, `{"name":"Court"}`, "If-Match", tagsOf[base])
	h.Must(t, http.StatusPreconditionFailed, "PATCH", base, `{"name":"Court"}`, "If-Match", tagsOf[base])
}

// A list's parts are found by following links (RFC 8288).
func TestListsLink(t *testing.T) {
	h := newService(t)
	for range 3 {
		h.Create(t, h.Token, webtest.Yard)
	}
	seen := map[string]bool{}
	for path := "/v1/projects?limit=1"; path != ""; {
		a := h.Must(t, http.StatusOK, "GET", path, "")
		doc := parse(t, a.Body)
		for _, p := range doc.Get("items").Array {
			seen[p.Get("id").Text] = true
		}
		link, last := a.Header.Get("Link"), doc.Get("next_cursor").Kind == pour.NullNode
		if (link == "") != last {
			t.Fatalf("link %q, last part %v", link, last)
		}
		path = strings.TrimSuffix(strings.TrimPrefix(link, "<"), `>; rel="next"`)
		if u, err := url.Parse(path); err != nil || path != "" && u.Query().Get("limit") != "1" {
			t.Fatalf("link %q", link)
		}
		if len(seen) > 3 {
			t.Fatal("it does not end")
		}
	}
	if len(seen) != 3 {
		t.Errorf("%d projects of 3", len(seen))
	}
}

// Answers with a secret are kept by nobody on the way.
func TestSecretsAreNotKept(t *testing.T) {
	h := newService(t)
	id := h.Create(t, h.Token, webtest.Yard)
	for _, a := range []webtest.Answer{
		h.Must(t, http.StatusCreated, "POST", "/v1/projects", webtest.Yard),
		h.Must(t, http.StatusOK, "GET", "/v1/projects", ""),
		h.Must(t, http.StatusOK, "GET", "/v1/projects/"+id, ""),
		h.Must(t, http.StatusOK, "PATCH", "/v1/projects/"+id, `{"name":"Court"}`, "If-Match", "*"),
		h.Must(t, http.StatusCreated, "POST", "/v1/projects/"+id+"/recipients",
			`{"kind":"webhook","address":"https://hooks.example.org/x"}`),
	} {
		holds := strings.Contains(a.Body, "secret") || strings.Contains(a.Body, "calendar.ics?key=")
		if !holds || a.Header.Get("Cache-Control") != "no-store" {
			t.Errorf("Cache-Control %q: %.200s", a.Header.Get("Cache-Control"), a.Body)
		}
	}
}

// Scripts of other origins may ask only where the operator said so.
func TestOtherOrigins(t *testing.T) {
	ask := func(method, path, origin string, origins ...string) http.Header {
		h := web.New(web.Options{Store: barren{}, Clock: time.Now, Origins: origins}, Routes(Services{}, barren{}))
		r := httptest.NewRequest(method, path, nil)
		r.Header.Set("Origin", origin)
		if method == http.MethodOptions {
			r.Header.Set("Access-Control-Request-Method", "PATCH")
			r.Header.Set("Access-Control-Request-Headers", "authorization,if-match")
		}
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		return w.Header()
	}
	const site, project = "https://site.example", "/v1/projects/00000000-0000-0000-0000-000000000000"
	for _, method := range []string{"GET", "OPTIONS"} {
		for _, c := range []struct {
			path, origin string
			origins      []string
			want         string
		}{
			{project, site, nil, ""},
			{project, site, []string{"https://other.example"}, ""},
			{project, site, []string{site}, site},
			{project, site, []string{"*"}, "*"},
			{project, site + ".evil.example", []string{site}, ""},
			{"/openapi.json", site, []string{site}, site},
			{"/sign-in", site, []string{"*"}, ""},
		} {
			got := ask(method, c.path, c.origin, c.origins...).Get("Access-Control-Allow-Origin")
			if got != c.want {
				t.Errorf("%s %s from %s with %v: %q, want %q", method, c.path, c.origin, c.origins, got, c.want)
			}
		}
	}
	pre := ask(http.MethodOptions, project, site, site)
	shown := ask("GET", project, site, site).Get("Access-Control-Expose-Headers")
	if !strings.Contains(pre.Get("Access-Control-Allow-Methods"), "PATCH") || !strings.Contains(shown, "ETag") ||
		!strings.Contains(pre.Get("Access-Control-Allow-Headers"), "If-Match") ||
		pre.Get("Access-Control-Allow-Credentials") != "" {
		t.Errorf("preflight: %v", pre)
	}
}
