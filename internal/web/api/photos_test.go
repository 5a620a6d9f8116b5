package api

import (
	"bytes"
	"image"
	"image/jpeg"
	"image/png"
	"net/http"
	"strings"
	"testing"

	"dryslot/internal/web"
	"dryslot/internal/web/webtest"
)

// photos keeps a photo, shows it in an entry, and gives it out again.
func (w *contractTest) photos(t *testing.T) {
	var jpg, pic bytes.Buffer
	if err := jpeg.Encode(&jpg, image.NewGray(image.Rect(0, 0, 40, 30)), nil); err != nil {
		t.Fatal(err)
	}
	if err := png.Encode(&pic, image.NewGray(image.Rect(0, 0, 20, 10))); err != nil {
		t.Fatal(err)
	}
	path := w.base + "/photos"
	made, a := w.send(t, http.StatusCreated, "photo", "POST", path, jpg.String(), "Content-Type", web.PhotoType,
		"Idempotency-Key", "photo")
	id := made.Get("id").Text
	if a.Header.Get("Location") != path+"/"+id || made.Get("width").Text != "40" || made.Get("height").Text != "30" {
		t.Errorf("%s at %q", text(made), a.Header.Get("Location"))
	}
	again, _ := w.send(t, http.StatusCreated, "photo", "POST", path, jpg.String(), "Content-Type", web.PhotoType,
		"Idempotency-Key", "photo")
	if again.Get("id").Text != id {
		t.Error("the same key and picture were kept twice")
	}
	w.send(t, http.StatusCreated, "photo", "POST", path, pic.String(), "Content-Type", "image/png")
	if list := w.get(t, "photos", path).Get("items").Array; len(list) != 2 {
		t.Errorf("%d photos", len(list))
	}
	kept := w.h.Must(t, http.StatusOK, "GET", path+"/"+id, "")
	if size, err := jpeg.DecodeConfig(strings.NewReader(kept.Body)); err != nil || size.Width != 40 ||
		kept.Header.Get("Content-Type") != web.PhotoType {
		t.Errorf("%+v, %v, %s", size, err, kept.Header.Get("Content-Type"))
	}
	told, _ := w.send(t, http.StatusCreated, "log answer", "POST", w.base+"/log",
		`{"kind":"note","pad":"A1","at":"2024-05-01T12:00:00+02:00","photos":["`+id+`"]}`)
	if shown := told.Get("entry").Get("photos").Array; len(shown) != 1 || shown[0].Text != id {
		t.Errorf("the entry shows %s", text(told.Get("entry")))
	}
	for _, x := range w.get(t, "photos", path).Get("items").Array {
		want := http.StatusNoContent // no entry shows it
		if x.Get("id").Text == id {
			want = http.StatusConflict
		}
		w.h.Must(t, want, "DELETE", path+"/"+x.Get("id").Text, "")
		if want == http.StatusNoContent {
			w.h.Must(t, http.StatusNotFound, "DELETE", path+"/"+x.Get("id").Text, "")
		}
	}
	if list := w.get(t, "photos", path).Get("items").Array; len(list) != 1 || list[0].Get("id").Text != id {
		t.Errorf("kept: %s", text(w.get(t, "photos", path)))
	}
}

// A photo that is none, of another type or too long, and an entry that shows what is
// no photo of its project, are refused with the field named, and nothing is kept.
func TestPhotosThatAreRefused(t *testing.T) {
	h := newService(t)
	mine := "/v1/projects/" + h.Create(t, webtest.FirstToken, webtest.Yard)
	other := "/v1/projects/" + h.Create(t, webtest.FirstToken, webtest.Yard)
	var jpg bytes.Buffer
	if err := jpeg.Encode(&jpg, image.NewGray(image.Rect(0, 0, 40, 30)), nil); err != nil {
		t.Fatal(err)
	}
	a := h.Must(t, http.StatusCreated, "POST", other+"/photos", jpg.String(), "Content-Type", web.PhotoType)
	elsewhere := parse(t, a.Body).Get("id").Text
	for _, c := range []struct {
		name, path, kind, body, field string
		status                        int
	}{
		{"no picture", mine + "/photos", web.PhotoType, "a poem", "body", http.StatusUnprocessableEntity},
		{"nothing", mine + "/photos", web.PhotoType, "", "body", http.StatusUnprocessableEntity},
		{"JSON", mine + "/photos", "application/json", "{}", "Content-Type", http.StatusUnsupportedMediaType},
		{"no type", mine + "/photos", "", jpg.String(), "Content-Type", http.StatusUnsupportedMediaType},
		{"too long", mine + "/photos", web.PhotoType, strings.Repeat("x", maxBody+1), "body",
			http.StatusRequestEntityTooLarge},
		{"another project's", mine + "/log", "application/json",
			`{"kind":"note","at":"2024-05-01T12:00:00+02:00","photos":["` + elsewhere + `"]}`, "photos[0]",
			http.StatusUnprocessableEntity},
	} {
		a := h.Send(t, "POST", c.path, c.body, "Content-Type", c.kind)
		if a.Status != c.status || !strings.Contains(a.Body, `"field":"`+c.field+`"`) {
			t.Errorf("%s: %d %s", c.name, a.Status, a.Body)
		}
	}
	for _, path := range []string{mine + "/photos/" + elsewhere, mine + "/photos/none"} {
		h.Must(t, http.StatusNotFound, "GET", path, "")
	}
	if a := h.Must(t, http.StatusOK, "GET", mine+"/photos", ""); len(parse(t, a.Body).Get("items").Array) != 0 {
		t.Errorf("something was kept: %s", a.Body)
	}
	if a := h.Must(t, http.StatusOK, "GET", mine+"/log", ""); len(parse(t, a.Body).Get("items").Array) != 0 {
		t.Errorf("an entry was kept: %s", a.Body)
	}
}
