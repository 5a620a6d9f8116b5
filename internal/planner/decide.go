package planner

import (
	"context"
	"math"
	"time"

	"dryslot/internal/unit"
)

// Decision is what the policy does on the next morning that can still be
// decided: today while a start lies ahead, else tomorrow.
type Decision struct {
	Date     unit.Date
	Pour     bool      // false: wait for another morning
	Start    time.Time // of setting up
	End      time.Time // of cleaning up
	Pads     []PadTimes
	Expected float64 // expected loss from that morning on, in days
}

// Decide follows the policy for the next morning alone: the same choice that
// Make would plan for it without a last plan to hold to, without scoring the
// other mornings. The job needs weather. Days may be as few as today and one
// more; what lies beyond them is taken to be like them.
func Decide(job Job) (Decision, error) {
	if err := job.check(); err != nil {
		return Decision{}, err
	}
	if job.Weather == nil {
		first := job.Days[0].Date
		return Decision{Date: first}, nil
	}
	f, err := newFrame(context.Background(), &job)
	if err != nil {
		return Decision{}, err
	}
	m := newModel(f, f.first(), true, nil)
	var s state
	out := Decision{Date: f.days[m.first].date}
	s.forget(m.first, m.curing)
	a := m.decide(m.first, s)
	if a == nil {
		out.Expected = 1 + m.value(m.first+1, s)
		if m.done(&s) {
			out.Expected = 0
		}
		return out, nil
	}
	out.Expected = m.worth(m.first, &s, a)[decided]
	pads := f.taken(m.seqs, s.pos[:len(m.seqs)], a.n[:len(m.seqs)])
	i := a.option.start
	d := f.detail(m.first, f.days[m.first].starts[i], pads, a.table.cells[i][a.total-1].rule)
	out.Pour, out.Start, out.End, out.Pads = true, f.clock(d.start), f.clock(d.end), f.padTimes(d)
	return out, nil
}

// KeepPlacing is the rule for stopping on site: whether to begin another pad
// when rain is seen, or due by a nowcast, in the hours that it is soft first.
// nextMM is the rain in mm of this hour and the next, as far as it is told. A
// pad begun into light rain is lost with a chance that costs more than the
// morning's delay; rain of 2.5 mm in an hour loses it outright. Unknown (NaN)
// counts as rain.
func KeepPlacing(nextMM ...float64) bool {
	for _, mm := range nextMM {
		if math.IsNaN(mm) || mm >= rainLight {
			return false
		}
	}
	return true
}
