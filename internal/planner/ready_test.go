package planner

import (
	"testing"
	"time"

	"dryslot/internal/planner/job"
	"dryslot/internal/planner/jobtest"
	"dryslot/internal/pour"
)

// A crew that has begun goes on with the pad in hand, from when it was begun, and
// not at the next half hour.
func TestACrewThatHasBegunGoesOnFromWhereItIs(t *testing.T) {
	in := jobtest.JobFor(jobtest.JobJ4(), jobtest.Weather(6, 60, 2, jobtest.Mild, jobtest.Dry), 4)
	clock := func(hour, minute int) time.Time {
		return jobtest.Begin.At(0, jobtest.Zone).Add(time.Duration(60*hour+minute) * time.Minute)
	}
	in.Now, in.Begun = clock(8, 50), true
	first := func() time.Time {
		for _, m := range mustMake(t, in).Mornings {
			if m.Date == jobtest.Begin && len(m.Pads) > 0 {
				return m.Pads[0].PlaceStart
			}
		}
		t.Fatal("nothing is poured today")
		return time.Time{}
	}
	for _, ready := range []time.Time{clock(8, 37), clock(8, 50)} {
		in.Ready = ready
		if got := first(); !got.Equal(ready) {
			t.Errorf("ready at %s: the next pad is placed from %s", ready, got)
		}
	}
	in.Ready = time.Time{}
	if got := first(); got.Before(in.Now) {
		t.Errorf("where it is not known, from %s on", got)
	}
}

// In the early afternoon of a day on which all is placed, tomorrow lacks pads and
// not light.
func TestWhenAllIsPlacedNothingIsLeftTomorrow(t *testing.T) {
	in := jobtest.JobFor(jobtest.JobJ4(), jobtest.Weather(6, 60, 2, jobtest.Mild, jobtest.Dry), 4)
	in.Now = jobtest.Begin.At(0, jobtest.Zone).Add(13 * time.Hour)
	for i, p := range in.Spec.Pads {
		at := in.Now.Add(time.Duration(i-5) * time.Hour)
		in.Records = append(in.Records, pour.PadRecord{Pad: p.Name, State: pour.Placed, PlacedAt: &at})
	}
	for _, m := range mustMake(t, in).Mornings {
		if m.Date != jobtest.Begin && m.ReasonData.Code != job.NothingLeft {
			t.Errorf("%s: %s", m.Date, m.ReasonData)
		}
	}
}
