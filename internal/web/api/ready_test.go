package api

import (
	"compress/gzip"
	"context"
	"io"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"dryslot/internal/web"
	"dryslot/internal/web/webtest"
)

// Whatever happens to a project, and however the clock goes on, an answer that
// was kept is the one that would be made anew, in each language and compressed
// or not.
func TestAReadyAnswerIsTheOneThatWouldBeMade(t *testing.T) {
	h := newService(t)
	id := h.Create(t, h.Token, webtest.Yard)
	base := "/v1/projects/" + id
	paths := []string{base + "/mornings/tomorrow", base + "/mornings/2025-07-29", base + "/mornings/today",
		base + "/mornings", base + "/plan"}
	kept := 0
	check := func(what string) {
		t.Helper()
		for _, path := range paths {
			for _, language := range []string{"", "es", "fr"} {
				first := h.Send(t, "GET", path, "", "Accept-Language", language)
				rows := count(t, h, "select count(*) from ready_answers")
				kept = max(kept, rows)
				second := h.Send(t, "GET", path, "", "Accept-Language", language)
				alter(t, h, "delete from ready_answers")
				anew := h.Send(t, "GET", path, "", "Accept-Language", language)
				for _, a := range []webtest.Answer{first, second} {
					if a.Status != anew.Status || a.Body != anew.Body ||
						a.Header.Get("ETag") != anew.Header.Get("ETag") {
						t.Fatalf("%s: %s in %q: %d %s\n%s\nanew %d %s\n%s", what, path, language,
							a.Status, a.Header.Get("ETag"), a.Body, anew.Status, anew.Header.Get("ETag"), anew.Body)
					}
				}
				for _, name := range []string{"Cache-Control", "Content-Type", "Vary", "Dryslot-Clock"} {
					if a, b := strings.Join(second.Header.Values(name), ","), strings.Join(anew.Header.Values(name),
						","); a != b {
						t.Errorf("%s: %s: %s is %q, anew %q", what, path, name, a, b)
					}
				}
			}
		}
	}
	check("before the first forecast")
	h.Refresh(t, id)
	check("a plan")
	for _, later := range []time.Duration{5 * time.Minute, 61 * time.Second, 2 * time.Hour, 4 * time.Hour,
		3 * time.Minute, 7 * time.Minute, 20 * time.Hour} {
		h.Now = h.Now.Add(later)
		check("after " + later.String())
	}
	h.Now = h.Now.Add(-22 * time.Hour)
	check("the clock set back")
	h.Must(t, http.StatusCreated, "POST", base+"/log", `{"kind":"skipped","at":"2025-07-27T20:30:00+02:00"}`)
	check("a pour called off")
	project := h.Must(t, http.StatusOK, "GET", base, "")
	h.Must(t, http.StatusOK, "PATCH", base, `{"units":"us","language":"es-419"}`, "If-Match",
		project.Header.Get("ETag"))
	check("another language and other units")
	h.Must(t, http.StatusCreated, "POST", base+"/plan", "")
	check("a plan asked for")
	h.Refresh(t, id)
	check("another forecast")
	if kept == 0 {
		t.Error("no answer was kept")
	}
	other := h.Send(t, "GET", paths[0], "", "Authorization", "Bearer "+webtest.SecondToken)
	if other.Status != http.StatusNotFound {
		t.Errorf("another account's token: %d", other.Status)
	}
	h.Must(t, http.StatusUnauthorized, "GET", paths[0], "", "Authorization",
		"Bearer a token of nobody, which is long enough")
	h.Must(t, http.StatusNoContent, "DELETE", base, "")
	h.Must(t, http.StatusNotFound, "GET", paths[0], "")
	if n := count(t, h, "select count(*) from ready_answers"); n != 0 {
		t.Errorf("%d answers of a deleted project", n)
	}
}

// What is compressed is the same answer, kept or not.
func TestAReadyAnswerIsCompressed(t *testing.T) {
	h := newService(t)
	id := h.Create(t, h.Token, webtest.Yard)
	h.Refresh(t, id)
	path := "/v1/projects/" + id + "/mornings"
	plain := h.Must(t, http.StatusOK, "GET", path, "", "Accept-Encoding", "identity")
	for _, step := range []string{"kept", "made"} {
		if step == "made" {
			alter(t, h, "delete from ready_answers")
		}
		resp := compressed(t, h, path)
		if resp.Header.Get("Content-Encoding") != "gzip" || !strings.Contains(strings.Join(resp.Header.Values("Vary"),
			","), "Accept-Encoding") {
			t.Fatalf("%s: %v", step, resp.Header)
		}
		z, err := gzip.NewReader(resp.Body)
		if err != nil {
			t.Fatal(err)
		}
		body, err := io.ReadAll(z)
		if err != nil || string(body) != plain.Body {
			t.Errorf("%s: %d bytes, want %d (%v)", step, len(body), len(plain.Body), err)
		}
	}
	for given, want := range map[string]bool{"": false, "gzip": true, "br, gzip;q=0.5": true, "gzip;q=0": false,
		"*": true, "*;q=0, gzip": true, "*, gzip;q=0.0": false, "br": false} {
		r := &http.Request{Header: http.Header{"Accept-Encoding": {given}}}
		if got := web.TakesGzip(r); got != want {
			t.Errorf("Accept-Encoding %q: %t", given, got)
		}
	}
}

// admin runs fn beside row-level security.
func admin(t *testing.T, h *webtest.Service, fn func(context.Context, *pgx.Conn) error) {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), h.Database.AdminURL)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(context.Background())
	if err := fn(t.Context(), conn); err != nil {
		t.Fatal(err)
	}
}

func count(t *testing.T, h *webtest.Service, sql string) (n int) {
	t.Helper()
	admin(t, h, func(ctx context.Context, c *pgx.Conn) error { return c.QueryRow(ctx, sql).Scan(&n) })
	return n
}

func alter(t *testing.T, h *webtest.Service, sql string) {
	t.Helper()
	admin(t, h, func(ctx context.Context, c *pgx.Conn) error {
		_, err := c.Exec(ctx, sql)
		return err
	})
}

func compressed(t *testing.T, h *webtest.Service, path string) *http.Response {
	t.Helper()
	req, err := http.NewRequest(http.MethodGet, h.URL+path, nil)
	if err != nil {
		t.Fatal(err)
	}
	req.Header.Set("Authorization", "Bearer "+h.Token)
	req.Header.Set("Accept-Encoding", "gzip")
	resp, err := http.DefaultClient.Do(req)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { resp.Body.Close() })
	return resp
}
