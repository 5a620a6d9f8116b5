package policy

import (
	"cmp"
	"math"
	"slices"

	"dryslot/internal/planner/crewday"
	"dryslot/internal/pour"
)

// A policy decides, morning by morning, which pads to pour with the newest
// forecast. Its value is the expected loss from a state on: mornings until the
// last pad is placed, both ends counted, plus lost_pad_days for every pad
// expected to be lost, plus repourDays where any is lost and pourDays for every
// morning of work. Before each later
// morning more will be known than now; how much is what the skill of forecasts
// by lead says. The policy is found by dynamic programming over the state: how
// far each sequence of pads has come, and which pads poured lately are not
// stripped yet.

// repourDays is how much longer the job is expected to take when a pad must be
// poured again (judgement: one more morning).
const repourDays = 1.0

// pourDays is what a morning of work costs beside the morning itself, so that
// one pad is not poured for its own sake (judgement).
const pourDays = 0.02

// skills is the skill of rain forecasts against climatology by days of lead
// (Brier skill score): a day ahead 0.45, three days 0.25, a week nothing, on
// the morning itself a little more than a day ahead. The first follows a
// recalibrated 50-member ensemble against a gauge, 2007 to 2017; the others
// forecasters' own chances, Tampere 2003.
var skills = [...]struct{ days, skill float64 }{{0, 0.5}, {1, 0.45}, {3, 0.25}, {7, 0}}

func skill(days float64) float64 {
	for i := 1; i < len(skills); i++ {
		if a, b := skills[i-1], skills[i]; days < b.days {
			return a.skill + (b.skill-a.skill)*max(0, days-a.days)/(b.days-a.days)
		}
	}
	return 0
}

// gain is the share of what is still open about a morning that will be known
// when it comes, when it now lies so many days ahead.
func gain(days float64) float64 {
	s := skill(days)
	return (skill(0) - s) / (1 - s)
}

// signal is what may be known of a morning when it comes: that it stays dry,
// that it rains, or no more than now.
type signal struct{ chance, rain float64 }

// batch is the pads poured on one morning that may not be stripped yet.
type batch struct {
	Strip, Cured Ready
	n            [MostGroups]uint8
	further      uint8 // mornings that count as one with it, see push
}

// Ready is the first start from which something is so: the morning's number
// times 64 plus the start's.
type Ready uint16

const NotInSight Ready = math.MaxUint16

func ReadyAt(day, start int) Ready { return Ready(day*64 + start) }

// State is where a job stands on a morning.
type State struct {
	Pos   [MostGroups]uint16
	late  [3]batch // the last first; unused ones are zero
	lates uint8
}

// Model is a job as the policy sees it.
type Model struct {
	Prepared  *Prepared
	Seqs      [][]int
	Tie       tieBreak
	proved    bool
	Curing    bool // some order waits for curing
	placedToo bool // some order waits for placing only
	split     bool // every mixture of the sequences is tried
	First     int  // the morning decided now
	days      int
	Signals   bool // more will be known of later mornings
	uniform   bool
	values    []map[State]float64 // by morning
	options   map[optionKey][]option
	beyond    float64           // mornings that one pour takes beyond the horizon
	perDay    int               // pads of an ordinary day
	perPour   float64           // pourDays
	mlEver    int               // concrete from the bags on hand or ordered for any date, those used taken off
	where     [][2]int          // of each pad: its sequence and position there
	Rough     bool              // mornings other than exact are judged as if all pads were typical
	exact     int               // the morning being decided; -1: none
	Typical   *crewday.Work     // of the pads left, in the middle by the work that they are
	weighed   int               // actions so far
	coarse    bool              // only some numbers of pads are tried
	waiting   bool              // a form set or a pad waits for the stripping or curing of others
	pendings  []asked           // by morning: see pending
	held      []holding         // forms that are in use when the plan begins
	left      []int             // by form set: FormsLeft's own memory
	batched   []int             // the same
	lying     []lain            // covers of the path so far
	narrow    bool              // only the most promising ways are weighed, where a relaxed bound is known
	picked    []map[State]picks // by morning: what the policy does there
	relaxes   asked             // whether there is a relaxed bound
	relaxedTo *relaxed
	scratch   [][]candidate // by morning: memory of candidates
	tables    []*table      // of each morning, where all pads are alike: one serves any pads of it
}

