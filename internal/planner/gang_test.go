package planner

import (
	"slices"
	"testing"
	"time"

	"dryslot/internal/planner/jobtest"
	"dryslot/internal/pour"
)

// gangJob is six like pads without an order, and one gang form of three cells.
func gangJob() pour.Spec {
	spec := jobtest.GridJob(1, 6, 1, 1, 0.075, false, 3, 1, 1)
	spec.FormSets[0].Cells = 3
	return spec
}

// A gang form takes as many pads on one day as it has cells, and none more until all
// of them can be stripped, although a cell be empty.
func TestAGangFormIsFilledOnOneDayAndStrippedAsOne(t *testing.T) {
	wx := jobtest.Weather(9, 31, 1, jobtest.Mild, jobtest.Dry)
	in := jobtest.JobFor(gangJob(), wx, 6)
	plan := mustMake(t, in).Plan
	if len(plan.Pours) != 2 || len(plan.Pours[0].Pads) != 3 || len(plan.Pours[1].Pads) != 3 {
		t.Fatalf("three pads a pour fill the form: %+v", plan.Pours)
	}

	// One pad was placed alone a few hours ago: two cells are empty and taken.
	at := in.Now.Add(-4 * time.Hour)
	in.Records = []pour.PadRecord{{Pad: in.Spec.Pads[0].Name, State: pour.Placed, PlacedAt: &at,
		Castings: []pour.Casting{{At: at}}}}
	held := mustMake(t, in).Plan
	first := held.Pours[0]
	free := in
	free.Spec.Pads = slices.Clone(in.Spec.Pads)
	free.Spec.Pads[0].FormSet = nil // it lies in a form of its own
	other := mustMake(t, free).Plan.Pours[0]
	if !first.Start.After(other.Start) {
		t.Errorf("with the form in use %v start at %s, without at %s", first.Pads, first.Start, other.Start)
	}
}
