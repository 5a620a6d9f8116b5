package policy

import (
	"context"
	"math"
	"slices"
	"testing"
	"time"

	"dryslot/internal/forecast/belief"
	"dryslot/internal/planner/hourly"
	"dryslot/internal/planner/job"
	"dryslot/internal/planner/jobtest"
	"dryslot/internal/pour"
)

func workdayOf(t testing.TB, in job.Job) *Workday {
	t.Helper()
	lib, err := belief.Embedded()
	if err != nil {
		t.Fatal(err)
	}
	w, err := NewWorkday(context.Background(), in, lib)
	if err != nil {
		t.Fatal(err)
	}
	return w
}

func hourDecision(t testing.TB, w *Workday, at Moment) HourDecision {
	t.Helper()
	x, err := w.Decide(context.Background(), at)
	if err != nil {
		t.Fatal(err)
	}
	return x
}

// at returns a moment of the first day after three dry hours, with a nowcast
// that says the same of every hour.
func at(hour, minute int, said belief.Said) Moment {
	m := Moment{Now: jobtest.Begin.At(0, jobtest.Zone).Add(time.Duration(hour*60+minute) * time.Minute), SetUp: true}
	for k := range m.Nowcast {
		m.Nowcast[k] = said
	}
	return m
}

func TestADryDayIsPouredPadByPad(t *testing.T) {
	in := jobtest.JobFor(jobtest.JobJ6(), jobtest.Weather(6, 60, 2, jobtest.Mild, jobtest.Dry), 4)
	w := workdayOf(t, in)
	order := w.Order()
	if len(order) != 3 {
		t.Fatalf("three bays can be placed before any infill: %v", order)
	}
	now := at(7, 30, belief.SaidDry)
	for i, name := range order {
		x := hourDecision(t, w, now)
		if x.Do != hourly.Place || x.Pad != name || x.Lost > 0.1 {
			t.Fatalf("pad %d: %+v, the next is %s", i, x, name)
		}
		now.Placed = append(now.Placed, PlacedToday{Pad: name, At: now.Now})
		now.Now = now.Now.Add(50 * time.Minute)
	}
	if x := hourDecision(t, w, now); x.Do != hourly.Stop || x.Pad != "" {
		t.Errorf("all that can be placed is placed: %+v", x)
	}
}

// Four pads share two forms; the two pads after them have forms of their own and
// are poured the same day. Nothing is gained by leaving them all.
func TestPadsWithFormsOfTheirOwnAreNotHeldUp(t *testing.T) {
	spec := jobtest.JobJ6()
	spec.FormSets = []pour.FormSet{{Name: "shared", Count: 2, Cells: 1}, {Name: "own", Count: 2, Cells: 1}}
	for i := range spec.Pads {
		spec.Pads[i].After, spec.Pads[i].FormSet = nil, &spec.FormSets[0].Name
		if i >= 4 {
			spec.Pads[i].FormSet = &spec.FormSets[1].Name
		}
	}
	w := workdayOf(t, jobtest.JobFor(spec, jobtest.Weather(6, 60, 2, jobtest.Mild, jobtest.Dry), 4))
	if got, p := w.Order(), spec.Pads; len(got) != 4 || !slices.Contains(got, p[4].Name) ||
		!slices.Contains(got, p[5].Name) {
		t.Errorf("two pads of each form set can be poured: %v", got)
	}
	if x := hourDecision(t, w, at(7, 30, belief.SaidDry)); x.Do != hourly.Place {
		t.Errorf("a dry day: %+v", x)
	}
}

func TestRainAheadHoldsTheNextPad(t *testing.T) {
	pours := func(_, hour int) float64 {
		if hour%24 >= 8 && hour%24 < 20 {
			return 4
		}
		return 0
	}
	if x := hourDecision(t, workdayOf(t, jobtest.JobFor(jobtest.JobJ4(), jobtest.Weather(6, 60, 2, jobtest.Mild, pours),
		4)), at(7, 30, belief.SaidWet)); x.Do == hourly.Place {
		t.Errorf("it is about to pour: %+v", x)
	}
	shower := func(_, hour int) float64 {
		if hour%24 == 8 {
			return 4
		}
		return 0
	}
	m := at(7, 30, belief.SaidDry)
	m.Nowcast[1] = belief.SaidHeavy
	if x := hourDecision(t, workdayOf(t, jobtest.JobFor(jobtest.JobJ4(), jobtest.Weather(6, 60, 2, jobtest.Mild,
		shower), 4)), m); x.Do != hourly.Wait || !(x.Pads > 1) {
		t.Errorf("a shower from 8 to 9, then a dry day: %+v", x)
	}
	w := workdayOf(t, jobtest.JobFor(jobtest.JobJ4(), jobtest.Weather(6, 60, 2, jobtest.Mild, jobtest.Dry), 4))
	m = at(9, 0, belief.SaidDry)
	m.Raining = true
	if x := hourDecision(t, w, m); x.Do == hourly.Place {
		t.Errorf("it rains: %+v", x)
	}
}

