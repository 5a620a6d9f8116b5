package advise

import (
	"math"

	"dryslot/internal/planner/job"
	"dryslot/internal/planner/policy"
	"dryslot/internal/pour"
)

// Adviser says what a builder must know of a job's mornings.
type Adviser struct {
	*policy.Prepared
	models []*policy.Model // the one that the plan goes by first, then the same job without or with other covers
	path   []policy.Planned
	plan   pour.Plan // made; the last plan of what is tried
}

// Make plans a job that is made ready, and explains the plan.
func Make(f *policy.Prepared) *job.Result {
	a := decide(f, len(f.Days))
	res := &job.Result{Plan: a.writePlan()}
	a.plan = res.Plan
	res.Mornings = a.score()
	for i := range a.path {
		if o := &res.Mornings[a.path[i].Day]; o.Verdict != job.VerdictHold {
			res.Plan.Pours[i].WhyData = o.ReasonData
		}
	}
	return res
}

// decide finds the pours of a job before a morning.
func decide(f *policy.Prepared, until int) *Adviser {
	h := f.HabitOf(f.Job.Last)
	all := policy.NewModel(f, f.First(), true, h).WithCovers()
	return &Adviser{Prepared: all[0].Prepared, models: all, path: all[0].PathUntil(until, h)}
}

func (f *Adviser) model() *policy.Model { return f.models[0] }

// best is the score of a morning of the job as it is: with whatever covers serve
// it best of those that the project owns, or none. So the score says the same as
// the plan, and rain that brings covers out does not raise it.
func (f *Adviser) best(day int) int {
	most := 0.0
	for _, m := range f.models {
		points, _, _ := (&Adviser{Prepared: m.Prepared}).points(m, day)
		most = max(most, points)
	}
	return int(math.Round(100 * most))
}
