package pages

import (
	"html"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"dryslot/internal/pour"
	"dryslot/internal/web/webtest"
)

var (
	inputs  = regexp.MustCompile(`<input [^>]*>`)
	selects = regexp.MustCompile(`(?s)<select [^>]*name="([^"]*)"[^>]*>(.*?)</select>`)
	chosen  = regexp.MustCompile(`<option value="([^"]*)" selected>`)
)

// filled are the values of the forms of a page, as a browser would post them.
func filled(page string) url.Values {
	v := url.Values{}
	attribute := func(tag, name string) string {
		_, rest, _ := strings.Cut(tag, " "+name+`="`)
		value, _, _ := strings.Cut(rest, `"`)
		return html.UnescapeString(value)
	}
	for _, tag := range inputs.FindAllString(page, -1) {
		kind := attribute(tag, "type")
		if (kind == "radio" || kind == "checkbox") && !strings.Contains(tag, " checked") {
			continue
		}
		v.Add(attribute(tag, "name"), attribute(tag, "value"))
	}
	for _, m := range selects.FindAllStringSubmatch(page, -1) {
		if c := chosen.FindStringSubmatch(m[2]); c != nil {
			v.Set(m[1], html.UnescapeString(c[1]))
		}
	}
	return v
}

// wrongAt is what a page says is wrong with a field.
func wrongAt(page, field string) string {
	m := regexp.MustCompile(`<p class="wrong" id="e-` + field + `">([^<]*)</p>`).FindStringSubmatch(page)
	if m == nil {
		return ""
	}
	return html.UnescapeString(m[1])
}

// The set-up tells everything that is wrong at once, at its field and above the form.
func TestTheSetUpTellsAllFaultsAtOnce(t *testing.T) {
	h := newService(t)
	v := newSite(t, h)
	v.signIn(webtest.FirstToken)
	_, _, page := v.get("/new?units=us")
	form := filled(page)
	if form.Get("across0") != "3" || form.Get("length0") != "48 in" || len(form["day"]) != 7 {
		t.Fatalf("the example holds %v", form)
	}
	bad := map[string]string{"name": "", "place": "95, 200", "across0": "0", "rows0": "x", "length0": "-1",
		"thick0": "300", "gap0": "-2", "count0": "none", "for0": "Z", "bag": "8 lb", "yield": "x", "water": "9 lb",
		"people": "99", "rate": "0", "earliest": "25:00", "risk": "150", "waste": "80", "email": "<nobody>"}
	for name, value := range bad {
		form.Set(name, value)
	}
	form.Del("day")
	status, _, body := v.post("/new", form)
	if status != http.StatusUnprocessableEntity {
		t.Fatalf("%d: %.300s", status, body)
	}
	for name := range bad {
		if wrongAt(body, name) == "" || !strings.Contains(body, `<a href="#n-`+name+`">`) {
			t.Errorf("%s: nothing is said of it, or not above the form: %q", name, wrongAt(body, name))
		}
	}
	for name, words := range map[string]string{"thick0": "from 1.6\u00a0in to 19.6\u00a0in",
		"day": "at least one day"} {
		if !strings.Contains(body, words) {
			t.Errorf("%s: %q does not hold %q", name, wrongAt(body, name), words)
		}
	}
	for _, sound := range []string{"width0", "latest", "finish"} {
		if wrongAt(body, sound) != "" {
			t.Errorf("%s is sound: %s", sound, wrongAt(body, sound))
		}
	}
	for name, value := range filled(body) {
		if name != "do" && name != "day" && name != "next" && strings.Join(value, ",") != strings.Join(form[name],
			",") {
			t.Errorf("%s: %q was given, %q is still there", name, form[name], value)
		}
	}
}

