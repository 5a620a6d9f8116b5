package planner

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"dryslot/internal/concrete"
	"dryslot/internal/planner/advise"
	"dryslot/internal/planner/job"
	"dryslot/internal/planner/jobtest"
	"dryslot/internal/planner/slabs"
	"dryslot/internal/pour"
)

// fromHour is 4 mm an hour or more from an hour of the day on in two of three
// members; amounts differ, as those of forecasts do.
func fromHour(hour int) func(m, h int) float64 {
	return func(m, h int) float64 {
		if h%24 >= hour && m%3 > 0 {
			return 4 + float64(m)/100
		}
		return 0
	}
}

// A remedy of each of the six kinds is told where it helps, and each is what the
// planner itself answers when it is asked the same. Covers change nothing of the
// air: plain slabs freeze below 1 C without a blanket and with cold water.
func TestRemediesAreWorkedOutAnew(t *testing.T) {
	late := jobtest.JobFor(jobtest.JobJ4(), jobtest.Weather(8, 30, 1, jobtest.Mild, fromHour(16)), 4)
	late.Spec.Crew.EarliestStart += 4 * 60
	late.Days = jobtest.Light(jobtest.Begin, 5, "03:30", "22:00")

	cold := jobtest.JobFor(jobtest.JobJ4(), jobtest.Weather(8, 30, 1, func(k, h int) float64 {
		return jobtest.Mild(k,
			h) - 16
	}, jobtest.Dry), 4)

	chilled := jobtest.JobFor(jobtest.JobJ4(), jobtest.Weather(8, 30, 1, func(k,
		h int) float64 {
		return jobtest.Mild(k, h) - 16
	}, jobtest.Dry), 4)
	chilled.Slabs = warmedByWater{&jobtest.PlainSlabs{Weather: chilled.Weather}}

	shower := jobtest.JobFor(jobtest.JobJ4(), jobtest.Weather(8, 30, 1, jobtest.Mild, func(m, h int) float64 {
		if h%24 == 12 && m%5 > 0 {
			return 4 + float64(m)/100
		}
		return 0
	}), 4)
	shower.Spec.Crew.LatestFinish = 15 * 60

	big := jobtest.GridJob(1, 1, 3, 2.4, 0.1, false, 1, 0, 0)
	alone := jobtest.JobFor(big, jobtest.Weather(8, 30, 1, jobtest.Mild, jobtest.Dry), 4)

	for _, c := range []struct {
		what string
		job  job.Job
		is   func(w job.WhatIf) bool
	}{
		{"earlier start", late, func(w job.WhatIf) bool { return w.EarliestStart != nil }},
		{"blanket", cold, func(w job.WhatIf) bool { return w.Cover != nil && *w.Cover == "blanket" }},
		{"warmer water", chilled, func(w job.WhatIf) bool {
			return w.WaterTemperatureC != nil && *w.WaterTemperatureC == advise.WarmWaterC
		}},
		{"cover", shower, func(w job.WhatIf) bool { return w.Cover != nil && *w.Cover == "plastic" }},
		{"helper", alone, func(w job.WhatIf) bool { return w.People != nil && *w.People == 2 }},
	} {
		res := mustMake(t, c.job)
		m := res.Mornings[0]
		if !slices.ContainsFunc(m.Remedies, func(r job.Remedy) bool { return c.is(r.WhatIf) }) {
			t.Errorf("no %s among %+v for %s: %s", c.what, m.Remedies, m.Verdict, m.ReasonData)
		}
		remade(t, c.what, c.job, &m, &res.Plan)
	}
}

// remade plans the changed project of each of a morning's remedies, after the
// plan as it stands, and asks the planner the same as a question.
func remade(t *testing.T, what string, in job.Job, m *job.Morning, plan *pour.Plan) (told int) {
	t.Helper()
	for _, r := range m.Remedies {
		told++
		changed, asked := in, in
		changed.Spec, changed.Last = r.WhatIf.Apply(in.Spec), plan
		changed.Skipped = append(r.WhatIf.Skipped(), in.Skipped...)
		asked.WhatIf, asked.Last = &r.WhatIf, plan
		for how, x := range map[string]job.Job{"changed": changed, "asked": asked} {
			res := mustMake(t, x)
			got := res.Mornings[slices.IndexFunc(res.Mornings, func(x job.Morning) bool { return x.Date == m.Date })]
			if d := differs(&r, &got); d != "" {
				t.Errorf("%s, %s: %s: %s", what, how, r.ChangeData, d)
			}
		}
		if !advise.Betters(&r, m) {
			t.Errorf("%s: %s is no better", what, r.ChangeData)
		}
	}
	return told
}

// differs says what the planner answers otherwise than a remedy tells.
func differs(r *job.Remedy, got *job.Morning) string {
	if got.Verdict != r.Verdict || *got.Score != r.Score || len(got.Pads) != r.Pads ||
		math.Abs(*got.Parts.Rain.ChanceUnharmed-*r.ChanceUnharmed) > 1e-9 {
		return fmt.Sprintf("told %s, %d, %d pads, %.4f; asked %s, %d, %d pads, %.4f", r.Verdict, r.Score, r.Pads,
			*r.ChanceUnharmed,
			got.Verdict, *got.Score, len(got.Pads), *got.Parts.Rain.ChanceUnharmed)
	}
	return ""
}

