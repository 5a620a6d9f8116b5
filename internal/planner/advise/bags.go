package advise

import (
	"dryslot/internal/message"
	"dryslot/internal/planner/policy"
	"dryslot/internal/unit"
)

// lackOfBags says which bags a pad lacks on every morning in sight, besides
// the planned pours; the zero message where they are there.
func (f *Adviser) lackOfBags(path []policy.Planned, pad int) message.Message {
	need, used := f.DayNeed([]int{pad}), 0
	for i := range path {
		used += f.DayNeed(path[i].Pads)
	}
	left := f.Days[len(f.Days)-1].Bags - used
	if left >= need {
		return message.Message{}
	}
	today := unit.DateOf(f.Job.Now, f.Zone)
	for _, d := range f.Deliveries() {
		if today.Before(d) && f.BagsBy(d)-used >= need {
			return f.Short(pad, need-max(0, left), d)
		}
	}
	ever, _ := f.BagsAtLast()
	return f.Short(pad, need-max(0, ever-used), unit.Date{})
}

// bagsToo says that a morning lacks bags for the pad that could come next.
func (f *Adviser) bagsToo(m *policy.Model, d *policy.Day, s *policy.State) message.Message {
	next := -1
	for g, seq := range m.Seqs {
		if i := int(s.Pos[g]); i < len(seq) && (next < 0 || f.Pads[seq[i]].Kind.ML < f.Pads[next].Kind.ML) {
			next = seq[i]
		}
	}
	missing := f.DayNeed([]int{next}) - max(0, d.Bags-f.Spent.Bags)
	for _, x := range f.Deliveries() {
		if d.Date.Before(x) {
			return f.Short(next, missing, x)
		}
	}
	return f.Short(next, missing, unit.Date{})
}
