package pages

import (
	"encoding/json"
	"fmt"
	"maps"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"dryslot/internal/fetching"
	"dryslot/internal/forecast/skytest"
	"dryslot/internal/place"
	"dryslot/internal/unit"
	"dryslot/internal/web/browsertest"
	"dryslot/internal/web/webtest"
)

// phoneDay is a day of seven pads, played on a phone's touch screen.
type phoneDay struct {
	handset
	t    *testing.T
	h    *webtest.Service
	id   string
	date unit.Date
	zone *time.Location
	taps int
	// placing is until when each pad that was shown is placed, where it is not tapped.
	placing map[string]time.Time
}

// newPhoneDay sets the job up under a sky, with more members of the project such as
// `,"stock":{...}`.
func newPhoneDay(t *testing.T, sky *skytest.Sky, more string) *phoneDay {
	t.Helper()
	zone, err := time.LoadLocation("Europe/Lisbon")
	if err != nil {
		t.Fatal(err)
	}
	h := newService(t)
	d := &phoneDay{t: t, h: h, date: unit.Date{Year: 2026, Month: time.June, Day: 10}, zone: zone,
		placing: map[string]time.Time{}}
	h.Fetching.Feeds = []fetching.Feed{sky}
	h.Now = d.date.AddDays(-1).At(18*60+30, zone)
	var pads []string
	for i := range 7 {
		pads = append(pads, fmt.Sprintf(`{"name":"H%d","length_m":0.9,"width_m":0.9,"thickness_m":0.075}`, i+1))
	}
	d.id = h.Create(t, webtest.FirstToken, `{"name":"Garden path","latitude":38.55,"longitude":-7.90,"language":"en",
		"crew":{"people":2},"pads":[`+strings.Join(pads, ",")+`]`+more+`}`)
	d.refresh()
	d.handset = onAPhone(t, h, d.id)
	d.browser.Touch(t)
	return d
}

// refresh fetches the weather of this minute and plans with it.
func (d *phoneDay) refresh() {
	d.t.Helper()
	if err := d.h.Fetching.Refresh(d.t.Context(), place.CellOf(38.55, -7.90)); err != nil {
		d.t.Fatal(err)
	}
	if err := d.h.Projects.MakeNext(d.t.Context()); err != nil {
		d.t.Fatal(err)
	}
}

func (d *phoneDay) at(hour, minute int) time.Time {
	return d.date.At(unit.Clock(hour*60+minute), d.zone)
}

// to moves the clocks of the service and of the phone.
func (d *phoneDay) to(at time.Time) {
	d.t.Helper()
	hour := d.h.Now.Truncate(time.Hour)
	d.h.Now = at
	d.set(at)
	if at.Truncate(time.Hour).After(hour) {
		d.refresh()
	}
}

// open opens a page with the phone's clock at the minute played.
func (d *phoneDay) open(path string) {
	d.t.Helper()
	b := d.browser
	b.Open(d.t, d.base+"/offline")
	browsertest.Eval[string](d.t, b, fmt.Sprintf(`sessionStorage.setItem("ahead", %d) || ""`,
		time.Until(d.h.Now).Milliseconds()))
	b.Open(d.t, d.base+"/p/"+d.id+path)
}

// tap opens a page and presses a button on it.
func (d *phoneDay) tap(path, selector string) {
	d.t.Helper()
	d.open(path)
	d.press(selector)
}

// press puts a finger on a button; what the page loads next is waited for.
func (d *phoneDay) press(selector string) {
	d.t.Helper()
	b := d.browser
	sent := d.network.sent.Load()
	browsertest.Eval[string](d.t, b, `window.before = "yes"`)
	b.Tap(d.t, selector)
	d.taps++
	for end := time.Now().Add(time.Minute); d.network.sent.Load() == sent || !browsertest.Eval[bool](d.t, b,
		`!window.before && document.readyState === "complete"`); {
		if time.Now().After(end) {
			d.t.Fatalf("%s: nothing came of %s: %s", d.h.Now, selector, browsertest.Eval[string](d.t, b,
				`document.body.innerText.slice(0, 800)`))
		}
	}
}

// answer is /now, as far as the crew goes by it.
type dayAnswer struct {
	Next []struct {
		Do          string
		Pads        []string
		From, Until time.Time
	}
	Pads []struct {
		Pad, Phase string
		Assumed    bool
	}
	Questions []struct{ Ask, Text string }
}

func (d *phoneDay) answer() (a dayAnswer) {
	d.t.Helper()
	if err := json.Unmarshal([]byte(d.h.Must(d.t, http.StatusOK, "GET", "/v1/projects/"+d.id+"/now", "").Body),
		&a); err != nil {
		d.t.Fatal(err)
	}
	return a
}