// Each remedy of any job gives exactly what it promised when the project is
// changed so.
func TestRemediesOfAnyJob(t *testing.T) {
	t.Parallel()
	jobs := 250
	if testing.Short() {
		jobs = 80
	}
	r := rand.New(rand.NewPCG(1, 2))
	told := 0
	for i := range jobs {
		in := anyJob(r)
		if in.Spec.Stock.Covers == nil && i%3 == 0 {
			in.Spec.Stock.Covers = []pour.Cover{{Kind: []string{"plastic", "blanket"}[i%2], Pads: 1 + i%5}}
		}
		res := mustMake(t, in)
		for k := range res.Mornings[:min(3, len(res.Mornings))] {
			told += remade(t, fmt.Sprintf("job %d, morning %d", i, k), in, &res.Mornings[k], &res.Plan)
		}
	}
	if told < jobs/9 {
		t.Errorf("only %d remedies were told", told)
	}
}

// warmedByWater is plain slabs that warm water keeps from freezing.
type warmedByWater struct{ *jobtest.PlainSlabs }

func (w warmedByWater) Behave(q slabs.Query) *concrete.Behaviour {
	b := w.PlainSlabs.Behave(q)
	if q.WaterC.Known && q.WaterC.V >= advise.WarmWaterC {
		b.Freezes, b.ColdestC = false, 6
	}
	return b
}

// The nearest better option of a morning that holds is the least effort that
// turns it, where that is less than waiting, else the next pour.
func TestTheNearestBetterOption(t *testing.T) {
	late := jobtest.JobFor(jobtest.JobJ4(), jobtest.Weather(8, 30, 1, jobtest.Mild, fromHour(16)), 4)
	late.Spec.Crew.EarliestStart += 4 * 60
	late.Days = jobtest.Light(jobtest.Begin, 5, "03:30", "22:00")
	m := mustMake(t, late).Mornings[0]
	if m.Better == nil || m.Better.ChangeData.String() != "start_at start_clock=09:00" ||
		m.Better.Verdict != string(job.VerdictPour) || m.Better.Date != m.Date ||
		*m.Better.Score != m.Remedies[0].Score {
		t.Errorf("rain every afternoon: %+v", m.Better)
	}

	wet := jobtest.JobFor(jobtest.JobJ4(), jobtest.Weather(8, 30, 1, jobtest.Mild, func(m, h int) float64 {
		if h < 48 && m%3 > 0 {
			return 4 + float64(m)/100
		}
		return 0
	}), 5)
	r := mustMake(t, wet)
	for i := range 2 {
		x := r.Mornings[i]
		if x.Verdict != job.VerdictHold || x.Better == nil || x.Better.Date != r.Plan.Pours[0].Date ||
			*x.Better.Score != *r.Mornings[2].Score ||
			x.Better.Verdict != string(r.Mornings[2].Verdict) {
			t.Errorf("two wet days: morning %d is %s, better %+v", i, x.Verdict, x.Better)
		}
	}
	if b := r.Mornings[2].Better; b != nil {
		t.Errorf("a dry morning is bettered by %+v", b)
	}
}

// What would place a pad that is not placed.
func TestWhatPlacesAPad(t *testing.T) {
	twelve := 12
	in := jobtest.JobFor(jobtest.GridJob(1, 4, 1.2, 0.9, 0.075, false, 1, 0, 0), jobtest.Weather(6, 20, 1,
		jobtest.Mild, jobtest.Dry), 5)
	in.Spec.Stock.BagsOnHand = &twelve
	r := mustMake(t, in)
	if len(r.Plan.Unplaced) != 2 {
		t.Fatalf("unplaced %+v", r.Plan.Unplaced)
	}
	more := 11 + 12 - twelve
	for _, u := range r.Plan.Unplaced {
		b := u.Better
		if b == nil || b.ChangeData.String() != "more_bags bags=11 date="+b.Date.String() {
			t.Fatalf("%s: %+v", u.Pad, b)
		}
		again := in
		n := twelve + more
		again.Spec.Stock.BagsOnHand = &n
		for _, p := range mustMake(t, again).Plan.Pours {
			if slices.Contains(p.Pads, u.Pad) && p.Date != b.Date {
				t.Errorf("%s: told %s, planned %s", u.Pad, b.Date, p.Date)
			}
		}
		if p := mustMake(t, again).Plan; len(p.Unplaced) > 0 {
			t.Errorf("with %d bags: %+v", n, p.Unplaced)
		}
	}

	wet := jobtest.JobFor(jobtest.JobJ4(), jobtest.Weather(8, 30, 1, jobtest.Mild, fromHour(16)), 4)
	wet.Spec.Crew.EarliestStart += 4 * 60
	wet.Days = jobtest.Light(jobtest.Begin, 5, "03:30", "22:00")
	for _, u := range mustMake(t, wet).Plan.Unplaced {
		if u.Better == nil ||
			u.Better.ChangeData.String() != "change_on change=start_at start_clock=09:00 date="+
				u.Better.Date.String() || *u.Better.ChanceUnharmed < 1-wet.Spec.Limits.RainRisk {
			t.Errorf("%s: %+v", u.Pad, u.Better)
		}
		early := wet
		start := wet.Spec.Crew.EarliestStart - 60
		early.WhatIf = &job.WhatIf{EarliestStart: &start, Pads: []string{u.Pad}}
		p := mustMake(t, early).Plan.Pours
		if !slices.ContainsFunc(p, func(x pour.Pour) bool { return slices.Contains(x.Pads, u.Pad) }) {
			t.Errorf("%s is not planned from %s", u.Pad, start)
		}
	}
}
