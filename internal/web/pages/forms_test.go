package pages

import (
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"dryslot/internal/web/webtest"
)

// TestTheSetUpTellsAllFaultsAtOnce fills the form in with everything wrong.
func TestTheSetUpTellsAllFaultsAtOnce(t *testing.T) {
	h := newHouse(t)
	v := newSite(t, h)
	v.signIn(webtest.Firstly)
	form := url.Values{}
	for name, value := range map[string]string{"units": "us", "name": "", "latitude": "95", "longitude": "east", "across": "0", "rows": "x",
		"length": "-1", "width": "3", "thickness": "300", "gap": "-2", "order": "any", "forms": "none", "infill": "4", "bag": "80", "yield": "2", "water": "9",
		"water_max": "1", "people": "99", "rate": "0", "earliest": "25:00", "latest": "", "finish": "broom", "email": "<nobody>"} {
		form.Set(name, value)
	}
	status, _, body := v.post("/new", form)
	if status != http.StatusUnprocessableEntity {
		t.Fatalf("%d: %.300s", status, body)
	}
	for name, words := range map[string]string{"name": "must not be empty", "latitude": "from -90 to 90", "longitude": "must be a number", "across": "from 1 to 100",
		"rows": "from 1 to 100", "length": "be below 0 as a length; type it like 46 in", "thickness": "must be from 1.6\u00a0in to 19.6\u00a0in", "gap": "be below 0 as a length", "forms": "must be a whole number",
		"infill": "is only for pads", "yield": "from 0.0708 to 1.41", "water_max": "must not be below the water by the label", "people": "from 1 to 10",
		"rate": "from 0.5 to 60", "earliest": "type it like 6:00 or 6 am", "latest": "type it like 6:00 or 6 am", "email": "must be a mail address"} {
		at := regexp.MustCompile(`(?s)<p class="wrong" id="e-` + name + `">([^<]*)</p>`).FindStringSubmatch(body)
		if at == nil || !strings.Contains(at[1], words) {
			t.Errorf("%s: %q, want %q", name, at, words)
		}
		if !strings.Contains(body, `<a href="#n-`+name+`">`) {
			t.Errorf("%s is not among the faults above the form", name)
		}
	}
	for _, sound := range []string{"width", "bag", "water", "finish"} {
		if strings.Contains(body, `id="e-`+sound+`"`) {
			t.Errorf("%s is sound", sound)
		}
	}
	for _, kept := range []string{`value="95"`, `value="300"`, `value="25:00"`, `value="&lt;nobody&gt;"`} {
		if !strings.Contains(body, kept) {
			t.Errorf("not kept: %s", kept)
		}
	}
	for name, value := range map[string]string{"name": "Kennel & webtest.Yard <2>", "latitude": "52.52, 13.42", "longitude": "", "across": "5", "rows": "3", "length": "4'0\"", "thickness": "3 in",
		"gap": "0", "order": "alternate", "forms": "8", "yield": "0.6", "water": "3", "water_max": "3.5", "people": "2", "rate": "7", "earliest": "7 am", "latest": "19:00", "email": "", "language": "es-US",
		"infill": "3"} {
		form.Set(name, value)
	}
	status, at, body := v.post("/new", form)
	id, ok := strings.CutPrefix(at, "/p/")
	if status != http.StatusOK || !ok {
		t.Fatalf("set up: %d at %s: %s", status, at, body)
	}
	got := parse(t, h.Must(t, 200, "GET", "/v1/projects/"+id, "").Body)
	sets, pads := got.Get("form_sets").Array, got.Get("pads").Array
	if len(sets) != 2 || sets[0].Get("count").Text != "5" || sets[1].Get("count").Text != "3" || len(pads) != 15 {
		t.Fatalf("%d form sets, %d pads", len(sets), len(pads))
	}
	if got.Get("language").Text != "es-US" || got.Get("crew").Get("earliest_start").Text != "07:00" ||
		pads[0].Get("length_m").Text != "1.2192" || pads[0].Get("thickness_m").Text != "0.0762" {
		t.Errorf("what was typed is read as %.600s", text(got))
	}
	if pads[0].Get("form_set").Text != sets[0].Get("name").Text || pads[1].Get("form_set").Text != sets[1].Get("name").Text || got.Get("longitude").Text != "13.42" {
		t.Errorf("pads in %s and %s, longitude %s", pads[0].Get("form_set").Text, pads[1].Get("form_set").Text, got.Get("longitude").Text)
	}
	if _, at, body := v.get("/projects"); at != "/projects" || !strings.Contains(body, "One project") || !strings.Contains(body, "Kennel &amp; webtest.Yard &lt;2&gt;") || !strings.Contains(body, `href="/new"`) {
		t.Errorf("the list of projects, at %s: %s", at, body)
	}
}

