package planner

import (
	"testing"

	"dryslot/internal/measure/check"
	"dryslot/internal/planner/job"
	"dryslot/internal/planner/jobtest"
	"dryslot/internal/pour"
)

// A heavy shower every afternoon, in most of the weathers: under a sheet the
// pads that are finished by then are safe (lost only above 7.6 mm in an hour).
func TestOwnedCoversArePlannedWhereTheySave(t *testing.T) {
	shower := func(m, h int) float64 {
		if h%24 == 12 && m%5 > 0 {
			return 4
		}
		return 0
	}
	spec := jobtest.JobJ4()
	spec.Crew.LatestFinish, spec.Limits.RainRisk = 15*60, 0.2
	in := jobtest.JobFor(spec, jobtest.Weather(8, 40, 1, jobtest.Mild, shower), 5)
	bare := mustMake(t, in)
	in.Spec.Stock.Covers = []pour.Cover{{Kind: "plastic", Pads: 2}}
	with := mustMake(t, in)
	count := func(r *job.Result) (pads, covered int) {
		for _, p := range r.Plan.Pours {
			pads += len(p.Pads)
			covered += len(p.CoversData)
			if len(p.CoversData) > 0 && len(p.Pads) > 2 {
				t.Errorf("%d pads under covers for 2", len(p.Pads))
			}
		}
		return pads, covered
	}
	before, _ := count(bare)
	after, covered := count(with)
	if covered == 0 || after < before {
		t.Errorf("%d pads planned without covers, %d with, %d pours covered", before, after, covered)
	}
	if faults := check.Plan(situation(t, &in), timed(with)); len(faults) > 0 {
		t.Error(faults)
	}
	// Covers that are planned for a morning do not count as in use on it.
	for _, m := range with.Mornings {
		if p := with.Plan.On(m.Date); p != nil && m.PadsPossible < len(p.Pads) {
			t.Errorf("%s: %d pads are planned, of %d possible", m.Date, len(p.Pads), m.PadsPossible)
		}
	}
	// The score says the same as the plan, and covers never lower it.
	for i := range bare.Mornings {
		if *with.Mornings[i].Score < *bare.Mornings[i].Score || with.Mornings[i].Verdict == job.VerdictPour &&
			*with.Mornings[i].Score == 0 {
			t.Errorf("morning %d: %s, score %d with covers, %d without", i, with.Mornings[i].Verdict,
				*with.Mornings[i].Score, *bare.Mornings[i].Score)
		}
		for _, r := range with.Mornings[i].Remedies {
			if len(with.Mornings[i].Pads) > 0 && with.Mornings[i].Pads[0].Cover == "plastic" &&
				r.WhatIf.Cover != nil && *r.WhatIf.Cover == "plastic" {
				t.Errorf("morning %d: %s is offered though it is planned", i, r.ChangeData)
			}
		}
	}
	// Dry weather: nothing to save.
	in.Weather = jobtest.Weather(8, 40, 1, jobtest.Mild, jobtest.Dry)
	if _, covered := count(mustMake(t, in)); covered > 0 {
		t.Error("covers are planned against no rain")
	}
}
