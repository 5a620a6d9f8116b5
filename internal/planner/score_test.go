package planner

import (
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"dryslot/internal/daylight"
	"dryslot/internal/forecast"
	"dryslot/internal/planner/job"
	"dryslot/internal/planner/jobtest"
	"dryslot/internal/unit"
)

// wetter returns the scenarios with some hours wetter in some members.
func wetter(r *rand.Rand, s *forecast.Scenarios) *forecast.Scenarios {
	out := *s
	out.Members = slices.Clone(s.Members)
	for range 1 + r.IntN(6) {
		from, n := r.IntN(s.Hours), 1+r.IntN(5)
		add := 4 * r.Float64() * r.Float64()
		for m := range out.Members {
			if r.IntN(3) > 0 {
				continue
			}
			out.Members[m].RainMM = slices.Clone(out.Members[m].RainMM)
			for h := from; h < min(from+n, s.Hours); h++ {
				out.Members[m].RainMM[h] += add
			}
		}
	}
	return &out
}

func scores(t *testing.T, in job.Job) []int {
	t.Helper()
	var out []int
	for _, m := range mustMake(t, in).Mornings {
		out = append(out, *m.Score)
	}
	return out
}

func TestMoreRainNeverRaisesAScore(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(21, 4))
	fell := 0
	for i := range 80 {
		in := anyJob(r)
		before := scores(t, in)
		in.Weather = wetter(r, in.Weather)
		in.Slabs = &jobtest.PlainSlabs{Weather: in.Weather}
		after := scores(t, in)
		for d := range before {
			if after[d] > before[d] {
				t.Fatalf("job %d, morning %d: score rose from %d to %d with more rain", i, d, before[d], after[d])
			}
			if after[d] < before[d] {
				fell++
			}
		}
	}
	if fell < 30 {
		t.Errorf("only %d scores fell: the rain added changes too little to tell", fell)
	}
}

func TestLessLightNeverRaisesAScore(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(22, 4))
	fell := 0
	for i := range 80 {
		in := anyJob(r)
		before := scores(t, in)
		in.Days = slices.Clone(in.Days)
		for d := range in.Days {
			in.Days[d].FirstLight = in.Days[d].FirstLight.Add(time.Duration(r.IntN(90)) * time.Minute)
			in.Days[d].LastLight = in.Days[d].LastLight.Add(-time.Duration(r.IntN(180)) * time.Minute)
		}
		after := scores(t, in)
		for d := range before {
			if after[d] > before[d] {
				t.Fatalf("job %d, morning %d: score rose from %d to %d with less light", i, d, before[d], after[d])
			}
			if after[d] < before[d] {
				fell++
			}
		}
	}
	if fell < 30 {
		t.Errorf("only %d scores fell: the light taken changes too little to tell", fell)
	}
}

func TestNoLightNoPour(t *testing.T) {
	in := jobtest.JobFor(jobtest.JobJ4(), jobtest.Weather(6, 8, 1, jobtest.Mild, jobtest.Dry), 3)
	for i := range in.Days {
		in.Days[i] = daylight.Day{Date: in.Days[i].Date, Case: daylight.NeverUp}
	}
	res := mustMake(t, in)
	if len(res.Plan.Pours) != 0 || res.Mornings[0].Verdict != job.VerdictHold || *res.Mornings[0].Score != 0 {
		t.Errorf("poured in the dark: %+v, verdict %s, score %d", res.Plan.Pours, res.Mornings[0].Verdict,
			*res.Mornings[0].Score)
	}
}

func TestBeforeTheFirstForecast(t *testing.T) {
	in := jobtest.JobFor(jobtest.JobJ4(), jobtest.Weather(6, 8, 1, jobtest.Mild, jobtest.Dry), 3)
	in.Weather, in.Slabs = nil, nil
	res := mustMake(t, in)
	if *res.Plan.Version != 0 || res.Plan.State != "awaiting-forecast" || len(res.Mornings) != 3 {
		t.Fatalf("plan %+v with %d mornings", res.Plan, len(res.Mornings))
	}
	for _, m := range res.Mornings {
		if m.Verdict != job.VerdictHold || m.Score != nil || m.Window != nil || m.Forecast != nil || m.Pads == nil ||
			m.Cautions[0].Code != "no-forecast" {
			t.Errorf("morning %s: %+v", m.Date, m)
		}
	}
}

// An old forecast lowers the verdict: over 6 h to care, over 24 h to hold.
func TestAnOldForecastIsNotBelieved(t *testing.T) {
	for _, c := range []struct {
		age  time.Duration
		want job.Verdict
	}{{time.Hour, job.VerdictPour}, {6 * time.Hour, job.VerdictPour}, {7 * time.Hour, job.VerdictCare},
		{25 * time.Hour, job.VerdictHold}} {
		in := jobtest.JobFor(jobtest.JobJ4(), jobtest.Weather(8, 8, 1, jobtest.Mild, jobtest.Dry), 3)
		in.Trust.Age = c.age
		if got := mustMake(t, in).Mornings[0]; got.Verdict != c.want {
			t.Errorf("%s old: %s (%s), want %s", c.age, got.Verdict, got.ReasonData, c.want)
		}
	}
}

// An unknown rain counts against the morning.
func TestUnknownRainIsNotDry(t *testing.T) {
	known := jobtest.JobFor(jobtest.JobJ4(), jobtest.Weather(8, 8, 1, jobtest.Mild, jobtest.Dry), 3)
	gone := known
	gone.Weather = jobtest.Weather(8, 8, 1, jobtest.Mild, jobtest.Dry)
	for m := range gone.Weather.Members {
		for h := 9; h < 20; h++ {
			gone.Weather.Members[m].RainMM[h] = unit.Opt{}.Float()
		}
	}
	a, b := mustMake(t, known).Mornings[0], mustMake(t, gone).Mornings[0]
	if a.Verdict == job.VerdictHold || b.Verdict != job.VerdictHold || *b.Score >= *a.Score {
		t.Errorf("known %s %d, unknown %s %d", a.Verdict, *a.Score, b.Verdict, *b.Score)
	}
}