func TestRainOnEverySoftPadAndAWebhooksSecret(t *testing.T) {
	h := newHouse(t)
	id := h.Create(t, webtest.Firstly, webtest.Yard)
	h.Refresh(t, id)
	v := newSite(t, h)
	v.signIn(webtest.Firstly)
	for _, pad := range []string{"A1", "A3"} {
		if status, _, body := v.post("/p/"+id+"/log", url.Values{"pad": {pad}, "at": {"2025-07-27T19:30"}, "kind": {"placed"}}); status != 200 {
			t.Fatalf("%s: %d: %s", pad, status, body)
		}
	}
	status, _, body := v.post("/p/"+id+"/log", url.Values{"pad": {"A1"}, "at": {"2025-07-27T19:50"}, "kind": {"rained_on_all"}})
	if status != 200 || !strings.Contains(body, "Look at A1 again") || !strings.Contains(body, "Look at A3 again") || !strings.Contains(body, "log it again with the amount") {
		t.Errorf("rain of an unknown amount: %d: %s", status, body)
	}
	status, _, body = v.post("/p/"+id+"/log", url.Values{"pad": {"A1"}, "at": {"2025-07-27T19:55"}, "kind": {"rained_on_all"}, "rain": {"6"}, "minutes": {"5"}, "covered": {"no"}})
	if status != 200 || !strings.Contains(body, "A1 is lost") || !strings.Contains(body, "A3 is lost") || !strings.Contains(body, "Break a lost pad out soon") {
		t.Errorf("6 mm: %d: %s", status, body)
	}
	if _, _, body = v.get("/p/" + id); !strings.Contains(body, "Break out A1, A3 soon") {
		t.Errorf("the next page does not say what to break out: %s", body)
	}
	// All faults of an entry at once, in the form's words.
	status, _, body = v.post("/p/"+id+"/log", url.Values{"pad": {""}, "at": {"2025-07-29T19:50"}, "kind": {"placed"}, "bags": {"-3"}, "minutes": {"long"}})
	for _, want := range []string{"Minutes, given as “long”", "When, given as “Tue 19:50”: must not be in the future; it is Sun 20:00 now.", "Bags, given as “-3”", "Say which pad it was."} {
		if status != http.StatusUnprocessableEntity || !strings.Contains(body, want) {
			t.Errorf("%d without %q: %s", status, want, body[strings.Index(body, "<h1>"):])
		}
	}

	status, _, body = v.post("/p/"+id+"/alerts", url.Values{"do": {"add"}, "address": {"https://hooks.example.org/pads"}})
	if status != 200 || !strings.Contains(body, "whsec_") {
		t.Errorf("a new webhook: %d: %s", status, body)
	}
	if _, _, body = v.get("/p/" + id + "/alerts"); strings.Contains(body, "whsec_") || !strings.Contains(body, "https://hooks.example.org/pads, by webhook") {
		t.Error("the secret is shown again, or the webhook is not there")
	}
}

func TestAJobIsChangedAndRemovedByForm(t *testing.T) {
	h := newHouse(t)
	id := h.Create(t, webtest.Firstly, webtest.Yard)
	v := newSite(t, h)
	v.signIn(webtest.Firstly)
	_, _, body := v.get("/p/" + id + "/change")
	form := url.Values{"do": {"change"}}
	for _, m := range regexp.MustCompile(`name="([a-z]+)" type="(?:text|hidden)" [^>]*value="([^"]*)"|name="(revision)" value="([^"]*)"`).FindAllStringSubmatch(body, -1) {
		form.Set(m[1]+m[3], m[2]+m[4])
	}
	if form.Get("name") != "Boules court kerb" || form.Get("bags") != "4" || form.Get("revision") == "" {
		t.Fatalf("the form holds %v", form)
	}
	old := parse(t, h.Must(t, 200, "GET", "/v1/projects/"+id, "").Body)
	form.Set("people", "3")
	form.Set("evening", "18:15")
	form.Set("risk", "150")
	form.Set("latest", "05:00")
	status, _, body := v.post("/p/"+id+"/change", form)
	if status != http.StatusUnprocessableEntity || !strings.Contains(body, "must be a number from 0 to 100") || !strings.Contains(body, "must be later than the earliest start") || !strings.Contains(body, `value="18:15"`) {
		t.Errorf("two faults: %d: %s", status, body)
	}
	form.Set("risk", "7.5")
	form.Set("latest", "18:00")
	if status, at, body := v.post("/p/"+id+"/change", form); status != 200 || at != "/p/"+id {
		t.Fatalf("changed: %d at %s: %s", status, at, body)
	}
	got := parse(t, h.Must(t, 200, "GET", "/v1/projects/"+id, "").Body)
	if got.Get("crew").Get("people").Text != "3" || got.Get("alerts").Get("evening_at").Text != "18:15" || got.Get("limits").Get("rain_risk").Text != "0.075" {
		t.Errorf("changed to %.900s", text(got))
	}
	if text(got.Get("stock")) != text(old.Get("stock")) || text(got.Get("mix")) != text(old.Get("mix")) {
		t.Errorf("what was not touched changed: %s, %s", text(got.Get("stock")), text(got.Get("mix")))
	}
	if status, _, body := v.post("/p/"+id+"/change", form); status != http.StatusUnprocessableEntity || !strings.Contains(body, "changed meanwhile") {
		t.Errorf("of an old revision: %d: %s", status, body)
	}
	if status, _, body := v.post("/p/"+id+"/change", url.Values{"do": {"remove"}, "sure": {"yes"}}); status != http.StatusUnprocessableEntity || !strings.Contains(body, "Nothing was removed") {
		t.Errorf("removed without the word: %d", status)
	}
	if status, at, body := v.post("/p/"+id+"/change", url.Values{"do": {"remove"}, "sure": {"Remove "}}); status != 200 || at != "/projects" || !strings.Contains(body, "No project yet") {
		t.Errorf("removed: %d at %s", status, at)
	}
}
