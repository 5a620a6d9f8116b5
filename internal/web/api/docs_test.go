package api

import (
	"net/http"
	"regexp"
	"strings"
	"testing"
)

// The page says all that the description says, leads nowhere that is not on it,
// and loads nothing.
func TestThePageOfTheDescription(t *testing.T) {
	h := newService(t)
	a := h.Must(t, http.StatusOK, "GET", "/docs", "", "Authorization", "")
	if !strings.HasPrefix(a.Header.Get("Content-Type"), "text/html") ||
		!strings.HasPrefix(a.Header.Get("Content-Security-Policy"), "default-src 'none'") {
		t.Errorf("headers %v", a.Header)
	}
	for _, loads := range []string{"<script", "<link", "<img", "src=", "@import", "url("} {
		if strings.Contains(a.Body, loads) {
			t.Errorf("it has %s", loads)
		}
	}
	for _, target := range regexp.MustCompile(`href="([^"]*)"`).FindAllStringSubmatch(a.Body, -1) {
		id, here := strings.CutPrefix(target[1], "#")
		if here && !strings.Contains(a.Body, `id="`+id+`"`) || !here && target[1] != "/openapi.json" {
			t.Errorf("it leads to %s", target[1])
		}
	}
	doc := description(t)
	for path, item := range doc["paths"].(map[string]any) {
		for method := range item.(map[string]any) {
			if !strings.Contains(a.Body, "<code>"+strings.ToUpper(method)+" "+path+"</code>") {
				t.Errorf("%s %s is not on it", method, path)
			}
		}
	}
	for name, schema := range doc["components"].(map[string]any)["schemas"].(map[string]any) {
		if !strings.Contains(a.Body, `id="form-`+name+`"`) {
			t.Errorf("%s is not on it", name)
		}
		properties, _ := schema.(map[string]any)["properties"].(map[string]any)
		for p := range properties {
			if !strings.Contains(a.Body, "<code>"+p+"</code>") {
				t.Errorf("%s.%s is not on it", name, p)
			}
		}
	}
}
