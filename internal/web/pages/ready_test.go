package pages

import (
	"net/http"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"dryslot/internal/web/webtest"
)

// Whatever happens to a project, and however the clock goes on, a page that was
// kept is the one that would be made anew at the minute when it was, in each
// language; a browser that is not signed in gets none.
func TestAReadyPageIsTheOneThatWouldBeMade(t *testing.T) {
	h := newService(t)
	id := h.Create(t, webtest.FirstToken, webtest.Yard)
	v := newSite(t, h)
	v.signIn(webtest.FirstToken)
	db, err := pgx.Connect(t.Context(), h.Database.AdminURL)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close(t.Context())
	kept := func() (n int) {
		if err := db.QueryRow(t.Context(), "select count(*) from ready_answers").Scan(&n); err != nil {
			t.Fatal(err)
		}
		return n
	}
	base, most := "/p/"+id, 0
	get := func(path, language string) string {
		req, err := http.NewRequest("GET", v.base+path, nil)
		if err != nil {
			t.Fatal(err)
		}
		req.Header.Set("Accept-Language", language)
		status, _, page := v.do(req)
		if status != http.StatusOK {
			t.Fatalf("%s: %d %.300s", path, status, page)
		}
		return page
	}
	check := func(what string) {
		t.Helper()
		for _, path := range []string{base, base + "/pads"} {
			for _, language := range []string{"", "es"} {
				first := get(path, language)
				most = max(most, kept())
				second := get(path, language)
				if _, err := db.Exec(t.Context(), "delete from ready_answers"); err != nil {
					t.Fatal(err)
				}
				if anew := get(path, language); first != anew || second != anew {
					t.Fatalf("%s: %s in %q differs from what is made anew", what, path, language)
				}
			}
		}
	}
	check("before the first forecast")
	h.Refresh(t, id)
	check("a plan")
	for _, later := range []time.Duration{time.Minute, 59 * time.Second, time.Second, 14 * time.Hour} {
		h.Now = h.Now.Add(later)
		check("after " + later.String())
	}
	at := h.Now.Add(-20 * time.Minute).Format(time.RFC3339)
	h.Must(t, http.StatusCreated, "POST", "/v1/projects/"+id+"/log", `{"kind":"placed","pad":"A1","at":"`+at+`"}`)
	check("a pad placed")
	project := h.Must(t, http.StatusOK, "GET", "/v1/projects/"+id, "")
	h.Must(t, http.StatusOK, "PATCH", "/v1/projects/"+id, `{"units":"us","name":"Court"}`, "If-Match",
		project.Header.Get("ETag"))
	check("other units and another name")
	if most == 0 {
		t.Error("no page was kept")
	}
	stranger := newSite(t, h)
	if _, at, _ := stranger.get(base); at != "/sign-in" {
		t.Errorf("without a session it leads to %s", at)
	}
	stranger.signIn(webtest.SecondToken)
	if status, _, _ := stranger.get(base); status != http.StatusNotFound {
		t.Errorf("another account's page: %d", status)
	}
}
