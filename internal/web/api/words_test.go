package api

import (
	"net/http"
	"strings"
	"testing"

	"dryslot/internal/history"
	"dryslot/internal/web/webtest"
)

// What rain did and what is asked stand in the answer in the language that is
// asked for, and as codes beside it; the log gives the same entry in another.
func TestALogEntryIsWordedForWhoAsks(t *testing.T) {
	h := newService(t)
	id := h.Create(t, webtest.FirstToken, webtest.Yard)
	h.Refresh(t, id)
	path := "/v1/projects/" + id + "/log"
	h.Must(t, http.StatusCreated, "POST", path, `{"kind":"placed","pad":"A1","at":"2025-07-27T19:00:00+02:00"}`)
	rain := `{"kind":"rained_on","pad":"A1","at":"2025-07-27T19:30:00+02:00","rain_mm":6,"minutes":20,"covered":false}`
	told := parse(t, h.Must(t, http.StatusCreated, "POST", path, rain, "Accept-Language", "es").Body)
	effect := told.Get("entry").Get("effects").Array[0]
	if !strings.HasPrefix(effect.Get("why").Text, "A1 se perdió: demasiada lluvia") ||
		effect.Get("why_data").Array[0].Get("code").Text != string(history.RainLost) {
		t.Errorf("effect %s", text(effect))
	}
	if told.Get("changes").Array[0].Text != "A1 se perdió: demasiada lluvia sobre concreto fresco. "+
		"Rómpala y cuélela otra vez." || told.Get("changes_data").Array[0].Get("figures").Get("pad").Text != "A1" {
		t.Errorf("changes %s, %s", text(told.Get("changes")), text(told.Get("changes_data")))
	}
	asked := parse(t, h.Must(t, http.StatusCreated, "POST", path,
		`{"kind":"finished","pad":"A3","at":"2025-07-27T19:40:00+02:00"}`, "Accept-Language",
		"es-MX").Body).Get("questions").Array
	if len(asked) == 0 || asked[0].Get("text").Text != "¿Coló A3 más o menos el dom 7:40\u00a0p.\u00a0m.?" ||
		asked[0].Get("text_data").Get("code").Text != asked[0].Get("ask").Text {
		t.Errorf("asked %v", asked)
	}
	again := h.Must(t, http.StatusOK, "GET", path, "")
	if !strings.Contains(again.Body, "A1 is lost: too much rain on soft concrete.") {
		t.Errorf("the log: %s", again.Body)
	}
}

// A problem about a project is in the project's language where the request asks
// for none that there is.
func TestAProblemFallsBackToTheProjectsLanguage(t *testing.T) {
	h := newService(t)
	id := h.Create(t, webtest.FirstToken, strings.Replace(webtest.Yard, `"name"`, `"language":"es-419","name"`, 1))
	bad := `{"kind":"placed","pad":"A1","at":"2025-07-27T19:00:00+02:00","bags":-3}`
	for accept, want := range map[string]string{"": "la anotación", "fr": "la anotación",
		"en": "the log entry breaks a rule"} {
		a := h.Must(t, http.StatusUnprocessableEntity, "POST", "/v1/projects/"+id+"/log", bad, "Accept-Language",
			accept)
		if !strings.Contains(a.Body, want) {
			t.Errorf("%q: %s", accept, a.Body)
		}
	}
}