type optionKey struct {
	day, n, from int
	order        *table
}

// option is a start on a morning for so many pads, none other being better in
// every way.
type option struct {
	strip, cured Ready
	Start        int
	cost         [4]float64 // by what is known of the morning; +Inf where it may not be done
	rain         float64    // share of the choosing members with rain in the day
	stop         [2][]share // without and with rain: the chances that only so many pads are placed
}

// share is the chance that so many pads are placed.
type share struct {
	pads   int
	chance float64
}

// The ways that an option is costed.
const (
	ifDry = iota
	asNow
	ifRain
	decided // as now, for pours not planned before
)

// NewModel returns the model of a job with the tie break that is expected to
// lose least. Where the order is not proved the other is tried too, unless there
// is a plan already: its order is kept, since no other gains as much as is asked
// of a change (keepDay).
func NewModel(f *Prepared, first int, signals bool, h *habit) *Model {
	m := ModelTied(f, first, signals, freeMostFirst)
	if m.proved || !m.uniform {
		return m
	}
	other := ModelTied(f, first, signals, blockFewestLast)
	switch {
	case slices.EqualFunc(m.Seqs, other.Seqs, slices.Equal[[]int]):
		return m
	case h != nil && m.leavingCost(h) <= other.leavingCost(h):
		return m
	case h != nil:
		return other
	}
	if m.value(first, State{}) <= other.value(first, State{})+1e-9 {
		return m
	}
	return other
}

// leavingCost is what it costs to leave the order of the last plan.
func (m *Model) leavingCost(h *habit) float64 {
	if h == nil {
		return 0
	}
	var s State
	for d := m.First; d < m.days; d++ {
		if p := h.pours[m.Prepared.Days[d].Date]; p != nil {
			n := m.countsOf(p, &s)
			if n == nil {
				return keepDay
			}
			for g := range n {
				s.Pos[g] += uint16(n[g])
			}
		}
	}
	return 0
}

func ModelTied(f *Prepared, first int, signals bool, tie tieBreak) *Model {
	m := &Model{
		Prepared: f,
		Tie:      tie,
		First:    first,
		days:     len(f.Days),
		Signals:  signals,
		options:  map[optionKey][]option{},
		perPour:  pourDays,
		mlEver:   f.mlEver(),
	}
	m.Seqs, m.proved = f.groups(tie)
	class := -1
	m.uniform = true
	total := 0
	for _, s := range m.Seqs {
		total += len(s)
		for _, p := range s {
			if class >= 0 && f.Pads[p].Class != class {
				m.uniform = false
			}
			class = f.Pads[p].Class
		}
	}
	m.split = len(m.Seqs) > 1 && total <= 12 && m.uniform
	for i := range f.Pads {
		for _, a := range f.Pads[i].After {
			m.Curing = m.Curing || a.Until == pour.Cured
			m.placedToo = m.placedToo || a.Until == pour.Placed
		}
	}
	m.coarse, m.narrow = total >= coarseFromPads, total >= narrowFromPads
	m.Rough, m.exact, m.Typical = m.coarse && !m.uniform, -1, m.middling()
	m.waiting = len(f.Spec.FormSets) > 0
	for i := range f.Pads {
		p := &f.Pads[i]
		m.waiting = m.waiting || slices.ContainsFunc(p.After, func(a edge) bool { return a.Until != pour.Placed })
	}
	m.held = f.holdings()
	m.left, m.batched = make([]int, len(f.Spec.FormSets)), make([]int, len(f.Spec.FormSets))
	m.values = make([]map[State]float64, m.days+1)
	for i := range m.values {
		m.values[i] = map[State]float64{}
	}
	return m
}

// middling returns the work of the pad in the middle by its person-minutes.
func (m *Model) middling() *crewday.Work {
	all := m.OrderOf(m.Flat())
	if len(all) == 0 {
		return nil
	}
	slices.SortStableFunc(all, func(a, b *crewday.Work) int { return cmp.Compare(a.Place+a.Finish, b.Place+b.Finish) })
	return all[len(all)/2]
}