// Twenty pads in gangs with thick edges, of mixed sizes, in rows that are added by
// the buttons, without any script.
func TestAJobOfMixedSizesIsSetUpByForm(t *testing.T) {
	h := newService(t)
	v := newSite(t, h)
	v.signIn(webtest.FirstToken)
	_, _, page := v.get("/new?units=us")
	form := filled(page)
	form.Set("do", "add row")
	form.Set("length0", `3'10"`)
	status, at, page := v.post("/new", form)
	form = filled(page)
	if status != 200 || at != "/new" || form.Get("letter1") != "B" || form.Get("length1") != `3'10"` ||
		!strings.Contains(page, "= 46\u00a0in (1.17\u00a0m)") {
		t.Fatalf("a row more: %d at %s: %v", status, at, form)
	}
	for name, value := range map[string]string{"name": "Kennel & webtest.Yard <2>", "place": "52.52, 13.42",
		"across0": "6", "rows0": "2", "across1": "8", "rows1": "1", "width1": "40 in", "thick1": "4", "edge1": "8 in",
		"order1": "alternate", "for0": "A, B", "count0": "4", "earliest": "7 am", "language": "es-US",
		"price": "$5.98", "payload": "1,000 lb", "plastic": "4", "blanket": "2", "email": "builder@example.org",
		"do": "keep"} {
		form.Set(name, value)
	}
	form.Set("do", "look")
	if _, _, page = v.post("/new", form); !strings.Contains(page, `<span><b>`) || wrongAt(page, "place") != "" {
		t.Errorf("worked out: %s", page[strings.Index(page, `<aside`):])
	}
	form.Set("do", "keep")
	status, at, body := v.post("/new", form)
	id, ok := strings.CutPrefix(at, "/p/")
	if status != http.StatusOK || !ok {
		t.Fatalf("set up: %d at %s: %s", status, at, body)
	}
	got := parse(t, h.Must(t, 200, "GET", "/v1/projects/"+id, "").Body)
	pads := got.Get("pads").Array
	if len(pads) != 20 || pads[19].Get("name").Text != "B8" || pads[0].Get("length_m").Text != "1.1684" ||
		pads[13].Get("edge_thickness_m").Text != "0.2032" || len(pads[13].Get("after").Array) != 2 ||
		pads[19].Get("form_set").Text != "F1" || got.Get("longitude").Text != "13.42" {
		t.Errorf("%d pads: %.900s", len(pads), text(got.Get("pads")))
	}
	if got.Get("crew").Get("earliest_start").Text != "07:00" || got.Get("language").Text != "es-US" ||
		got.Get("mix").Get("price_per_bag").Text != "5.98" ||
		got.Get("stock").Get("covers").Array[1].Get("kind").Text != "blanket" {
		t.Errorf("what was typed is read as %.900s", text(got))
	}
	if _, _, body := v.get("/p/" + id + "/alerts"); !strings.Contains(body, "builder@example.org") {
		t.Error("the mail address gets no alerts")
	}
	if _, at, body := v.get("/projects"); at != "/projects" ||
		!strings.Contains(body, "Kennel &amp; webtest.Yard &lt;2&gt;") || !strings.Contains(body, `href="/new"`) {
		t.Errorf("the list of projects, at %s: %s", at, body)
	}
}

// A place by its name: one is taken, of several one is chosen, and what can't be
// looked up is told.
func TestAPlaceIsFoundByName(t *testing.T) {
	h := newService(t)
	v := newSite(t, h)
	v.signIn(webtest.FirstToken)
	_, _, page := v.get("/new")
	form := filled(page)
	form.Set("do", "keep")
	for typed, words := range map[string]string{"Nowhere": "not known", "": "coordinates", "x": "2 to 80",
		"Downtown": "looked up now"} {
		form.Set("place", typed)
		if status, _, body := v.post("/new", form); status != http.StatusUnprocessableEntity ||
			!strings.Contains(wrongAt(body, "place"), words) {
			t.Errorf("%q: %d, %q", typed, status, wrongAt(body, "place"))
		}
	}
	form.Set("place", "Portland")
	status, _, body := v.post("/new", form)
	asked := filled(body)
	if status != http.StatusUnprocessableEntity || !strings.Contains(body, "Portland, Maine, United States") ||
		asked.Get("spot_of") != "Portland" {
		t.Fatalf("two places: %d, %v", status, asked)
	}
	asked.Set("spot", "43.6591, -70.2568")
	asked.Set("do", "keep")
	for _, form := range []url.Values{asked, func() url.Values { form.Set("place", "Portland, ME"); return form }()} {
		status, at, body := v.post("/new", form)
		id, ok := strings.CutPrefix(at, "/p/")
		if status != 200 || !ok {
			t.Fatalf("set up: %d at %s: %.600s", status, at, body)
		}
		got := parse(t, h.Must(t, 200, "GET", "/v1/projects/"+id, "").Body)
		if got.Get("latitude").Text != "43.65915" || got.Get("elevation_m").Text != "19" ||
			got.Get("time_zone").Text != "America/New_York" {
			t.Errorf("it lies at %.300s", text(got))
		}
	}
}

