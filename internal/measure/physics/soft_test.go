package physics

import (
	"fmt"
	"net/http"
	"testing"
	"time"

	"dryslot/internal/checkedtest"
)

// Rain is sure to come over soft concrete: the sheet is asked for before it, and what
// it saves is what is judged of it. Moderate rain loses a pad that lies open; one under
// propped plastic is looked over, and nothing else.
func TestPlasticOverSoftConcrete(t *testing.T) {
	const judged = "judgement: what rain does to soft concrete, covered and open"
	wet := steady(16, 70, 2)
	wet.rain = func(day, hour int) (mm, chance float64) {
		if day == 1 && hour == 10 {
			return 6, 1
		}
		return 0, 0
	}
	for i, covered := range []bool{true, false} {
		h := service(t, func(int) *sky { return &wet })
		id := settle(t, h, &scenario{spec: mixAt(16, "") + `,"stock":{"covers":[{"kind":"plastic","pads":4}]}`}, i)
		base := "/v1/projects/" + id
		at := func(hour, min int) time.Time {
			return midnight.AddDate(0, 0, 1).Add(time.Duration(hour)*time.Hour + time.Duration(min)*time.Minute)
		}
		tap := func(kind, more string, when time.Time) {
			t.Helper()
			h.Now = when
			h.Must(t, http.StatusCreated, "POST", base+"/log", fmt.Sprintf(`{"kind":%q,"at":%q%s}`, kind,
				when.Format(time.RFC3339), more))
		}
		tap("started", "", at(7, 0))
		tap("placed", `,"pad":"P1"`, at(8, 20))
		h.Now = at(9, 45)
		var now struct{ Advice struct{ Do string } }
		read(t, h.Must(t, http.StatusOK, "GET", base+"/now", ""), &now)
		checkedtest.That(t, judged, now.Advice.Do == "cover", "a quarter of an hour before rain: %q", now.Advice.Do)
		if covered {
			tap("covered", `,"pad":"P1","cover":"plastic"`, at(9, 50))
		}
		h.Now = at(11, 30)
		h.Must(t, http.StatusCreated, "POST", base+"/log", fmt.Sprintf(
			`{"kind":"rained_on","at":%q,"rain_mm":6,"minutes":60,"covered":%t}`, at(10, 0).Format(time.RFC3339),
			covered))
		var project struct {
			Pads []struct{ State, Inspect string }
		}
		read(t, h.Must(t, http.StatusOK, "GET", base, ""), &project)
		p := project.Pads[0]
		fmt.Printf("6 mm on a soft pad, covered %t: %s %s\n", covered, p.State, p.Inspect)
		if covered {
			checkedtest.That(t, judged, p.State == "placed" && p.Inspect != "", "under plastic: %s, %q", p.State,
				p.Inspect)
		} else {
			checkedtest.That(t, judged, p.State == "lost", "open: %s, %q", p.State, p.Inspect)
		}
	}
}
