package planner

import (
	"bytes"
	"encoding/json"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"dryslot/internal/measure/check"
	"dryslot/internal/planner/job"
	"dryslot/internal/planner/jobtest"
	"dryslot/internal/planner/policy"
	"dryslot/internal/pour"
	"dryslot/internal/takeoff"
	"dryslot/internal/unit"
)

// situation is what the independent checker needs to know of a job.
func situation(t testing.TB, in *job.Job) check.Situation {
	t.Helper()
	s := check.Situation{Spec: in.Spec, Records: in.Records, Now: in.Now, Zone: in.Zone, Bags: map[string]int{},
		FreeAt: map[string]time.Time{}, CuredAt: map[string]time.Time{},
		Light: func(d unit.Date) (time.Time, time.Time, bool) {
			for _, x := range in.Days {
				if x.Date == d {
					from, until, ok := x.Light(in.Zone)
					return from, until, ok
				}
			}
			return time.Time{}, time.Time{}, false
		}}
	byName := map[string]pour.Pad{}
	for _, p := range in.Spec.Pads {
		s.Bags[p.Name] = takeoff.PadBags(in.Spec, p)
		byName[p.Name] = p
	}
	s.DayBags = func(pads []string) int {
		var all []pour.Pad
		for _, n := range pads {
			all = append(all, byName[n])
		}
		return takeoff.PourBags(in.Spec, all)
	}
	if in.Weather != nil {
		f, err := policy.Prepare(t.Context(), in)
		if err != nil {
			t.Fatal(err)
		}
		for i := range f.Pads {
			p := &f.Pads[i]
			if policy.Poured(p.Record.State) && !math.IsInf(p.Strip, 1) {
				s.FreeAt[p.Name] = f.Clock(max(p.Strip, 0))
			}
			if policy.Poured(p.Record.State) && !math.IsInf(p.Cured, 1) {
				s.CuredAt[p.Name] = f.Clock(max(p.Cured, 0))
			}
		}
	}
	return s
}

// timed takes a plan's times from its mornings.
func timed(r *job.Result) []check.Day {
	var out []check.Day
	zero := func(t *time.Time) time.Time {
		if t == nil {
			return time.Time{}
		}
		return *t
	}
	for _, p := range r.Plan.Pours {
		d := check.Day{Date: p.Date, Start: p.Start, End: p.End}
		i := slices.IndexFunc(r.Mornings, func(m job.Morning) bool { return m.Date == p.Date })
		for _, x := range r.Mornings[i].Pads {
			d.Pads = append(d.Pads, check.Timed{Pad: x.Pad, PlaceStart: x.PlaceStart, PlaceEnd: x.PlaceEnd,
				FinishStart: x.FinishStart, FinishEnd: x.FinishEnd,
				FinishFrom: zero(x.FinishFrom), FinishUntil: zero(x.FinishUntil), StripFrom: zero(x.StripFrom),
				CuredBy: zero(x.CuredBy), ChanceUnharmed: x.ChanceUnharmed})
		}
		out = append(out, d)
	}
	return out
}

