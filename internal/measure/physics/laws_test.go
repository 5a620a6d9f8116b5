package physics

import (
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"slices"
	"testing"
	"time"

	"dryslot/internal/message"
	"dryslot/internal/planner/job"
	"dryslot/internal/pour"
	"dryslot/internal/unit"
	"dryslot/internal/web/webtest"
)

// asked asks the planner what a change would do to the mornings.
func asked(t *testing.T, h *webtest.Service, id, change string) []job.Morning {
	t.Helper()
	var said struct{ Mornings []job.Morning }
	read(t, h.Must(t, http.StatusOK, "POST", "/v1/projects/"+id+"/plan", `{"what_if":`+change+`}`), &said)
	return said.Mornings
}

func read(t *testing.T, a webtest.Answer, into any) {
	t.Helper()
	if err := json.Unmarshal([]byte(a.Body), into); err != nil {
		t.Fatal(err)
	}
}

func morningOf(t *testing.T, all []job.Morning, date string) job.Morning {
	t.Helper()
	i := slices.IndexFunc(all, func(m job.Morning) bool { return m.Date.String() == date })
	if i < 0 {
		t.Fatalf("no morning of %s", date)
	}
	return all[i]
}

func morning(t *testing.T, h *webtest.Service, id string) job.Morning {
	t.Helper()
	var m job.Morning
	read(t, h.Must(t, http.StatusOK, "GET", "/v1/projects/"+id+"/mornings/"+tomorrow, ""), &m)
	return m
}

const tomorrow = "2026-04-14"

func specOf(t *testing.T, h *webtest.Service, id string) (s pour.Spec) {
	t.Helper()
	read(t, h.Must(t, http.StatusOK, "GET", "/v1/projects/"+id, ""), &s)
	return s
}

// change changes a project, as a builder would, and has it planned.
func change(t *testing.T, h *webtest.Service, id string, s pour.Spec) job.Morning {
	t.Helper()
	parts, err := json.Marshal(map[string]any{"crew": s.Crew, "mix": s.Mix, "practice": s.Practice,
		"stock": map[string]any{"covers": s.Stock.Covers}})
	if err != nil {
		t.Fatal(err)
	}
	h.Must(t, http.StatusOK, "PATCH", "/v1/projects/"+id, string(parts), "If-Match", "*")
	h.Must(t, http.StatusCreated, "POST", "/v1/projects/"+id+"/plan", "")
	return morning(t, h, id)
}

// Each remedy that a morning offers gives, when the project is changed so, exactly what
// it promised.
func TestRemediesGiveWhatTheyPromise(t *testing.T) {
	shower := steady(18, 70, 2)
	shower.rain = func(day, hour int) (float64, float64) {
		return 3, map[bool]float64{true: 0.7, false: 0.02}[hour >= 13]
	}
	jobs := []scenario{
		{name: "dry wind", spec: mixAt(30, ""), sky: steady(14, 40, 6)},
		{name: "hot and dry", spec: mixAt(31, ""), sky: under(wave(32, 5), 20, 6, 5, 900)},
		{name: "cold", spec: mixAt(4, ""), sky: under(wave(4, 4), 80, 2, 90, 100)},
		{name: "a frosty night", spec: mixAt(10, ""), sky: under(wave(4.5, 6.5), 70, 1, 5, 500)},
		{name: "a shower", spec: mixAt(18, "") + `,"crew":{"earliest_start":"09:00"}`, sky: shower},
		{name: "a shower, no sheet", spec: mixAt(18, "") + `,"stock":{"covers":[]}`, sky: shower},
	}
	h := service(t, func(i int) *sky { return &jobs[min(i, len(jobs)-1)].sky })
	told, codes := 0, map[message.Code]bool{}
	for i := range jobs {
		id := settle(t, h, &jobs[i], i)
		before := specOf(t, h, id)
		for _, r := range morning(t, h, id).Remedies {
			told, codes[r.ChangeData.Code] = told+1, true
			if r.WhatIf.LeaveOut != nil {
				continue // is a day's word, not a change of the project
			}
			got := change(t, h, id, r.WhatIf.Apply(before))
			fmt.Printf("%-16s %-22s promised %s %3d %.3f, gives %s %3d %.3f\n", jobs[i].name, r.ChangeData.Code,
				r.Verdict, r.Score, *r.ChanceUnharmed, got.Verdict, *got.Score, *got.Parts.Rain.ChanceUnharmed)
			if got.Verdict != r.Verdict || *got.Score != r.Score || len(got.Pads) != r.Pads ||
				math.Abs(*got.Parts.Rain.ChanceUnharmed-*r.ChanceUnharmed) > 1e-9 {
				t.Errorf("%s: %s promised %+v", jobs[i].name, r.ChangeData.Code, r)
			}
			change(t, h, id, before)
		}
	}
	if told < 5 || !codes[job.CoverPlastic] {
		t.Errorf("only %d remedies were offered, plastic against rain among them: %t", told, codes[job.CoverPlastic])
	}
}

