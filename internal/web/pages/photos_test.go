package pages

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"image"
	"image/jpeg"
	"mime/multipart"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"dryslot/internal/accounts"
	"dryslot/internal/photo"
	"dryslot/internal/web/webtest"
)

// taken is a picture with the place in its EXIF.
func taken(t *testing.T) []byte {
	t.Helper()
	var plain bytes.Buffer
	if err := jpeg.Encode(&plain, image.NewGray(image.Rect(0, 0, 40, 30)), nil); err != nil {
		t.Fatal(err)
	}
	segment := []byte("Exif\x00\x00MM\x00*\x00\x00\x00\x08\x00\x00GPS 45 31 12 N")
	out := append([]byte{0xff, 0xd8, 0xff, 0xe1}, binary.BigEndian.AppendUint16(nil, uint16(len(segment)+2))...)
	return append(append(out, segment...), plain.Bytes()[2:]...)
}

// upload sends files as the form of the diary does.
func (v *visitor) upload(path, pad, note string, files ...[]byte) (status int, body string) {
	v.t.Helper()
	var b bytes.Buffer
	w := multipart.NewWriter(&b)
	for name, value := range map[string]string{"pad": pad, "text": note} {
		if err := w.WriteField(name, value); err != nil {
			v.t.Fatal(err)
		}
	}
	for i, f := range files {
		part, err := w.CreateFormFile("photos", fmt.Sprintf("IMG_%d.jpg", i))
		if err != nil {
			v.t.Fatal(err)
		}
		if _, err := part.Write(f); err != nil {
			v.t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		v.t.Fatal(err)
	}
	req, err := http.NewRequest("POST", v.base+path, &b)
	if err != nil {
		v.t.Fatal(err)
	}
	req.Header.Set("Content-Type", w.FormDataContentType())
	status, _, body = v.do(req)
	return status, body
}

var pictures = regexp.MustCompile(`<img src="([^"]+)" alt="([^"]+)" width="40" height="30"`)

// Photos are shown in the diary without the place that they were taken at. A crew
// adds them, a viewer sees them, and another account neither.
func TestPhotosOfTheDiary(t *testing.T) {
	h := newService(t)
	id := h.Create(t, webtest.FirstToken, rowOfPads(2))
	page, log := "/p/"+id+"/photos", "/p/"+id+"/log"
	owner, err := h.Store.AccountByToken(t.Context(), webtest.FirstToken)
	if err != nil {
		t.Fatal(err)
	}
	as := func(token string) *visitor {
		v := newSite(t, h)
		v.signIn(token)
		return v
	}
	member := func(role accounts.Role) *visitor {
		token := "a " + string(role) + ", with a token of 32 characters or more"
		account, err := h.Store.EnsureToken(t.Context(), token)
		if err != nil {
			t.Fatal(err)
		}
		key, _, err := h.People.Invite(t.Context(), owner, id, role)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := h.People.Join(t.Context(), key, account, string(role)); err != nil {
			t.Fatal(err)
		}
		return as(token)
	}
	mine, crew, viewer, other := as(webtest.FirstToken), member(accounts.RoleCrew), member(accounts.RoleViewer),
		as(webtest.SecondToken)
	if status, body := crew.upload(page, "A1", "edge crumbled", taken(t), taken(t)); status != http.StatusOK {
		t.Fatalf("a crew adds two: %d %.600s", status, body)
	}
	_, _, body := viewer.get(log)
	found := pictures.FindAllStringSubmatch(body, -1)
	if len(found) != 2 || !strings.Contains(found[0][2], "edge crumbled") || !strings.Contains(found[0][2], "A1") {
		t.Fatalf("the diary shows %v", found)
	}
	if strings.Contains(body, `type="file"`) {
		t.Error("a viewer is asked for photos")
	}
	for who, c := range map[*visitor]int{mine: 200, crew: 200, viewer: 200, other: 404} {
		status, _, kept := who.get(found[0][1])
		if status != c || c == 200 && (!strings.HasPrefix(kept, "\xff\xd8") || strings.Contains(kept, "GPS")) {
			t.Errorf("%d, want %d: %.40q", status, c, kept)
		}
	}
	if status, _ := viewer.upload(page, "", "", taken(t)); status != http.StatusForbidden {
		t.Errorf("a viewer adds one: %d", status)
	}
	if status, _ := other.upload(page, "", "", taken(t)); status != http.StatusNotFound {
		t.Errorf("another account adds one: %d", status)
	}
	for name, c := range map[string]struct {
		files [][]byte
		says  string
	}{
		"no picture": {[][]byte{taken(t), []byte("%PDF-1.7")}, "Photos"}, "none": {nil, "JPEG or PNG"},
		"five": {[][]byte{taken(t), taken(t), taken(t), taken(t), taken(t)}, "4"},
		"long": {[][]byte{make([]byte, photo.MaxBytes+1)}, "12"},
	} {
		if status, body := mine.upload(page, "A2", "kept text", c.files...); status != http.StatusUnprocessableEntity ||
			!strings.Contains(body, `role="alert"`) || !strings.Contains(body, c.says) || c.files != nil &&
			!strings.Contains(body, `value="kept text"`) {
			t.Errorf("%s: %d %.200s", name, status, body[max(0, strings.Index(body, `role="alert"`)):])
		}
	}
	if status, _, _ := mine.post(page, url.Values{"text": {"no file"}}); status != http.StatusUnsupportedMediaType {
		t.Errorf("a form without files: %d", status)
	}
	h.Projects.MostPhotos = 3
	if status, body := mine.upload(page, "", "", taken(t), taken(t)); status != http.StatusUnprocessableEntity ||
		!strings.Contains(body, "3 photos") {
		t.Errorf("over the quota: %d", status)
	}
	if _, _, body = mine.get(log); len(pictures.FindAllString(body, -1)) != 2 {
		t.Error("a refused photo is shown")
	}
	h.Must(t, http.StatusNoContent, "DELETE", "/v1/projects/"+id, "")
	if status, _, _ := mine.get(found[0][1]); status != http.StatusNotFound {
		t.Errorf("of a deleted project: %d", status)
	}
}