func TestRainOnEverySoftPadAndAWebhooksSecret(t *testing.T) {
	h := newService(t)
	id := h.Create(t, webtest.FirstToken, webtest.Yard)
	h.Refresh(t, id)
	v := newSite(t, h)
	v.signIn(webtest.FirstToken)
	for _, pad := range []string{"A1", "A3"} {
		if status, _, body := v.post("/p/"+id+"/log", url.Values{"pad": {pad}, "at": {"2025-07-27T19:30"},
			"kind": {"placed"}}); status != 200 {
			t.Fatalf("%s: %d: %s", pad, status, body)
		}
	}
	status, _, body := v.post("/p/"+id+"/log", url.Values{"pad": {"A1"}, "at": {"2025-07-27T19:50"},
		"kind": {"rained_on_all"}})
	if status != 200 || !strings.Contains(body, "Look at A1 again") || !strings.Contains(body, "Look at A3 again") ||
		!strings.Contains(body, "log it again with the amount") {
		t.Errorf("rain of an unknown amount: %d: %s", status, body)
	}
	status, _, body = v.post("/p/"+id+"/log", url.Values{"pad": {"A1"}, "at": {"2025-07-27T19:55"},
		"kind": {"rained_on_all"}, "rain": {"6"}, "minutes": {"5"}, "covered": {"no"}})
	if status != 200 || !strings.Contains(body, "A1 is lost") || !strings.Contains(body, "A3 is lost") ||
		!strings.Contains(body, "Break a lost pad out soon") {
		t.Errorf("6 mm: %d: %s", status, body)
	}
	if _, _, body = v.get("/p/" + id); !strings.Contains(body, "Break out A1, A3 soon") {
		t.Errorf("the next page does not say what to break out: %s", body)
	}
	// All faults of an entry at once, in the form's words.
	status, _, body = v.post("/p/"+id+"/log", url.Values{"pad": {""}, "at": {"2025-07-29T19:50"}, "kind": {"placed"},
		"bags": {"-3"}, "minutes": {"long"}})
	for _, want := range []string{"Minutes, given as “long”",
		"When, given as “Tue 19:50”: must not be in the future; it is Sun 20:00 now.", "Bags, given as “-3”",
		"Say which pad it was."} {
		if status != http.StatusUnprocessableEntity || !strings.Contains(body, want) {
			t.Errorf("%d without %q: %s", status, want, body[strings.Index(body, "<h1>"):])
		}
	}

	status, _, body = v.post("/p/"+id+"/alerts", url.Values{"do": {"add"},
		"address": {"https://hooks.example.org/pads"}, "alerts": {"plan", "pour"}})
	if status != 200 || !strings.Contains(body, "whsec_") {
		t.Errorf("a new webhook: %d: %s", status, body)
	}
	if _, _, body = v.get("/p/" + id + "/alerts"); strings.Contains(body, "whsec_") ||
		!strings.Contains(body, "<h2>https://hooks.example.org/pads</h2>") {
		t.Error("the secret is shown again, or the webhook is not there")
	}
}