// More rain, by chance or by amount, never makes the same pour safer.
func TestMoreRainIsNeverSafer(t *testing.T) {
	type step struct{ mm, chance float64 }
	steps := []step{{0, 0}, {1, 0.3}, {1, 0.9}, {3, 0.9}, {8, 0.9}, {8, 1}}
	now := steady(18, 70, 2)
	h := service(t, func(int) *sky { return &now })
	now.rain = rainBy(0, 0)
	id := settle(t, h, &scenario{spec: mixAt(18, "")}, 0)
	last := math.Inf(1)
	for _, x := range steps {
		now.rain = rainBy(x.mm, x.chance)
		h.Now = h.Now.Add(95 * time.Minute) // the feed is asked anew
		h.Refresh(t, id)
		m := morning(t, h, id)
		if m.Parts.Rain.ChanceUnharmed == nil {
			t.Fatalf("%g mm at a chance of %g: no pour is looked at: %s %+v", x.mm, x.chance, m.Reason, m.Parts)
		}
		safe := *m.Parts.Rain.ChanceUnharmed
		fmt.Printf("%g mm at a chance of %g: unharmed %.3f\n", x.mm, x.chance, safe)
		if safe > last+1e-9 {
			t.Errorf("%g mm at a chance of %g: unharmed %.3f, with less rain %.3f", x.mm, x.chance, safe, last)
		}
		last = safe
	}
	if last > 0.5 {
		t.Errorf("8 mm in every hour: unharmed %.3f", last)
	}
}

// A cover kept on through a frosty night never lowers that night's slab minimum, more
// water never sets or cures earlier, and a shorter day never scores higher.
func TestLawsOfAFixedPlan(t *testing.T) {
	skies := []sky{under(wave(4, 5), 75, 2, 60, 300), under(wave(7, 6), 60, 1, 10, 500),
		under(wave(16, 5), 60, 2, 40, 600)}
	h := service(t, func(i int) *sky { return &skies[min(i, len(skies)-1)] })
	for i := range skies[:2] {
		id := settle(t, h, &scenario{spec: mixAt(16, "")}, i)
		bare, under := morningOf(t, asked(t, h, id, `{"cover":"none"}`), tomorrow), morningOf(t, asked(t, h, id,
			`{"cover":"blanket"}`), tomorrow)
		a, b := bare.Parts.Temperature.SlabMinC, under.Parts.Temperature.SlabMinC
		if a == nil || b == nil || *b < *a {
			t.Errorf("weather %d: the slab's minimum is %v bare, %v under a blanket", i, a, b)
		}
	}
	id := settle(t, h, &scenario{spec: mixAt(16, "")}, 2)
	spec := specOf(t, h, id)
	spec.Mix.WaterLPerBagMax = 4.5
	var set, cured time.Duration
	for _, litres := range []float64{2.4, 2.8, 3.2, 3.6, 4} {
		spec.Mix.WaterUsedLPerBag = &litres
		m := change(t, h, id, spec)
		p := &m.Pads[0]
		s := p.InitialSet.Sub(p.PlaceStart)
		c := time.Duration(math.MaxInt64) // not in sight
		if p.CuredBy != nil {
			c = p.CuredBy.Sub(p.PlaceStart)
		}
		if s < set || c < cured {
			t.Errorf("%g litres: sets after %s, cures after %s; with less after %s and %s", litres, s, c, set, cured)
		}
		set, cured = s, c
	}
	score := math.MaxInt
	for _, home := range []int{20, 17, 14, 11, 8} {
		spec.Crew.LatestFinish = unit.Clock(60 * home)
		m := change(t, h, id, spec)
		if *m.Score > score {
			t.Errorf("home by %d: score %d, with a longer day %d", home, *m.Score, score)
		}
		score = *m.Score
	}
	if score > 0 {
		t.Errorf("a pour that must be finished by 08:00 scores %d", score)
	}
}
