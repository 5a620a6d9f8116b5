package pages

import (
	"archive/zip"
	"bytes"
	"encoding/csv"
	"encoding/json"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"dryslot/internal/pour"
	"dryslot/internal/web"
	"dryslot/internal/web/webtest"
)

// Everything that is kept comes in one archive, by a link that works once, also
// in a browser that is not signed in; then all of it is deleted, but only when the
// account's name was typed.
func TestAnAccountTakesItsDataAndGoes(t *testing.T) {
	h := newService(t)
	id := h.Create(t, webtest.FirstToken, webtest.Yard)
	h.Refresh(t, id)
	h.Must(t, http.StatusCreated, "POST", "/v1/projects/"+id+"/recipients",
		`{"kind":"webhook","address":"https://hooks.example.org/pour"}`)
	at := h.Now.Add(-2 * time.Hour).Format(time.RFC3339)
	h.Must(t, http.StatusCreated, "POST", "/v1/projects/"+id+"/log", `{"kind":"placed","pad":"A1","at":"`+at+
		`","bags":7}`)
	h.Must(t, http.StatusCreated, "POST", "/v1/projects/"+id+"/log", `{"kind":"note","at":"`+at+
		`","text":"=1+1, said the sheet"}`)
	taken := h.Must(t, http.StatusCreated, "POST", "/v1/projects/"+id+"/photos", string(taken(t)), "Content-Type",
		web.PhotoType)
	shown := h.Must(t, http.StatusOK, "GET", taken.Header.Get("Location"), "").Body
	v, stranger := newSite(t, h), newSite(t, h)
	v.signIn(webtest.FirstToken)
	stranger.base = v.base

	_, _, page := v.get("/account")
	if !strings.Contains(page, "Projects: 1. Log entries: 2. Photos: 1.") {
		t.Errorf("what is kept is not told: %.3000s", page)
	}
	name := regexp.MustCompile(`Type ([0-9a-f]{8}) to confirm`).FindStringSubmatch(page)
	_, _, page = v.post("/account", url.Values{"do": {"archive"}})
	link := regexp.MustCompile(`href="(/archive/[^"]+)"`).FindStringSubmatch(page)
	if name == nil || link == nil {
		t.Fatalf("no name or link: %.3000s", page)
	}
	// A program that looks at links uses none up.
	for range 2 {
		seen, err := http.Head(v.base + link[1])
		if err != nil {
			t.Fatal(err)
		}
		seen.Body.Close()
		if seen.StatusCode != http.StatusOK || seen.Header.Get("Content-Type") != "application/zip" {
			t.Errorf("HEAD: %d %v", seen.StatusCode, seen.Header)
		}
	}
	status, _, body := stranger.get(link[1])
	if status != http.StatusOK {
		t.Fatalf("the archive: %d", status)
	}
	files := unpack(t, body)
	var p pour.Project
	if err := json.Unmarshal(files["project-001/project.json"], &p); err != nil || p.Name != "Boules court kerb" ||
		len(p.Pads) != 3 {
		t.Errorf("the project is %+v, %v", p, err)
	}
	_, photo, _ := strings.Cut(taken.Header.Get("Location"), "/photos/")
	if kept := string(files["project-001/photos/"+photo+".jpg"]); kept != shown || kept == "" {
		t.Errorf("the photo is %.40q", kept)
	}
	rows, err := csv.NewReader(bytes.NewReader(files["project-001/log.csv"])).ReadAll()
	if err != nil || len(rows) != 3 || rows[1][2] != "placed" || rows[1][3] != "A1" || rows[1][4] != "7" ||
		rows[1][7] != "" {
		t.Errorf("the log is %v, %v", rows, err)
	}
	if !strings.Contains(string(files["project-001/log.csv"]), "\"'=1+1, said the sheet\"") {
		t.Errorf("a spreadsheet would take a note for a formula:\n%s", files["project-001/log.csv"])
	}
	for _, file := range []string{"log.json", "plan.json", "recipients.json", "alerts.json"} {
		if !json.Valid(files["project-001/"+file]) {
			t.Errorf("%s is %q", file, files["project-001/"+file])
		}
	}
	for file, b := range files {
		if bytes.Contains(b, []byte("whsec_")) {
			t.Errorf("%s holds a secret", file)
		}
	}
	if status, _, _ := stranger.get(link[1]); status == http.StatusOK {
		t.Error("the link works twice")
	}

	if status, _, page := v.post("/account", url.Values{"do": {"delete"},
		"confirm": {"everything"}}); status != http.StatusUnprocessableEntity ||
		!strings.Contains(page, "last eight characters") {
		t.Errorf("another word deletes: %d", status)
	}
	if _, at, _ := v.post("/account", url.Values{"do": {"delete"}, "confirm": {name[1]}}); at != "/sign-in" {
		t.Errorf("deleting leads to %s", at)
	}
	h.Must(t, http.StatusUnauthorized, "GET", "/v1/projects/"+id, "")
	if _, at, _ := v.get("/account"); at != "/sign-in" {
		t.Errorf("a browser is still signed in, at %s", at)
	}
}

// The API gives the same, and deletes by the account's id alone.
func TestAnAccountGoesByTheAPI(t *testing.T) {
	h := newService(t)
	h.Create(t, webtest.FirstToken, webtest.Yard)
	a := h.Must(t, http.StatusOK, "GET", "/v1/account/export", "")
	if a.Header.Get("Content-Type") != "application/zip" || a.Header.Get("Cache-Control") != "no-store" ||
		len(unpack(t, a.Body)) == 0 {
		t.Errorf("the archive has %v", a.Header)
	}
	id := parse(t, h.Must(t, http.StatusOK, "GET", "/v1/account", "").Body).Get("id").Text
	refused := h.Must(t, http.StatusUnprocessableEntity, "DELETE", "/v1/account", "")
	if parse(t, refused.Body).Get("errors").Array[0].Get("field").Text != "confirm" {
		t.Errorf("refused by %s", refused.Body)
	}
	h.Must(t, http.StatusNoContent, "DELETE", "/v1/account?confirm="+id, "")
	h.Must(t, http.StatusUnauthorized, "GET", "/v1/account", "")
}

func unpack(t *testing.T, archive string) map[string][]byte {
	t.Helper()
	r, err := zip.NewReader(strings.NewReader(archive), int64(len(archive)))
	if err != nil {
		t.Fatal(err)
	}
	out := map[string][]byte{}
	for _, f := range r.File {
		in, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		var b bytes.Buffer
		if _, err := b.ReadFrom(in); err != nil {
			t.Fatal(err)
		}
		out[f.Name] = b.Bytes()
	}
	return out
}
