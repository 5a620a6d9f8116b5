package planner

import (
	"strings"
	"testing"
	"time"

	"dryslot/internal/pour"
)

// With bags for some of the pads only, those are poured, and no end of the job
// is told while a pad can never get its bags.
func TestBagsThatDoNotReachForAllPads(t *testing.T) {
	four := 4
	job := jobFor(gridJob(1, 4, 1.2, 0.9, 0.075, false, 1, 0, 0), weather(6, 20, 1, mild, dry), 5) // 6 bags a pad
	job.Spec.Stock.BagsOnHand = &four
	job.Spec.Stock.Deliveries = []pour.Delivery{{Date: begin.AddDays(1), Bags: 8}}
	hold := func(what string, pads int) {
		t.Helper()
		p := mustMake(t, job)
		n := 0
		for _, x := range p.Plan.Pours {
			n += len(x.Pads)
		}
		if n != pads || len(p.Plan.Unplaced) != 4-pads {
			t.Fatalf("%s: %d pads are planned, %d not", what, n, len(p.Plan.Unplaced))
		}
		if f := p.Plan.Finish; f.Likely != nil || f.NineInTen != nil {
			t.Errorf("%s: an end is told: %v", what, f.Likely)
		}
		for _, u := range p.Plan.Unplaced {
			if !strings.Contains(u.Why, "bags") {
				t.Errorf("%s: %s", what, u.Why)
			}
		}
		if r := p.Mornings[4].Reason; !strings.Contains(r, "not enough bags for another pad") {
			t.Errorf("%s: the last morning's reason is %q", what, r)
		}
	}
	hold("bags for two", 2)

	lost := begin.AddDays(1).At(9*60, zone)
	job.Now, job.Days = lost.Add(12*time.Hour), light(begin.AddDays(1), 6, "05:00", "21:30")
	for i, p := range job.Spec.Pads {
		r := pour.PadRecord{Pad: p.Name, State: pour.Waiting}
		if i == 0 {
			r.State, r.LostAt, r.Losses = pour.Lost, &lost, 1
		}
		job.Records = append(job.Records, r)
	}
	hold("bags for one after a loss", 1)

	job.Spec.Stock.Deliveries = append(job.Spec.Stock.Deliveries, pour.Delivery{Date: begin.AddDays(30), Bags: 40})
	if f := mustMake(t, job).Plan.Finish; f.Likely == nil {
		t.Error("no end is told although bags for all pads are ordered")
	}
}