// TestNothingIsPlacedThatCannotBeFinished asks all day and holds what is placed
// against the crew's hours.
func TestNothingIsPlacedThatCannotBeFinished(t *testing.T) {
	in := jobtest.JobFor(jobtest.JobJ4(), jobtest.Weather(6, 60, 2, jobtest.Mild, jobtest.Dry), 4)
	w := workdayOf(t, in)
	shut := jobtest.Begin.At(in.Spec.Crew.LatestFinish, jobtest.Zone)
	for hour := 7; hour < 22; hour++ {
		x := hourDecision(t, w, at(hour, 0, belief.SaidDry))
		late := at(hour, 0, belief.SaidDry).Now.Add(3 * time.Hour).After(shut)
		if x.Do == hourly.Place && late {
			t.Errorf("a pad is placed at %d:00; work ends at %s", hour, shut)
		}
		if hour == 7 && x.Do != hourly.Place {
			t.Errorf("a dry day at 7: %+v", x)
		}
	}
}

func TestADayThatIsOffIsLeft(t *testing.T) {
	in := jobtest.JobFor(jobtest.JobJ4(), jobtest.Weather(6, 60, 2, jobtest.Mild, jobtest.Dry), 4)
	in.Skipped = []job.Skip{{Date: jobtest.Begin}}
	w := workdayOf(t, in)
	if x := hourDecision(t, w, at(8, 0, belief.SaidDry)); x.Do != hourly.Stop || len(w.Order()) != 0 {
		t.Errorf("the day was called off: %+v", x)
	}
	if x, err := w.Cover(context.Background(), at(8, 0, belief.SaidDry)); err != nil || len(x) != 0 {
		t.Errorf("%v, %v", x, err)
	}
}

func TestSoftPadsAreCoveredBeforeRain(t *testing.T) {
	spec := jobtest.JobJ4()
	spec.Stock.Covers = []pour.Cover{{Kind: "plastic", Pads: 1}}
	pours := func(_, hour int) float64 {
		if hour%24 >= 9 {
			return 4
		}
		return 0
	}
	for _, c := range []struct {
		rain func(m, h int) float64
		said belief.Said
		want int
	}{{jobtest.Dry, belief.SaidDry, 0}, {pours, belief.SaidHeavy, 1}} {
		w := workdayOf(t, jobtest.JobFor(spec, jobtest.Weather(6, 60, 2, jobtest.Mild, c.rain), 4))
		m := at(9, 0, c.said)
		for i, name := range w.Order()[:2] {
			m.Placed = append(m.Placed, PlacedToday{Pad: name, At: m.Now.Add(-time.Duration(60-30*i) * time.Minute)})
		}
		got, err := w.Cover(context.Background(), m)
		if err != nil {
			t.Fatal(err)
		}
		n := 0
		for _, x := range got {
			if x.Cover {
				n++
			}
			if math.IsNaN(x.Gain) {
				t.Errorf("a gain is unknown: %+v", x)
			}
		}
		if n != c.want || len(got) != 2 {
			t.Errorf("said %d: %d of 2 pads are covered with one sheet, want %d: %+v", c.said, n, c.want, got)
		}
	}
}

func BenchmarkWorkdayDecide(b *testing.B) {
	w := workdayOf(b, jobtest.BenchJob(jobtest.JobJ12()))
	m := at(8, 0, belief.SaidDry)
	m.Now = w.f.Job.Now.Add(3 * time.Hour)
	for b.Loop() {
		if _, err := w.Decide(context.Background(), m); err != nil {
			b.Fatal(err)
		}
	}
}

// TestANewerForecastCountsFromItsHour holds that a newer forecast decides, and
// that the hours before it stay the morning's.
func TestANewerForecastCountsFromItsHour(t *testing.T) {
	lib, err := belief.Embedded()
	if err != nil {
		t.Fatal(err)
	}
	pours := func(_, hour int) float64 {
		if hour%24 >= 8 {
			return 5
		}
		return 0
	}
	in := jobtest.JobFor(jobtest.JobJ4(), jobtest.Weather(6, 60, 2, jobtest.Mild, jobtest.Dry), 4)
	w := workdayOf(t, in)
	m := at(8, 0, belief.SaidDry)
	if x := hourDecision(t, w, m); x.Do != hourly.Place {
		t.Fatalf("a dry forecast: %+v", x)
	}
	wet := jobtest.Weather(6, 60, 2, jobtest.Mild, pours)
	if err := w.Renew(context.Background(), lib, wet, m.Now); err != nil {
		t.Fatal(err)
	}
	if x := hourDecision(t, w, m); x.Do == hourly.Place {
		t.Errorf("the newer forecast is rain all day: %+v", x)
	}
	now := int(m.Now.Sub(wet.Start) / time.Hour)
	got := spliced(in.Weather, wet, m.Now)
	for i := range got.Members {
		for h, mm := range got.Members[i].RainMM {
			want := in.Weather.Members[i].RainMM[h]
			if h >= now {
				want = wet.Members[i].RainMM[h]
			}
			if mm != want {
				t.Fatalf("member %d, hour %d: %g mm, want %g", i, h, mm, want)
			}
		}
	}
	short := *wet
	short.Start = m.Now.AddDate(0, 0, 9)
	if err := w.Renew(context.Background(), lib, &short, m.Now); err == nil {
		t.Error("a forecast that begins next week is taken")
	}
}
