package planner

import (
	"math"
	"slices"

	"dryslot/internal/message"
	"dryslot/internal/takeoff"
	"dryslot/internal/unit"
)

// What is left of a bag goes into the next pad of the same day and no further,
// so a plan's need depends on which pads share a day. The pours of a plan are
// held to that need exactly, as takeoff tells the builder to buy it. Of
// mornings after the one being decided the policy does not know which pads will
// share a day: it counts the least that they can take, all on one day. So no
// planned pour lacks bags, and where the last bag is lacking the plan finds out
// on the morning that lacks it.

// noLimit stands for unlimited bags.
const noLimit = math.MaxInt32

// spending is what the pours planned so far have taken.
type spending struct {
	bags int
	pos  [mostGroups]uint16 // how far each sequence has come with them
}

// bagsBy returns the bags there are by a date, those used since the count
// taken off.
func (f *frame) bagsBy(date unit.Date) int {
	n, limited := f.spec.Stock.BagsBy(date, f.zone)
	if !limited {
		return noLimit
	}
	for i := range f.pads {
		n -= takeoff.Used(f.spec, f.pads[i].Pad, f.pads[i].rec, f.spec.Stock.CountedAt)
	}
	return max(0, n)
}

// bagsAtLast returns the bags there are once all that is ordered has come, and
// the date of the last delivery or today.
func (f *frame) bagsAtLast() (int, unit.Date) {
	last := unit.DateOf(f.job.Now, f.zone)
	for _, x := range f.spec.Stock.Deliveries {
		if last.Before(x.Date) {
			last = x.Date
		}
	}
	return f.bagsBy(last), last
}

// mlPerBag is the concrete that a bag makes in the forms, waste taken off.
func (f *frame) mlPerBag() float64 {
	return f.spec.Mix.YieldLPerBag / (1 + f.spec.WasteFraction) * 1000
}

// mlEver returns what the policy may count on by the last morning in sight,
// as concrete in ml (work.ml); noLimit when it reaches for every pad. What
// comes later is not waited for with pads that bags are there for.
func (f *frame) mlEver() int {
	have := f.days[len(f.days)-1].bags
	var left []int
	for i := range f.pads {
		if f.pads[i].left {
			left = append(left, i)
		}
	}
	if have == noLimit || f.dayNeed(left) <= have {
		return noLimit
	}
	return int(float64(have) * f.mlPerBag())
}

// tight reports whether bags could ever be lacking, each pad taking its own.
func (f *frame) tight() bool {
	need := 0
	for i := range f.pads {
		if f.pads[i].left {
			need += f.dayNeed([]int{i})
		}
	}
	return need > f.days[0].bags
}

// spend takes the bags of a planned pour off, after which the job stands at s.
// What the policy had worked out before rested on the least that they could be.
func (m *model) spend(pads []int, s *state) {
	f := m.f
	f.spent.bags += f.dayNeed(pads)
	f.spent.pos = s.pos
	if !f.tight() {
		return
	}
	done, rest := 0, []int(nil)
	for g, seq := range m.seqs {
		for _, p := range seq[:s.pos[g]] {
			done += f.pads[p].kind.ML
		}
		rest = append(rest, seq[s.pos[g]:]...)
	}
	left := f.days[len(f.days)-1].bags - f.spent.bags
	m.recount(noLimit)
	if f.dayNeed(rest) > left {
		m.recount(done + int(float64(left)*f.mlPerBag()))
	}
}

// unspend has the policy stand at the job's beginning again.
func (m *model) unspend() {
	if m.f.spent == (spending{}) {
		return
	}
	m.f.spent = spending{}
	if m.f.tight() {
		m.recount(m.f.mlEver())
	}
}

// stocked follows the policy as if more bags were at hand from the beginning.
func (m *model) stocked(more int) []planned {
	g := *m.f
	g.days, g.spent = slices.Clone(g.days), spending{}
	for i := range g.days {
		g.days[i].bags += more
	}
	k := *m
	k.pendings, k.used = nil, slices.Clone(m.used)
	k.f, k.options, k.values = &g, map[optionKey][]option{}, make([]map[state]float64, len(m.values))
	k.recount(g.mlEver())
	return k.path(nil)
}

