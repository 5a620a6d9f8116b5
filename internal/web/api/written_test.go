package api

import (
	"net/http"
	"strings"
	"testing"
)

// What a client may write of a project it reads back under the same names, also where
// little is written: of form sets their cells, and of the site its shade and base.
func TestAProjectReadsBackAsItWasWritten(t *testing.T) {
	h := newService(t)
	a := h.Must(t, http.StatusCreated, "POST", "/v1/projects", `{
		"name":"Wood store base","latitude":52.5,"longitude":13.4,
		"site":{"subgrade":"gravel","wind_factor":0.4,"morning_shade_until":"09:00","afternoon_shade_from":"15:30",
		"base_covered":true},
		"form_sets":[{"name":"F1","count":2,"cells":3},{"name":"F2","count":1}],
		"pads":[{"name":"A1","length_m":1.2,"width_m":0.9,"thickness_m":0.075,"form_set":"F1"},
			{"name":"A2","length_m":1.2,"width_m":0.9,"thickness_m":0.075,"form_set":"F1",
			"after":[{"pad":"A1","until":"stripped"}]}]}`)
	mustFit(t, "project", a.Body)
	for _, want := range []string{`"afternoon_shade_from":"15:30"`, `"base_covered":true`, `"base_cover":"none"`,
		`"form_sets":[{"name":"F1","count":2,"cells":3},{"name":"F2","count":1,"cells":1}]`} {
		if !strings.Contains(a.Body, want) {
			t.Errorf("%s is not read back: %s", want, a.Body)
		}
	}
	path := a.Header.Get("Location")
	a = h.Must(t, http.StatusOK, "PATCH", path, `{"site":{"base_covered":false,"afternoon_shade_from":null}}`,
		"If-Match", "*")
	if !strings.Contains(a.Body, `"base_covered":false`) || !strings.Contains(a.Body, `"afternoon_shade_from":null`) ||
		!strings.Contains(a.Body, `"wind_factor":0.4`) {
		t.Errorf("changed: %s", a.Body)
	}
	bad := h.Must(t, http.StatusUnprocessableEntity, "PATCH", path,
		`{"site":{"afternoon_shade_from":"25:00","base_covered":"yes"},
		"form_sets":[{"name":"F1","count":2,"cells":0}]}`,
		"If-Match", "*")
	for _, field := range []string{"site.afternoon_shade_from", "site.base_covered", "form_sets[0].cells"} {
		if !strings.Contains(bad.Body, `"field":"`+field+`"`) {
			t.Errorf("%s is not named: %s", field, bad.Body)
		}
	}
}
