package advise

import (
	"dryslot/internal/concrete"
	"dryslot/internal/message"
	"dryslot/internal/planner/job"
	"dryslot/internal/planner/policy"
	"dryslot/internal/pour"
	"dryslot/internal/takeoff"
	"math"
)

// writePlan writes the pours as a plan.
func (f *Adviser) writePlan() pour.Plan {
	m, path := f.model(), f.path
	p := pour.Plan{MadeAt: f.Job.Now, BecauseData: f.Job.Because, State: pour.Open, Pours: []pour.Pour{},
		Unplaced: []pour.Unplaced{}}
	for i := range path {
		x := &path[i]
		p.Pours = append(p.Pours, f.pourOf(f.Detail(x.Day, x.Start, x.Pads, x.Cell.Rule)))
	}
	p.Unplaced = f.unplaced(m, path)
	if len(m.Flat()) == 0 {
		p.State = pour.Done
	}
	p.Finish = f.Finish(m, path, len(p.Unplaced) == 0)
	p.Solver = pour.Solver{MethodData: message.New(m.Method()), ProvedOptimal: m.Optimal()}
	if !m.Optimal() {
		p.Solver.Gap = policy.Round4(m.Gap())
	}
	return p
}

func (f *Adviser) pourOf(d *policy.DayWork) pour.Pour {
	pads := make([]pour.Pad, len(d.Pads))
	for i, p := range d.Pads {
		pads[i] = f.Pads[p].Pad
	}
	bags := takeoff.PourBags(f.Spec, pads)
	out := pour.Pour{Date: f.Days[d.Day].Date, Start: f.Clock(d.Start), End: f.Clock(d.End), Pads: f.names(d.Pads),
		ChanceUnharmed: policy.Round4(d.Unharmed), Bags: bags,
		WaterL: math.Round(float64(bags)*f.Spec.Mix.WaterLPerBag*10) / 10, Covers: []string{},
		CoversData: []message.Message{}}
	if f.Cover.Cover != "" {
		out.CoversData = append(out.CoversData, message.New(job.CoverOver, message.Term("cover", f.Cover.Cover),
			message.Names("pads", out.Pads)))
	}
	if j := d.Binding(); j >= 0 {
		out.WhyData = f.threatTo(d, j)
	}
	return out
}

// Awaiting is the answer before the first forecast.
func Awaiting(in *job.Job) *job.Result {
	zero := 0
	res := &job.Result{Plan: pour.Plan{Version: &zero, MadeAt: in.Now, BecauseData: in.Because,
		State: pour.AwaitingForecast,
		Pours: []pour.Pour{}, Unplaced: []pour.Unplaced{},
		Solver: pour.Solver{MethodData: message.New(job.MethodNone)}}}
	for _, d := range in.Days[:len(in.Days)-1] {
		res.Mornings = append(res.Mornings, job.Morning{Date: d.Date, Verdict: job.VerdictHold, Daylight: lightOf(d),
			Pads: []job.PadTimes{}, Remedies: []job.Remedy{},
			Cautions: []job.Caution{{Code: "no-forecast", Severity: job.Act,
				Data:       []message.Message{message.New(job.CautionNoForecast)},
				SourceData: message.New(concrete.SourceJudgement)}},
			ReasonData: message.New(job.NoForecast)})
	}
	return res
}