// entries are the kinds and pads of the log.
func (d *phoneDay) entries() (out []string) {
	d.t.Helper()
	var log struct {
		Items []struct {
			Kind string
			Pads []string
		}
	}
	if err := json.Unmarshal([]byte(d.h.Must(d.t, http.StatusOK, "GET", "/v1/projects/"+d.id+"/log?limit=100",
		"").Body), &log); err != nil {
		d.t.Fatal(err)
	}
	for _, e := range log.Items {
		for _, p := range e.Pads {
			out = append(out, e.Kind+" "+p)
		}
		if len(e.Pads) == 0 {
			out = append(out, e.Kind)
		}
	}
	slices.Sort(out)
	return out
}

// mostTaps is how many taps a day of seven pads may take.
const mostTaps = 9

// The crew taps that it begins, and each pad as it is placed; one tap in the
// evening confirms that they were finished.
func TestADayOfSevenPadsTakesNineTaps(t *testing.T) {
	d := newPhoneDay(t, &skytest.Sky{Named: "sky", Days: 4}, "")
	began, due := false, map[string]time.Time{}
	for at := d.at(6, 0); at.Before(d.at(20, 0)); at = at.Add(10 * time.Minute) {
		d.to(at)
		for _, n := range d.answer().Next {
			switch {
			case n.Do == "set_up" && !began && !n.From.After(at):
				d.tap("", "button.slab[value=started]")
				began = true
			case n.Do == "place" && n.Until.Before(d.at(22, 0)):
				due[n.Pads[0]] = n.Until
			}
		}
		for _, pad := range slices.Sorted(maps.Keys(due)) {
			if began && due[pad].Before(at) {
				d.tap("", fmt.Sprintf("form:has(input[name=pads][value=%s]) button.slab[value=placed]", pad))
				delete(due, pad)
			}
		}
	}
	d.tap("", `form[action$="/confirm"] button`)
	a := d.answer()
	for _, p := range a.Pads {
		if p.Assumed || p.Phase != "hard" && p.Phase != "setting" {
			t.Errorf("after it: %+v", p)
		}
	}
	if log := d.entries(); len(log) != 15 || len(a.Questions) != 0 {
		t.Errorf("%d entries, asked %v: %v", len(log), a.Questions, log)
	}
	t.Logf("taps_day: %d taps", d.taps)
	if d.taps > mostTaps {
		t.Errorf("%d taps", d.taps)
	}
}

// Nobody taps all day. In the evening the page lists what is taken to have been
// done; one pad was not placed, and is switched off.
func TestADayWithoutATapIsConfirmedInTheEvening(t *testing.T) {
	d := newPhoneDay(t, &skytest.Sky{Named: "sky", Days: 4}, "")
	for at := d.at(6, 0); at.Before(d.at(20, 30)); at = at.Add(30 * time.Minute) {
		d.to(at)
	}
	b := d.browser
	b.Open(t, d.base+"/p/"+d.id)
	if said := browsertest.Eval[string](t, b, `document.body.innerText`); !strings.Contains(said,
		"Did it go as planned?") {
		t.Fatalf("the page does not ask: %.600s", said)
	}
	b.Open(t, d.base+"/p/"+d.id+"/confirm")
	if n := browsertest.Eval[int](t, b, `document.querySelectorAll("[name=pads]:checked").length`); n != 7 {
		t.Fatalf("%d pads are proposed", n)
	}
	if over := browsertest.Eval[int](t, b, `Math.ceil(document.documentElement.scrollWidth-innerWidth)`); over > 0 {
		t.Errorf("%d px wider than the window", over)
	}
	for _, x := range b.Axe(t) {
		t.Errorf("axe: %s", x)
	}
	b.Tap(t, "[name=pads][value=H7]")
	browsertest.Eval[string](t, b, `window.before = "yes"`)
	b.Tap(t, "button.slab")
	for end := time.Now().Add(time.Minute); browsertest.Eval[bool](t, b,
		`!!window.before || document.readyState !== "complete"`); {
		if time.Now().After(end) {
			t.Fatal("no page follows")
		}
	}
	var want []string
	for i := range 6 {
		want = append(want, fmt.Sprintf("placed H%d", i+1), fmt.Sprintf("finished H%d", i+1))
	}
	want = append(want, "skipped H7")
	slices.Sort(want)
	if got := d.entries(); !slices.Equal(got, want) {
		t.Errorf("the log holds %v", got)
	}
	a := d.answer()
	for _, p := range a.Pads {
		if placed := p.Pad != "H7"; placed == (p.Phase == "waiting") || p.Assumed {
			t.Errorf("%+v", p)
		}
	}
	if len(a.Questions) != 0 {
		t.Errorf("asked still: %v", a.Questions)
	}
}
