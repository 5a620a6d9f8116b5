package pages

import (
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"dryslot/internal/projects"
	"dryslot/internal/web/webtest"
)

// An entry from which no plan could be made is kept, and the page does not
// pass the plan of before off as what follows from it.
func TestAnEntryWithoutAPlanSaysSoByFormAndByAPI(t *testing.T) {
	h := newService(t)
	id := h.Create(t, webtest.FirstToken, webtest.Yard)
	h.Refresh(t, id)
	v := newSite(t, h)
	v.signIn(webtest.FirstToken)
	h.Now = h.Now.Add(time.Minute)
	h.Projects.Wall = func() time.Time { panic("a flaw in the planner, whose time is taken") }
	told := h.Must(t, http.StatusCreated, "POST", "/v1/projects/"+id+"/log",
		`{"kind":"placed","pad":"A1","at":"2025-07-27T07:40:00+02:00"}`)
	if !strings.Contains(told.Body, string(projects.PlanFollows)) || !strings.Contains(told.Body, `"version":1`) {
		t.Errorf("answered %s", told.Body)
	}
	status, _, body := v.post("/p/"+id+"/log", url.Values{"pad": {"A3"}, "at": {"2025-07-27T07:45"},
		"kind": {"placed"}})
	if status != http.StatusOK || !strings.Contains(body, "A3") ||
		!strings.Contains(body, "The plan could not be made again just now.") {
		t.Errorf("%d: %s", status, body)
	}
}
