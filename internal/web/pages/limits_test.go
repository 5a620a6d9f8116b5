package pages

import (
	"io"
	"net/http"
	"net/url"
	"strings"
	"testing"
)

func TestARedirectStaysOnThisSite(t *testing.T) {
	for next, want := range map[string]string{
		"/p/x": "/p/x", "/p/x?entry=1": "/p/x?entry=1", "": "/", "p": "/", "//elsewhere.example": "/",
		"/\\elsewhere.example": "/", "/\t/elsewhere.example": "/", "/\n/elsewhere.example": "/",
		"/\x00/elsewhere.example": "/", "https://elsewhere.example/": "/",
	} {
		if got := local(next); got != want {
			t.Errorf("%q leads to %q, not to %q", next, got, want)
		}
	}
}

func TestFormsAreRefusedThatNoBrowserOfOursSends(t *testing.T) {
	h := newService(t)
	v := newSite(t, h)
	post := func(kind string, body io.Reader) int {
		resp, err := http.Post(v.base+"/sign-in", kind, body)
		if err != nil {
			t.Fatal(err)
		}
		defer resp.Body.Close()
		return resp.StatusCode
	}
	const form = "application/x-www-form-urlencoded"
	// A file would go to the disk, whoever sends it.
	file := "--b\r\nContent-Disposition: form-data; name=\"token\"; filename=\"f\"\r\n\r\n" + strings.Repeat("x",
		1<<20) + "\r\n--b--\r\n"
	for name, c := range map[string]struct {
		kind, body string
		want       int
	}{
		"a file":            {"multipart/form-data; boundary=b", file, http.StatusUnsupportedMediaType},
		"no type":           {"", "token=x", http.StatusUnsupportedMediaType},
		"too long":          {form, "token=" + strings.Repeat("x", maxForm), http.StatusRequestEntityTooLarge},
		"badly escaped":     {form, "token=%zz", http.StatusBadRequest},
		"a token, but none": {form, url.Values{"token": {strings.Repeat("x", 40)}}.Encode(), http.StatusForbidden},
	} {
		if got := post(c.kind, strings.NewReader(c.body)); got != c.want {
			t.Errorf("%s: %d, want %d", name, got, c.want)
		}
	}
}
