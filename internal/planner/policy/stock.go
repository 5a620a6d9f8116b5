package policy

import (
	"math"
	"slices"

	"dryslot/internal/message"
	"dryslot/internal/planner/job"
	"dryslot/internal/takeoff"
	"dryslot/internal/unit"
)

// What is left of a bag goes into the next pad of the same day and no further,
// so a plan's need depends on which pads share a day. The pours of a plan are
// held to that need exactly, which is what takeoff lists to buy. Of
// mornings after the one being decided the policy does not know which pads will
// share a day: it counts the least that they can take, all on one day. So no
// planned pour lacks bags, and where the last bag is lacking the plan finds out
// on the morning that lacks it.

// noLimit stands for unlimited bags.
const noLimit = math.MaxInt32

// Spending is what the pours planned so far have taken.
type Spending struct {
	Bags int
	Pos  [MostGroups]uint16 // how far each sequence has come with them
}

// BagsBy returns the bags there are by a date, those used since the count
// taken off.
func (f *Prepared) BagsBy(date unit.Date) int {
	n, limited := f.Spec.Stock.BagsBy(date, f.Zone)
	if !limited {
		return noLimit
	}
	for i := range f.Pads {
		n -= takeoff.Used(f.Spec, f.Pads[i].Pad, f.Pads[i].Record, f.Spec.Stock.CountedAt)
	}
	return max(0, n)
}

// BagsAtLast returns the bags there are once all that is ordered has come, and
// the date of the last delivery or today.
func (f *Prepared) BagsAtLast() (int, unit.Date) {
	last := unit.DateOf(f.Job.Now, f.Zone)
	for _, x := range f.Spec.Stock.Deliveries {
		if last.Before(x.Date) {
			last = x.Date
		}
	}
	return f.BagsBy(last), last
}

// mlPerBag is the concrete that a bag makes in the forms, waste taken off.
func (f *Prepared) mlPerBag() float64 {
	return f.Spec.Mix.YieldLPerBag / (1 + f.Spec.WasteFraction) * 1000
}

// mlEver returns what the policy may count on by the last morning in sight,
// as concrete in ml (work.ml); noLimit when it reaches for every pad. What
// comes later is not waited for with pads that bags are there for.
func (f *Prepared) mlEver() int {
	have := f.Days[len(f.Days)-1].Bags
	var left []int
	for i := range f.Pads {
		if f.Pads[i].Left {
			left = append(left, i)
		}
	}
	if have == noLimit || f.DayNeed(left) <= have {
		return noLimit
	}
	return int(float64(have) * f.mlPerBag())
}

// tight reports whether bags could ever be lacking, each pad taking its own.
func (f *Prepared) tight() bool {
	need := 0
	for i := range f.Pads {
		if f.Pads[i].Left {
			need += f.DayNeed([]int{i})
		}
	}
	return need > f.Days[0].Bags
}

// spend takes the bags of a planned pour off, after which the job stands at s.
// What the policy had worked out before rested on the least that they could be.
func (m *Model) spend(pads []int, s *State) {
	f := m.Prepared
	f.Spent.Bags += f.DayNeed(pads)
	f.Spent.Pos = s.Pos
	if !f.tight() {
		return
	}
	done, rest := 0, []int(nil)
	for g, seq := range m.Seqs {
		for _, p := range seq[:s.Pos[g]] {
			done += f.Pads[p].Kind.ML
		}
		rest = append(rest, seq[s.Pos[g]:]...)
	}
	left := f.Days[len(f.Days)-1].Bags - f.Spent.Bags
	m.recount(noLimit)
	if f.DayNeed(rest) > left {
		m.recount(done + int(float64(left)*f.mlPerBag()))
	}
}

// unspend has the policy stand at the job's beginning again.
func (m *Model) unspend() {
	if m.Prepared.Spent == (Spending{}) {
		return
	}
	m.Prepared.Spent = Spending{}
	if m.Prepared.tight() {
		m.recount(m.Prepared.mlEver())
	}
}

// Stocked follows the policy as if more bags were at hand from the beginning.
func (m *Model) Stocked(more int) []Planned {
	g := *m.Prepared
	g.Days, g.Spent = slices.Clone(g.Days), Spending{}
	for i := range g.Days {
		g.Days[i].Bags += more
	}
	k := *m
	k.pendings, k.left, k.scratch = nil, slices.Clone(m.left), nil
	k.relaxes, k.relaxedTo, k.picked = notAsked, nil, nil
	k.Prepared, k.options, k.values = &g, map[optionKey][]option{}, make([]map[State]float64, len(m.values))
	k.recount(g.mlEver())
	return k.Path(nil)
}

func (m *Model) recount(ever int) {
	m.mlEver, m.weighed, m.picked = ever, 0, nil
	for i := range m.values {
		m.values[i] = map[State]float64{}
	}
}

// DayNeed returns the bags of pads that are placed on one day.
func (f *Prepared) DayNeed(pads []int) int {
	litres := 0.0
	for _, p := range pads {
		litres += f.Pads[p].litres
	}
	return takeoff.BagsFor(f.Spec, litres)
}

// BagsHold reports whether there are bags for a day's pads after all those
// poured before.
func (m *Model) BagsHold(day int, s *State, n *[MostGroups]uint8) bool {
	have := m.Prepared.Days[day].Bags
	if have == noLimit {
		return true
	}
	litres := 0.0
	for g, seq := range m.Seqs {
		for _, p := range seq[m.Prepared.Spent.Pos[g] : s.Pos[g]+uint16(n[g])] {
			litres += m.Prepared.Pads[p].litres
		}
	}
	return m.Prepared.Spent.Bags+takeoff.BagsFor(m.Prepared.Spec, litres) <= have
}

// bagsForAll returns the date from which there are bags for everything that is
// left, when planned as it is; ok is false when there never are.
func (f *Prepared) bagsForAll(path []Planned) (from unit.Date, ok bool) {
	done := map[int]bool{}
	need := 0
	for i := range path {
		need += f.DayNeed(path[i].Pads)
		for _, p := range path[i].Pads {
			done[p] = true
		}
	}
	var rest []int
	for i := range f.Pads {
		if f.Pads[i].Left && !done[i] {
			rest = append(rest, i)
		}
	}
	need += f.DayNeed(rest)
	today := unit.DateOf(f.Job.Now, f.Zone)
	if f.BagsBy(today) >= need {
		return today, true
	}
	for _, d := range f.Deliveries() {
		if today.Before(d) && f.BagsBy(d) >= need {
			return d, true
		}
	}
	return unit.Date{}, false
}

// Short says how many bags a pad lacks, and until which delivery; a zero date:
// none is on order.
func (f *Prepared) Short(pad, missing int, until unit.Date) message.Message {
	name, n := message.Name("pad", f.Pads[pad].Name), message.Count("missing", missing)
	if until.IsZero() {
		return message.New(job.BagsShort, name, n)
	}
	return message.New(job.BagsShortUntil, name, n, message.Date("", until))
}

// Deliveries returns the dates on which bags come, in order.
func (f *Prepared) Deliveries() []unit.Date {
	var dates []unit.Date
	for _, x := range f.Spec.Stock.Deliveries {
		dates = append(dates, x.Date)
	}
	slices.SortFunc(dates, func(a, b unit.Date) int { return a.DaysSince(b) })
	return dates
}