// anyJob draws a job of any kind: sizes, crew, order, forms, stock, log,
// light, weather.
func anyJob(r *rand.Rand) job.Job {
	rows, cols := 1+r.IntN(3), 1+r.IntN(5)
	spec := jobtest.GridJob(rows, cols, 0.8+r.Float64(), 0.8+0.6*r.Float64(), 0.05+0.05*r.Float64(), r.IntN(2) == 0,
		1+r.IntN(3), r.IntN(3), 1+r.IntN(6))
	spec.Limits.RainRisk = 0.05 + 0.3*r.Float64()
	untils := []pour.State{pour.Placed, pour.Finished, pour.Stripped, pour.Cured}
	for i := range spec.Pads {
		p := &spec.Pads[i]
		if r.IntN(4) == 0 {
			p.LengthM *= 1 + r.Float64()
		}
		if r.IntN(5) == 0 {
			p.FormSet = nil
		}
		for k := range p.After {
			p.After[k].Until = untils[r.IntN(len(untils))]
		}
	}
	if r.IntN(3) == 0 {
		n := r.IntN(40)
		spec.Stock.BagsOnHand = &n
		spec.Stock.Deliveries = []pour.Delivery{{Date: jobtest.Begin.AddDays(r.IntN(6)), Bags: 1 + r.IntN(50)}}
	}
	if r.IntN(3) == 0 {
		spec.Crew.Days = []string{"mon", "wed", "thu", "sat"}
	}
	if r.IntN(4) == 0 {
		spec.Crew.Finish = "trowel"
	}
	spec.Crew.SetUpMin, spec.Crew.CleanUpMin = float64(r.IntN(60)), float64(r.IntN(60))
	days := 3 + r.IntN(8)
	warm := -6 + 18*r.Float64()
	tracks := 1 + r.IntN(5)
	wx := jobtest.Weather(days+3, tracks*(1+r.IntN(6)), tracks, func(k, h int) float64 {
		return jobtest.Mild(k,
			h) - 6 + warm + float64(k)
	}, jobtest.Showers(r.Uint64(), 0.2*r.Float64()))
	in := jobtest.JobFor(spec, wx, days)
	first, last := []string{"05:00", "06:40", "08:10"}[r.IntN(3)], []string{"21:30", "18:20", "16:05"}[r.IntN(3)]
	in.Days = jobtest.Light(jobtest.Begin, days+1, first, last)
	in.Now = jobtest.Begin.At(0, jobtest.Zone).Add(time.Duration(r.IntN(30)) * time.Hour)
	if in.Now.After(jobtest.Begin.AddDays(1).At(0, jobtest.Zone)) {
		in.Days = jobtest.Light(jobtest.Begin.AddDays(1), days, first, last)
	}
	held := map[string]int{}
	for _, p := range spec.Pads {
		full := false
		if p.FormSet != nil {
			full = held[*p.FormSet] == spec.FormSets[0].Count
		}
		if len(p.After) == 0 && r.IntN(4) == 0 && !full {
			if p.FormSet != nil {
				held[*p.FormSet]++
			}
			at := in.Now.Add(-time.Duration(1+r.IntN(20)) * time.Hour)
			rec := pour.PadRecord{Pad: p.Name, State: []pour.State{pour.Placed, pour.Finished, pour.Stripped,
				pour.Lost}[r.IntN(4)], PlacedAt: &at, Castings: []pour.Casting{{At: at}}}
			if rec.State == pour.Lost {
				rec.PlacedAt, rec.LostAt, rec.Losses = nil, &at, 1
			}
			in.Records = append(in.Records, rec)
		} else if r.IntN(10) == 0 {
			in.Skipped = append(in.Skipped, job.Skip{Date: jobtest.Begin.AddDays(r.IntN(days)), Pad: p.Name})
		}
	}
	return in
}

// inGangs makes gang forms of some of a job's form sets, as many of each as hold the
// pads that lie in them.
func inGangs(r *rand.Rand, in *job.Job) {
	for k := range in.Spec.FormSets {
		set, held := &in.Spec.FormSets[k], 0
		for _, rec := range in.Records {
			i := slices.IndexFunc(in.Spec.Pads, func(p pour.Pad) bool { return p.Name == rec.Pad })
			if p := in.Spec.Pads[i].FormSet; p != nil && *p == set.Name {
				held++
			}
		}
		if r.IntN(2) == 0 {
			set.Count, set.Cells = max(1, held), 2+r.IntN(2)
		}
	}
}

func TestEveryPlanPassesTheIndependentChecker(t *testing.T) {
	t.Parallel()
	r, gangs := rand.New(rand.NewPCG(3, 5)), rand.New(rand.NewPCG(5, 9))
	poursSeen, unplaced := 0, 0
	for i := range 150 {
		in := anyJob(r)
		inGangs(gangs, &in)
		res := mustMake(t, in)
		if faults := check.Plan(situation(t, &in), timed(res)); len(faults) > 0 {
			t.Fatalf("job %d: %q", i, faults)
		}
		poursSeen += len(res.Plan.Pours)
		for _, m := range res.Mornings {
			if p := res.Plan.On(m.Date); p != nil && m.PadsPossible < len(p.Pads) {
				t.Errorf("job %d: %d pads are planned on %s, of %d possible", i, len(p.Pads), m.Date, m.PadsPossible)
			}
		}
		unplaced += len(res.Plan.Unplaced)
		placed := map[string]int{}
		for _, p := range res.Plan.Pours {
			for _, n := range p.Pads {
				placed[n]++
			}
		}
		for _, u := range res.Plan.Unplaced {
			placed[u.Pad]++
			if u.WhyData.IsZero() {
				t.Errorf("job %d: %s is unplaced without a reason", i, u.Pad)
			}
		}
		for _, p := range in.Spec.Pads {
			rec := slices.IndexFunc(in.Records, func(x pour.PadRecord) bool { return x.Pad == p.Name })
			want := 1
			if rec >= 0 && policy.Poured(in.Records[rec].State) {
				want = 0
			}
			if placed[p.Name] != want {
				t.Fatalf("job %d: %s comes %d times in the plan and its leftovers, not %d", i, p.Name, placed[p.Name],
					want)
			}
		}
	}
	if poursSeen < 100 || unplaced < 40 {
		t.Errorf("only %d pours and %d leftovers: the jobs are too easy or too hard to tell", poursSeen, unplaced)
	}
}

func TestTheSameJobGivesTheSamePlan(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(9, 9))
	for range 30 {
		in := anyJob(r)
		a, _ := json.Marshal(mustMake(t, in))
		b, _ := json.Marshal(mustMake(t, in))
		if !bytes.Equal(a, b) {
			t.Fatalf("two answers to one question:\n%s\n%s", a, b)
		}
	}
}
