package advise

import (
	"math"

	"dryslot/internal/message"
	"dryslot/internal/planner/job"
	"dryslot/internal/pour"
)

// better sets each morning's nearest better option. A change on the day itself
// comes first where it asks less of the builder than waiting for the next pour
// does; else it is that next pour.
func (f *Adviser) better(out []job.Morning, tried [][]change) {
	for i := range out {
		o := &out[i]
		if o.Score == nil || o.Verdict == job.VerdictPour && len(tried[i]) == 0 {
			continue
		}
		next := f.nextBetter(out, i)
		for _, c := range tried[i] {
			wait := math.Inf(1)
			if next >= 0 {
				wait = float64(next - i)
			}
			if c.effort < wait {
				score := c.Score
				o.Better = &pour.Option{Date: o.Date, ChangeData: c.ChangeData, Verdict: string(c.Verdict),
					Score: &score, ChanceUnharmed: c.ChanceUnharmed}
				break
			}
		}
		if o.Better == nil && next >= 0 && o.Verdict != job.VerdictPour {
			n := &out[next]
			o.Better = &pour.Option{Date: n.Date, ChangeData: message.New(job.PourInstead, message.Date("", n.Date)),
				Verdict: string(n.Verdict), Score: n.Score,
				ChanceUnharmed: n.Parts.Rain.ChanceUnharmed}
		}
	}
}

// nextBetter returns the first later morning with a pour that is better than a
// morning's own; -1 when none in sight is.
func (f *Adviser) nextBetter(out []job.Morning, i int) int {
	for n := i + 1; n < len(out); n++ {
		if len(out[n].Pads) > 0 && rank(out[n].Verdict) > rank(out[i].Verdict) {
			return n
		}
	}
	return -1
}
