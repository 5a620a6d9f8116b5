package policy

import (
	"context"
	"testing"
	"time"

	"dryslot/internal/forecast/belief"
	"dryslot/internal/planner/jobtest"
)

func TestRainIsToldAsItIsDecidedOn(t *testing.T) {
	shower := func(_, hour int) float64 {
		if hour%24 >= 12 && hour%24 < 14 {
			return 4
		}
		return 0
	}
	w := workdayOf(t, jobtest.JobFor(jobtest.JobJ4(), jobtest.Weather(6, 60, 2, jobtest.Mild, shower), 4))
	m := at(9, 0, belief.SaidDry)
	m.Nowcast = belief.Nowcast{}
	until := []time.Time{m.Now.Add(-time.Hour), m.Now.Add(time.Hour), m.Now.Add(4 * time.Hour)}
	hours, reach, err := w.Rain(context.Background(), m, until)
	if err != nil || len(hours) == 0 || !hours[0].Time.Equal(m.Now) {
		t.Fatalf("%v, %+v", err, hours)
	}
	if reach[0] != 0 || reach[1] > reach[2] || reach[2] < 0.5 {
		t.Errorf("all members have the shower at noon: %v", reach)
	}
	if hours[3].Chance < hours[0].Chance || hours[3].MM <= hours[0].MM {
		t.Errorf("hour by hour: %+v", hours)
	}
	m.Raining = true
	hours, reach, err = w.Rain(context.Background(), m, until)
	const near = 1 - 1e-9 // weights are rounded
	if err != nil || hours[0].Chance < near || reach[1] < near || reach[0] != 0 {
		t.Errorf("it rains now: %v %+v %v", err, hours, reach)
	}
}
