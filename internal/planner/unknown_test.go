package planner

import (
	"encoding/json"
	"math"
	"slices"
	"testing"

	"dryslot/internal/planner/job"
	"dryslot/internal/planner/jobtest"
	"dryslot/internal/planner/slabs"
)

// A figure that the forecast lacks is cautioned of where the decision used it,
// from the work's beginning until the last pad has set, and not for hours after.
func TestUnknownHoursThatTheDecisionUsed(t *testing.T) {
	for _, c := range []struct {
		what        string
		from, until int // hours from the midnight before the first morning
		want        [2]bool
	}{
		{"nothing", 0, 0, [2]bool{}},
		{"the night after the first morning", 23, 28, [2]bool{false, false}},
		{"the tail from the second night on", 50, 200, [2]bool{false, false}},
		{"the first noon", 11, 14, [2]bool{true, false}},
		{"the second afternoon", 24 + 10, 24 + 16, [2]bool{false, true}},
	} {
		wx := jobtest.Weather(7, 10, 1, jobtest.Mild, jobtest.Dry)
		for i := range wx.Members {
			w := &wx.Members[i]
			w.HumidityPct, w.WindMS, w.CloudPct = slices.Clone(w.HumidityPct), slices.Clone(w.WindMS),
				slices.Clone(w.CloudPct)
			for h := c.from; h < min(c.until, wx.Hours); h++ {
				w.HumidityPct[h], w.WindMS[h], w.CloudPct[h] = math.NaN(), math.NaN(), math.NaN()
			}
		}
		spec := jobtest.GridJob(1, 12, 1, 1, 0.075, false, 1, 0, 0)
		in := jobtest.JobFor(spec, wx, 4)
		slabs, err := slabs.New(spec, wx, slabs.Options{Zone: jobtest.Zone})
		if err != nil {
			t.Fatal(err)
		}
		in.Slabs = slabs
		r := mustMake(t, in)
		for i, want := range c.want {
			m := &r.Mornings[i]
			got := slices.ContainsFunc(m.Cautions, func(x job.Caution) bool { return x.Code == "unknown-weather" })
			if got != want || len(m.Pads) == 0 || (m.Verdict == job.VerdictCare) != want {
				t.Errorf("%s is unknown: morning %d cautions %v, verdict %s, %d pads", c.what, i, got, m.Verdict,
					len(m.Pads))
			}
		}
	}
}

// Where every member lacks the same hours, or all bring the same rain, a chance
// is still a number, counted over all of them.
func TestMembersThatAreAllTheSame(t *testing.T) {
	for what, rain := range map[string]func(m, h int) float64{
		"the tail is unknown": func(_, h int) float64 {
			if h >= 60 {
				return math.NaN()
			}
			return 0
		},
		"the same rain in all": func(_, h int) float64 {
			if h == 20 {
				return 4
			}
			return 0
		},
		"the same rain in most": func(m, h int) float64 {
			if m > 4 && h%24 > 8 {
				return 4
			}
			return 0
		},
	} {
		in := jobtest.JobFor(jobtest.JobJ4(), jobtest.Weather(5, 31, 1, jobtest.Mild, rain), 4)
		r := mustMake(t, in)
		if _, err := json.Marshal(r); err != nil {
			t.Errorf("%s: %v", what, err)
		}
		for _, p := range r.Plan.Pours {
			if !(p.ChanceUnharmed >= 1-in.Spec.Limits.RainRisk) {
				t.Errorf("%s: %s is planned with a chance of %v", what, p.Date, p.ChanceUnharmed)
			}
		}
		if what == "the same rain in most" && len(r.Plan.Pours) > 0 {
			t.Errorf("%s: %+v is planned", what, r.Plan.Pours)
		}
	}
}