func TestAJobIsChangedAndRemovedByForm(t *testing.T) {
	h := newService(t)
	id := h.Create(t, webtest.FirstToken, webtest.Yard)
	v := newSite(t, h)
	v.signIn(webtest.FirstToken)
	change := "/p/" + id + "/change"
	_, _, body := v.get(change)
	form := filled(body)
	form.Set("do", "keep")
	if form.Get("name") != "Boules court kerb" || form.Get("on_hand") != "4" || form.Get("revision") == "" {
		t.Fatalf("the form holds %v", form)
	}
	job := func() *pour.Node { return parse(t, h.Must(t, 200, "GET", "/v1/projects/"+id, "").Body) }
	old := job()
	if status, at, body := v.post(change, form); status != 200 || at != "/p/"+id {
		t.Fatalf("kept as it was: %d at %s: %s", status, at, body)
	}
	for _, part := range []string{"pads", "mix", "crew", "stock", "form_sets", "alerts", "site", "limits", "latitude",
		"elevation_m", "time_zone"} {
		if text(job().Get(part)) != text(old.Get(part)) {
			t.Errorf("%s was not touched: %s became %s", part, text(old.Get(part)), text(job().Get(part)))
		}
	}
	_, _, body = v.get(change)
	form = filled(body)
	for name, value := range map[string]string{"do": "keep", "people": "3", "evening": "18:15", "risk": "150",
		"latest": "05:00"} {
		form.Set(name, value)
	}
	status, _, body := v.post(change, form)
	if status != http.StatusUnprocessableEntity || wrongAt(body, "risk") == "" || wrongAt(body, "latest") == "" ||
		!strings.Contains(body, `value="18:15"`) {
		t.Errorf("two faults: %d: %s", status, body)
	}
	for name, value := range map[string]string{"risk": "7.5 %", "latest": "18:00", "bag": "25 kg", "water": "",
		"water_max": "", "yield": "", "place": "48.2, 16.37", "thick0": "90 mm"} {
		form.Set(name, value)
	}
	if status, at, body := v.post(change, form); status != 200 || at != "/p/"+id {
		t.Fatalf("changed: %d at %s: %s", status, at, body)
	}
	got := job()
	if got.Get("crew").Get("people").Text != "3" || got.Get("alerts").Get("evening_at").Text != "18:15" ||
		got.Get("limits").Get("rain_risk").Text != "0.075" || got.Get("mix").Get("yield_l_per_bag").Text != "11.71" ||
		got.Get("time_zone").Text != "Europe/Vienna" || got.Get("pads").Array[0].Get("thickness_m").Text != "0.09" {
		t.Errorf("changed to %.1500s", text(got))
	}
	if text(got.Get("stock")) != text(old.Get("stock")) {
		t.Errorf("what was not touched changed: %s, %s", text(got.Get("stock")), text(old.Get("stock")))
	}
	if status, _, body := v.post(change, form); status != http.StatusUnprocessableEntity ||
		!strings.Contains(body, "changed meanwhile") {
		t.Errorf("of an old revision: %d: %s", status, body)
	}
	if status, _, body := v.post(change, url.Values{"do": {"remove"},
		"sure": {"yes"}}); status != http.StatusUnprocessableEntity || !strings.Contains(body, "Nothing was removed") {
		t.Errorf("removed without the word: %d", status)
	}
	spanish := []string{"Accept-Language", "es-MX"}
	if status, _, body := v.post(change, url.Values{"do": {"remove"}, "sure": {"no"}},
		spanish...); status != http.StatusUnprocessableEntity || strings.Contains(body, "“remove”") ||
		!strings.Contains(body, "«quitar»") || !strings.Contains(body, `href="#n-sure"`) {
		t.Errorf("asked in Spanish: %d: %s", status,
			regexp.MustCompile(`(?s)<div role="alert".*?</div>|`+
				`<section><h2>[^<]*</h2>\s*<form class="plain".*?</form>`).FindAllString(body, -1))
	}
	if status, at, body := v.post(change, url.Values{"do": {"remove"}, "sure": {"Quitar "}},
		spanish...); status != 200 || at != "/projects" || !strings.Contains(body, "Todavía no hay") {
		t.Errorf("removed: %d at %s", status, at)
	}
}