// OrderOf returns the work of a day's pads.
func (m *Model) OrderOf(pads []int) []*crewday.Work {
	out := make([]*crewday.Work, len(pads))
	for i, p := range pads {
		out[i] = m.Prepared.Pads[p].Kind
	}
	return out
}

// TableOf returns the morning's table in which pouring these pads is row n.
func (m *Model) TableOf(day int, pads []int) *table {
	rough := m.Rough && day != m.exact
	if !m.uniform && !rough || len(m.Seqs) == 0 {
		return m.Prepared.TableFor(day, m.OrderOf(pads))
	}
	if m.tables == nil {
		m.tables = make([]*table, m.days)
	}
	if m.tables[day] == nil {
		most := 0
		for _, s := range m.Seqs {
			most += len(s)
		}
		order := make([]*crewday.Work, min(most, crewday.MostPads))
		for i := range order {
			order[i] = m.Typical
		}
		m.tables[day] = m.Prepared.TableFor(day, order)
	}
	return m.tables[day]
}

func (m *Model) Done(s *State) bool {
	for g := range m.Seqs {
		if int(s.Pos[g]) < len(m.Seqs[g]) {
			return false
		}
	}
	return true
}

// outOfBags reports whether the bags on hand and all that are ordered fall
// short of any pad that could come next. Nothing more is expected of such a
// job: else a pad that bags are there for would be waited with, to be poured
// together with one that they are not there for.
func (m *Model) outOfBags(s *State) bool {
	left := m.mlEver
	if left == noLimit {
		return false
	}
	least := noLimit
	for g, seq := range m.Seqs {
		for i, p := range seq {
			if i >= int(s.Pos[g]) {
				least = min(least, m.Prepared.Pads[p].Kind.ML)
				break
			}
			left -= m.Prepared.Pads[p].Kind.ML
		}
	}
	return left < least
}

// value returns the expected loss from a state before a morning's decision.
func (m *Model) value(day int, s State) float64 {
	if m.Done(&s) || m.outOfBags(&s) {
		return 0
	}
	if day >= m.days {
		return m.after(&s)
	}
	s.Forget(day, m.Curing)
	if v, ok := m.values[day][s]; ok {
		return v
	}
	if m.over() {
		return m.after(&s)
	}
	best, wait := m.unknown(day), m.waiter(day, &s)
	if wait.least == 0 {
		wait.settle(&best)
	}
	picks := m.picker()
	m.eachBelow(day, s, &best, func(a *Action) {
		if wait.before(a, &best) && best.below(&a.least) {
			return
		}
		worth := m.worth(day, &s, a)
		picks.offer(a, &worth)
		for q, v := range worth {
			best[q] = min(best[q], v)
		}
	})
	wait.last(&best)
	picks.keep(day, &s, &wait)
	v := 0.0
	for q, sg := range m.signalsOf(day) {
		if sg.chance > 0 {
			v += sg.chance * best[q]
		}
	}
	m.values[day][s] = v
	return v
}

// mostActions is how many actions one model weighs, and mostCoarse those of a
// job of more than 60 pads. The state of a job whose
// actions are more is worth what the mornings beyond the horizon would make it:
// the plan is then the best that was found, and not proved.
const (
	mostActions = 5_000_000
	mostCoarse  = 400_000
)

func (m *Model) over() bool { return m.weighed > mostActions || m.coarse && m.weighed > mostCoarse }

// Forget drops the pads poured lately that are surely stripped by a morning.
// Later ones are kept while an earlier one is pending: a batch's place in its
// sequence follows from those after it.
func (s *State) Forget(day int, curing bool) {
	from := ReadyAt(day, 0)
	keep := uint8(0)
	for i := range s.lates {
		b := &s.late[i]
		if b.Strip <= from {
			b.Strip = 0
		}
		if b.Cured <= from || !curing {
			b.Cured = 0
		}
		if b.Strip != 0 || b.Cured != 0 {
			keep = i + 1
		}
	}
	for i := keep; i < s.lates; i++ {
		s.late[i] = batch{}
	}
	s.lates = keep
}
