// Package planner owns the deciding: a crew's day, the risk to each pad, a
// morning's score, the plan over all mornings, the difference of two plans,
// remedies and reasons. It has no clock and does no I/O; daylight, slab
// behaviour and scenarios are handed in.
//
//	res, err := planner.Make(ctx, job)
package planner

import (
	"context"
	"math"

	"dryslot/internal/message"
	"dryslot/internal/planner/job"
	"dryslot/internal/pour"
	"dryslot/internal/takeoff"
	"dryslot/internal/unit"
)

// planned is one pour of a plan being made.
type planned struct {
	day    int
	start  float64
	index  int // of the start
	pads   []int
	cell   *cell
	table  *table
	before state // where the job stood that morning
}

// Make plans a job. The same job gives the same result, byte for byte; the
// solver's time is left 0 for the caller to fill. Errors are fault.Invalid: a
// job without zone, days, pads or slabs; or the context's, wrapped, when it is
// done before the plan is: half a plan is never returned.
func Make(ctx context.Context, in job.Job) (res *job.Result, err error) {
	defer caught(&err)
	if err := checkJob(&in); err != nil {
		return nil, err
	}
	if in.Weather == nil {
		return awaiting(&in), nil
	}
	f, err := newFrame(ctx, &in)
	if err != nil {
		return nil, err
	}
	h := f.habitOf(in.Last)
	bare := newModel(f, f.first(), true, h)
	m := bare.covered()
	path := m.path(h)
	res = &job.Result{Plan: m.f.plan(m, path)}
	res.Mornings = m.f.score(m, bare, path)
	for i := range path {
		if o := &res.Mornings[path[i].day]; o.Verdict != job.VerdictHold {
			res.Plan.Pours[i].WhyData = o.ReasonData
		}
	}
	return res, nil
}

// first returns the first morning on which work can still begin.
func (f *frame) first() int {
	for i := range f.days {
		if len(f.days[i].starts) > 0 {
			return i
		}
		if f.days[i].date != unit.DateOf(f.job.Now, f.zone) && !f.days[i].date.Before(unit.DateOf(f.job.Now, f.zone)) {
			return i
		}
	}
	return max(0, len(f.days)-1)
}

// path follows the policy with what is known now, and the habit where that
// costs little: the pours that finish the job if nothing is lost and the
// forecast stays as it is.
func (m *model) path(h *habit) []planned {
	var out []planned
	var s state
	defer m.unspend()
	for day := m.first; day < m.days && !m.done(&s); day++ {
		s.forget(day, m.curing)
		best := m.prefer(day, s, m.decide(day, s), h)
		if best == nil {
			continue
		}
		pads := m.f.taken(m.seqs, s.pos[:len(m.seqs)], best.n[:len(m.seqs)])
		i := m.keptStart(day, best, h)
		out = append(out, planned{day: day, start: m.f.days[day].starts[i], index: i, pads: pads, table: best.table,
			cell: &best.table.cells[i][best.total-1], before: s})
		s = best.next
		m.spend(pads, &s)
	}
	return out
}

// exactly has a morning judged for its own pads until it is called off.
func (m *model) exactly(day int) (off func()) {
	m.exact = day
	return func() { m.exact = -1 }
}

// decide returns the best way to pour on a morning with what is known now; nil
// to wait.
func (m *model) decide(day int, s state) *action {
	var best *action
	defer m.exactly(day)()
	least := 1 + m.value(day+1, s)
	m.each(day, s, func(a *action) {
		if math.IsInf(a.cost[decided], 1) {
			return
		}
		v := m.worth(day, &s, a)[decided]
		if v < least-1e-9 || v < least+1e-9 && best == nil {
			least = v
			c := *a
			best = &c
		}
	})
	return best
}

// plan writes a path as a plan.
func (f *frame) plan(m *model, path []planned) pour.Plan {
	p := pour.Plan{MadeAt: f.job.Now, BecauseData: f.job.Because, State: pour.Open, Pours: []pour.Pour{}, Unplaced: []pour.Unplaced{}}
	for i := range path {
		x := &path[i]
		p.Pours = append(p.Pours, f.pourOf(f.detail(x.day, x.start, x.pads, x.cell.rule)))
	}
	p.Unplaced = f.unplaced(m, path)
	if len(m.flat()) == 0 {
		p.State = pour.Done
	}
	p.Finish = f.finish(m, path, len(p.Unplaced) == 0)
	p.Solver = pour.Solver{MethodData: message.New(m.method()), ProvedOptimal: m.optimal()}
	if !m.optimal() {
		p.Solver.Gap = round4(m.gap())
	}
	return p
}

func (f *frame) pourOf(d *dayDetail) pour.Pour {
	pads := make([]pour.Pad, len(d.pads))
	for i, p := range d.pads {
		pads[i] = f.pads[p].Pad
	}
	bags := takeoff.PourBags(f.spec, pads)
	out := pour.Pour{Date: f.days[d.day].date, Start: f.clock(d.start), End: f.clock(d.end), Pads: f.names(d.pads),
		ChanceUnharmed: round4(d.unharmed), Bags: bags, WaterL: math.Round(float64(bags)*f.spec.Mix.WaterLPerBag*10) / 10, Covers: []string{}, CoversData: []message.Message{}}
	if f.cover.Cover != "" {
		out.CoversData = append(out.CoversData, message.New(CoverOver, message.Term("cover", f.cover.Cover),
			message.Names("pads", out.Pads)))
	}
	if j := d.binding(); j >= 0 {
		out.WhyData = f.threatTo(d, j)
	}
	return out
}

// awaiting is the answer before the first forecast.
func awaiting(in *job.Job) *job.Result {
	zero := 0
	res := &job.Result{Plan: pour.Plan{Version: &zero, MadeAt: in.Now, BecauseData: in.Because, State: pour.AwaitingForecast,
		Pours: []pour.Pour{}, Unplaced: []pour.Unplaced{}, Solver: pour.Solver{MethodData: message.New(MethodNone)}}}
	for _, d := range in.Days[:len(in.Days)-1] {
		res.Mornings = append(res.Mornings, job.Morning{Date: d.Date, Verdict: job.VerdictHold, Daylight: lightOf(d), Pads: []job.PadTimes{}, Remedies: []job.Remedy{},
			Cautions:   []job.Caution{{Code: "no-forecast", Severity: job.Act, Data: []message.Message{message.New(CautionNoForecast)}, Source: "judgement"}},
			ReasonData: message.New(NoForecast)})
	}
	return res
}

// optimal reports whether the plan is proved to be the best.
func (m *model) optimal() bool { return m.proved && !m.coarse && !m.over() }

func (m *model) method() message.Code {
	if m.proved {
		return MethodExpectedLoss
	}
	return MethodOneOrder
}
