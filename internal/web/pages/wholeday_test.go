package pages

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"
	"time"

	"dryslot/internal/forecast/skytest"
	"dryslot/internal/web/browsertest"
)

// said is what a page of the job says.
func (d *phoneDay) said(path string) string {
	d.t.Helper()
	d.browser.Open(d.t, d.base+"/p/"+d.id+path)
	return browsertest.Eval[string](d.t, d.browser, `document.body.innerText`)
}

// says fails the test where a page of the job does not say some words.
func (d *phoneDay) says(path string, words ...string) {
	d.t.Helper()
	got := d.said(path)
	for _, w := range words {
		if !strings.Contains(strings.ToLower(got), strings.ToLower(w)) {
			d.t.Errorf("%s: %s%s does not say %q: %.700s", d.h.Now.In(d.zone), d.id, path, w, got)
		}
	}
}

// goOn moves the clock to a moment in steps of ten minutes and taps what is done: a
// pad as placed when its time for it is over, another step when it is due.
func (d *phoneDay) goOn(to time.Time, steps map[string]string) {
	d.t.Helper()
	for ; !d.h.Now.After(to); d.to(d.h.Now.Add(10 * time.Minute)) {
		for _, n := range d.answer().Next {
			if n.Do == "place" && n.Until.Sub(d.h.Now) < 12*time.Hour && steps["place"] != "" {
				d.placing[n.Pads[0]] = n.Until
			}
		}
		for _, pad := range slices.Sorted(maps.Keys(d.placing)) {
			if d.placing[pad].Before(d.h.Now) {
				d.tap("", slabOf("placed", pad))
				delete(d.placing, pad)
			}
		}
		if kind := d.offered(); kind != "" && kind != "placed" && slices.Contains(slices.Collect(maps.Values(steps)),
			kind) {
			d.tap("", slabOf(kind))
		}
	}
}

// offered is the entry that the large button of the page logs, where its step is due.
func (d *phoneDay) offered() string {
	d.t.Helper()
	due := false
	for _, n := range d.answer().Next {
		due = due || n.Do != "place" && !n.From.After(d.h.Now)
	}
	if !due {
		return ""
	}
	d.browser.Open(d.t, d.base+"/p/"+d.id)
	return browsertest.Eval[string](d.t, d.browser, `document.querySelector("button.slab")?.value || ""`)
}

// slabOf finds the large button that logs a kind of entry, of the first of some pads.
func slabOf(kind string, pads ...string) string {
	slab := fmt.Sprintf("button.slab[value=%s]", kind)
	if len(pads) == 0 {
		return slab
	}
	return fmt.Sprintf("form:has(input[name=pads][value=%s]) %s", pads[0], slab)
}

// count is how many entries of a kind the log holds, a pad each.
func (d *phoneDay) count(kind string) (n int) {
	d.t.Helper()
	for _, e := range d.entries() {
		if strings.HasPrefix(e, kind) {
			n++
		}
	}
	return n
}

// phases counts the pads by phase.
func (d *phoneDay) phases() map[string]int {
	d.t.Helper()
	out := map[string]int{}
	for _, p := range d.answer().Pads {
		out[p.Phase]++
	}
	return out
}

// A job lived through on a phone: the evening before, the morning, the pour with
// one tap that was wrong and is undone, a shower that no forecast showed, finishing,
// blankets at dusk before a night of frost, stripping, and how it turned out.
func TestPlayedOnAPhone(t *testing.T) {
	zone, err := time.LoadLocation("Europe/Lisbon")
	if err != nil {
		t.Fatal(err)
	}
	d := newPhoneDay(t, &skytest.Sky{Named: "sky", Days: 8, Air: func(at time.Time) float64 {
		if h := at.In(zone).Hour(); h < 6 || h > 20 {
			return -1
		}
		return 14
	}}, `,"stock":{"covers":[{"kind":"plastic","pads":7},{"kind":"blanket","pads":7}]}`)
	shower := d.at(8, 40)
	d.to(d.at(-5, 0)) // 19:00 on the day before
	d.says("", "tomorrow", "pads", "start")

	d.to(d.at(5, 30))
	d.says("", "today", "H1")
	d.goOn(d.at(7, 50), map[string]string{"set_up": "started", "place": "placed"})
	placed := slices.DeleteFunc(d.entries(), func(e string) bool { return !strings.HasPrefix(e, "placed ") })
	if len(placed) == 0 {
		t.Fatalf("nothing was placed by %s: %v", d.h.Now.In(d.zone), d.entries())
	}
	// The next pad is tapped as placed by mistake.
	d.tap("", slabOf("placed"))
	if got := d.count("placed "); got != len(placed)+1 {
		t.Errorf("%d pads are logged as placed after %d and a wrong tap", got, len(placed))
	}
	d.tap("", "button[value=undone]")
	d.says("/log", "undo")
	if n := d.phases()["waiting"]; n != 7-len(placed) {
		t.Errorf("%d pads wait after the wrong tap was undone, of 7 less %d", n, len(placed))
	}

	d.goOn(shower.Add(-10*time.Minute), map[string]string{"place": "placed"})
	d.to(shower)
	d.tap("", "button[value=rain_began]")
	d.says("", "cover")
	d.tap("", slabOf("covered"))
	d.to(shower.Add(30 * time.Minute))
	d.tap("", "button[value=rain_ended]")
	if n := d.phases()["lost"]; n > 0 {
		t.Errorf("%d pads were lost under their covers", n)
	}
	steps := map[string]string{"place": "placed", "finish": "finished", "cover": "covered", "uncover": "uncovered"}
	d.goOn(d.at(21, 0), steps)
	if n := d.count("covered "); n < 7 {
		t.Errorf("%d pads were covered, 7 for the night: %v", n, d.entries())
	}
	steps["strip"] = "stripped"
	for day := 1; d.count("stripped ") < 7 && day < 5; day++ {
		d.to(d.at(24*day+8, 0))
		d.goOn(d.at(24*day+18, 0), steps)
	}
	if n := d.count("stripped "); n != 7 {
		t.Errorf("%d pads were stripped: %v", n, d.entries())
	}
	d.to(d.at(24*4, 0).Add(9 * time.Hour)) // a pad is rated when it is three days old
	d.open("/log")
	d.browser.Tap(t, "label:has(input[name=chipped_edges][value=none])")
	d.press("button[value=rated]")
	if d.count("rated ") != 1 {
		t.Errorf("nothing was rated: %v", d.entries())
	}
	t.Logf("taps_job: %d taps, of %d pads", d.taps, 7)
}