func TestOnePadIsChangedAndRemovedByForm(t *testing.T) {
	h := newService(t)
	id := h.Create(t, webtest.FirstToken, webtest.Yard)
	v := newSite(t, h)
	v.signIn(webtest.FirstToken)
	pads := func() []*pour.Node {
		return parse(t, h.Must(t, 200, "GET", "/v1/projects/"+id, "").Body).Get("pads").Array
	}
	was := pads()
	_, _, body := v.get("/p/" + id + "/change")
	if !strings.Contains(body, `href="/p/`+id+`/pad/A1/change"`) {
		t.Error("the plan does not lead to a pad's form")
	}
	page := "/p/" + id + "/pad/A1/change"
	_, _, body = v.get(page)
	form := filled(body)
	form.Set("do", "keep")
	for name, value := range map[string]string{"thick0": "1 mm", "order0": "A9"} {
		form.Set(name, value)
	}
	if status, _, body := v.post(page, form); status != http.StatusUnprocessableEntity ||
		wrongAt(body, "thick0") == "" || wrongAt(body, "order0") == "" {
		t.Errorf("two faults: %d: %s", status, body)
	}
	for name, value := range map[string]string{"letter0": "Step", "thick0": "90 mm", "edge0": "15 cm", "order0": "",
		"x0": "2 m"} {
		form.Set(name, value)
	}
	if status, at, body := v.post(page, form); status != 200 || at != "/p/"+id+"/change" {
		t.Fatalf("changed: %d at %s: %s", status, at, body)
	}
	now := pads()
	if now[0].Get("name").Text != "Step" || now[0].Get("edge_thickness_m").Text != "0.15" ||
		now[0].Get("x_m").Text != "2" || len(now) != len(was) ||
		now[1].Get("after").Array[0].Get("pad").Text != "Step" {
		t.Errorf("changed to %s", text(now[0]))
	}
	if status, _, _ := v.get(page); status != http.StatusNotFound {
		t.Errorf("the old name: %d", status)
	}
	_, _, body = v.get("/p/" + id + "/pad/Step/change")
	form = filled(body)
	form.Set("do", "remove")
	if status, at, _ := v.post("/p/"+id+"/pad/Step/change", form); status != 200 || at != "/p/"+id+"/change" ||
		len(pads()) != len(was)-1 {
		t.Errorf("removed: %d at %s, %d pads", status, at, len(pads()))
	}
}

// A change is tried on a page: the mornings stand as planned and as they would be,
// and nothing is kept.
func TestAChangeIsTriedBeforeItIsKept(t *testing.T) {
	h := newService(t)
	id := h.Create(t, webtest.FirstToken, webtest.Yard)
	v := newSite(t, h)
	v.signIn(webtest.FirstToken)
	_, _, body := v.get("/p/" + id + "/try")
	form := filled(body)
	if status, _, _ := v.post("/p/"+id+"/try", form); status != http.StatusServiceUnavailable {
		t.Errorf("before the first forecast: %d", status)
	}
	h.Refresh(t, id)
	plan := func() string {
		return text(parse(t, h.Must(t, 200, "GET", "/v1/projects/"+id+"/plan", "").Body).Get("version"))
	}
	before := plan()
	form.Set("people", "4")
	form.Set("pads", "A3")
	form.Set("cover", "plastic")
	status, _, body := v.post("/p/"+id+"/try", form)
	if status != 200 || strings.Count(body, "<tr>") < 5 || !strings.Contains(body, "1 pad") {
		t.Errorf("tried: %d: %.3000s", status, body[strings.Index(body, "<h1>"):])
	}
	if got := parse(t, h.Must(t, 200, "GET", "/v1/projects/"+id, "").Body); got.Get("crew").Get("people").Text != "2" ||
		plan() != before {
		t.Error("something was kept")
	}
	form.Set("people", "none")
	form.Set("water_temp", "90 C")
	if status, _, body := v.post("/p/"+id+"/try", form); status != http.StatusUnprocessableEntity ||
		wrongAt(body, "people") == "" || wrongAt(body, "water_temp") == "" {
		t.Errorf("two faults: %d", status)
	}
}
