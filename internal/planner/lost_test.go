package planner

import (
	"slices"
	"testing"
	"time"

	"dryslot/internal/planner/jobtest"
	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

// A lost pad is found and broken out the same evening, so that it is poured
// again from the next morning on.
func TestALostPadIsNotPouredAgainTheSameDay(t *testing.T) {
	job := jobtest.JobFor(jobtest.JobJ4(), jobtest.Weather(4, 20, 1, jobtest.Mild, jobtest.Dry), 4)
	first := mustMake(t, job).Plan.Pours[0]
	lost := first.Start.Add(2 * time.Hour)
	name := first.Pads[0]
	job.Now = lost
	for _, p := range job.Spec.Pads {
		r := pour.PadRecord{Pad: p.Name, State: pour.Waiting}
		if p.Name == name {
			r.State, r.LostAt, r.Losses = pour.Lost, &lost, 1
		}
		job.Records = append(job.Records, r)
	}
	found := false
	for _, p := range mustMake(t, job).Plan.Pours {
		if slices.Contains(p.Pads, name) {
			found = true
			if !unit.DateOf(lost, job.Zone).Before(p.Date) {
				t.Errorf("%s was lost at %s and is poured again on %s", name, lost, p.Date)
			}
		}
	}
	if !found {
		t.Errorf("%s is not planned again", name)
	}
}