func (m *model) recount(ever int) {
	m.mlEver, m.weighed = ever, 0
	for i := range m.values {
		m.values[i] = map[state]float64{}
	}
}

// dayNeed returns the bags of pads that are placed on one day.
func (f *frame) dayNeed(pads []int) int {
	litres := 0.0
	for _, p := range pads {
		litres += f.pads[p].litres
	}
	return takeoff.BagsFor(f.spec, litres)
}

// bagsHold reports whether there are bags for a day's pads after all those
// poured before.
func (m *model) bagsHold(day int, s *state, n *[mostGroups]uint8) bool {
	have := m.f.days[day].bags
	if have == noLimit {
		return true
	}
	litres := 0.0
	for g, seq := range m.seqs {
		for _, p := range seq[m.f.spent.pos[g] : s.pos[g]+uint16(n[g])] {
			litres += m.f.pads[p].litres
		}
	}
	return m.f.spent.bags+takeoff.BagsFor(m.f.spec, litres) <= have
}

// bagsForAll returns the date from which there are bags for everything that is
// left, when planned as it is; ok is false when there never are.
func (f *frame) bagsForAll(path []planned) (from unit.Date, ok bool) {
	done := map[int]bool{}
	need := 0
	for i := range path {
		need += f.dayNeed(path[i].pads)
		for _, p := range path[i].pads {
			done[p] = true
		}
	}
	var rest []int
	for i := range f.pads {
		if f.pads[i].left && !done[i] {
			rest = append(rest, i)
		}
	}
	need += f.dayNeed(rest)
	today := unit.DateOf(f.job.Now, f.zone)
	if f.bagsBy(today) >= need {
		return today, true
	}
	for _, d := range f.deliveries() {
		if today.Before(d) && f.bagsBy(d) >= need {
			return d, true
		}
	}
	return unit.Date{}, false
}

// lackOfBags says which bags a pad lacks on every morning in sight, besides
// the planned pours; the zero message where they are there.
func (f *frame) lackOfBags(path []planned, pad int) message.Message {
	need, used := f.dayNeed([]int{pad}), 0
	for i := range path {
		used += f.dayNeed(path[i].pads)
	}
	left := f.days[len(f.days)-1].bags - used
	if left >= need {
		return message.Message{}
	}
	today := unit.DateOf(f.job.Now, f.zone)
	for _, d := range f.deliveries() {
		if today.Before(d) && f.bagsBy(d)-used >= need {
			return f.short(pad, need-max(0, left), d)
		}
	}
	ever, _ := f.bagsAtLast()
	return f.short(pad, need-max(0, ever-used), unit.Date{})
}

// short says how many bags a pad lacks, and until which delivery; a zero date:
// none is on order.
func (f *frame) short(pad, missing int, until unit.Date) message.Message {
	name, n := message.Name("pad", f.pads[pad].Name), message.Count("missing", missing)
	if until.IsZero() {
		return message.New(BagsShort, name, n)
	}
	return message.New(BagsShortUntil, name, n, message.Date("", until))
}

// deliveries returns the dates on which bags come, in order.
func (f *frame) deliveries() []unit.Date {
	var dates []unit.Date
	for _, x := range f.spec.Stock.Deliveries {
		dates = append(dates, x.Date)
	}
	slices.SortFunc(dates, func(a, b unit.Date) int { return a.DaysSince(b) })
	return dates
}

// bagsToo says that a morning lacks bags for the pad that could come next.
func (f *frame) bagsToo(m *model, d *morning, s *state) message.Message {
	next := -1
	for g, seq := range m.seqs {
		if i := int(s.pos[g]); i < len(seq) && (next < 0 || f.pads[seq[i]].kind.ML < f.pads[next].kind.ML) {
			next = seq[i]
		}
	}
	missing := f.dayNeed([]int{next}) - max(0, d.bags-f.spent.bags)
	for _, x := range f.deliveries() {
		if d.date.Before(x) {
			return f.short(next, missing, x)
		}
	}
	return f.short(next, missing, unit.Date{})
}
