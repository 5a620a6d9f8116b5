package planner

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
	strip, cured ready
	n            [mostGroups]uint8
}

// ready is the first start from which something is so: the morning's number
// times 64 plus the start's.
type ready uint16

const notInSight ready = math.MaxUint16

func readyAt(day, start int) ready { return ready(day*64 + start) }

// state is where a job stands on a morning.
type state struct {
	pos   [mostGroups]uint16
	late  [3]batch // the last first; unused ones are zero
	lates uint8
}

// model is a job as the policy sees it.
type model struct {
	f         *frame
	seqs      [][]int
	lean      leaning
	proved    bool
	curing    bool // some order waits for curing
	placedToo bool // some order waits for placing only
	split     bool // every mixture of the sequences is tried
	first     int  // the morning decided now
	days      int
	signals   bool // more will be known of later mornings
	uniform   bool
	values    []map[state]float64 // by morning
	options   map[optionKey][]option
	beyond    float64       // mornings that one pour takes beyond the horizon
	perDay    int           // pads of an ordinary day
	perPour   float64       // pourDays
	mlEver    int           // concrete from the bags on hand or ordered for any date, those used taken off
	where     [][2]int      // of each pad: its sequence and position there
	rough     bool          // mornings other than exact are judged as if all pads were typical
	exact     int           // the morning being decided; -1: none
	typical   *crewday.Work // of the pads left, in the middle by the work that they are
	weighed   int           // actions so far
	coarse    bool          // only some numbers of pads are tried
	waiting   bool          // a form set or a pad waits for the stripping or curing of others
	pendings  []asked       // by morning: see pending
	held      []int         // pads of the log that may hold a form
	used      []int         // by form set: formsHold's own memory
	tables    []*table      // of each morning, where all pads are alike: one serves any pads of it
}

type optionKey struct {
	day, n, from int
	order        *table
}

// option is a start on a morning for so many pads, none other being better in
// every way.
type option struct {
	strip, cured ready
	start        int
	cost         [4]float64   // by what is known of the morning; +Inf where it may not be done
	rain         float64      // share of the choosing members with rain in the day
	stop         [2][]float64 // without and with rain: the chance that only so many pads are placed
}

// The ways that an option is costed.
const (
	ifDry = iota
	asNow
	ifRain
	decided // as now, for pours not planned before
)

// newModel returns the model of a job that leans the way that is expected to
// lose least. Where the order is not proved the other leaning is tried too; the
// last plan's order is kept where it costs little.
func newModel(f *frame, first int, signals bool, h *habit) *model {
	m := leaningModel(f, first, signals, freeSoon)
	if m.proved || !m.uniform {
		return m
	}
	other := leaningModel(f, first, signals, holdLittle)
	if m.value(first, state{})+m.strange(h) <= other.value(first, state{})+other.strange(h)+1e-9 {
		return m
	}
	return other
}

// strange is what it costs to leave the order of the last plan.
func (m *model) strange(h *habit) float64 {
	if h == nil {
		return 0
	}
	var s state
	for d := m.first; d < m.days; d++ {
		if p := h.pours[m.f.days[d].date]; p != nil {
			n := m.countsOf(p, &s)
			if n == nil {
				return keepDay
			}
			for g := range n {
				s.pos[g] += uint16(n[g])
			}
		}
	}
	return 0
}

func leaningModel(f *frame, first int, signals bool, lean leaning) *model {
	m := &model{f: f, lean: lean, first: first, days: len(f.days), signals: signals, options: map[optionKey][]option{}, perPour: pourDays, mlEver: f.mlEver()}
	m.seqs, m.proved = f.groups(lean)
	class := -1
	m.uniform = true
	total := 0
	for _, s := range m.seqs {
		total += len(s)
		for _, p := range s {
			if class >= 0 && f.pads[p].class != class {
				m.uniform = false
			}
			class = f.pads[p].class
		}
	}
	m.split = len(m.seqs) > 1 && total <= 12 && m.uniform
	for i := range f.pads {
		for _, a := range f.pads[i].after {
			m.curing = m.curing || a.until == pour.Cured
			m.placedToo = m.placedToo || a.until == pour.Placed
		}
	}
	m.coarse = total >= coarseFromPads
	m.rough, m.exact, m.typical = m.coarse && !m.uniform, -1, m.middling()
	m.waiting = len(f.spec.FormSets) > 0
	for i := range f.pads {
		p := &f.pads[i]
		m.waiting = m.waiting || slices.ContainsFunc(p.after, func(a edge) bool { return a.until != pour.Placed })
		if p.form >= 0 && (p.rec.State == pour.Placed || p.rec.State == pour.Finished) {
			m.held = append(m.held, i)
		}
	}
	m.used = make([]int, len(f.spec.FormSets))
	m.values = make([]map[state]float64, m.days+1)
	for i := range m.values {
		m.values[i] = map[state]float64{}
	}
	return m
}

// middling returns the work of the pad in the middle by its person-minutes.
func (m *model) middling() *crewday.Work {
	all := m.orderOf(m.flat())
	if len(all) == 0 {
		return nil
	}
	slices.SortStableFunc(all, func(a, b *crewday.Work) int { return cmp.Compare(a.Place+a.Finish, b.Place+b.Finish) })
	return all[len(all)/2]
}

// orderOf returns the work of a day's pads.
func (m *model) orderOf(pads []int) []*crewday.Work {
	out := make([]*crewday.Work, len(pads))
	for i, p := range pads {
		out[i] = m.f.pads[p].kind
	}
	return out
}

// tableOf returns the morning's table in which pouring these pads is row n.
func (m *model) tableOf(day int, pads []int) *table {
	rough := m.rough && day != m.exact
	if !m.uniform && !rough || len(m.seqs) == 0 {
		return m.f.tableFor(day, m.orderOf(pads))
	}
	if m.tables == nil {
		m.tables = make([]*table, m.days)
	}
	if m.tables[day] == nil {
		most := 0
		for _, s := range m.seqs {
			most += len(s)
		}
		order := make([]*crewday.Work, min(most, crewday.MostPads))
		for i := range order {
			order[i] = m.typical
		}
		m.tables[day] = m.f.tableFor(day, order)
	}
	return m.tables[day]
}

func (m *model) done(s *state) bool {
	for g := range m.seqs {
		if int(s.pos[g]) < len(m.seqs[g]) {
			return false
		}
	}
	return true
}

// outOfBags reports whether the bags on hand and all that are ordered fall
// short of any pad that could come next. Nothing more is expected of such a
// job: else a pad that bags are there for would be waited with, to be poured
// together with one that they are not there for.
func (m *model) outOfBags(s *state) bool {
	left := m.mlEver
	if left == noLimit {
		return false
	}
	least := noLimit
	for g, seq := range m.seqs {
		for i, p := range seq {
			if i >= int(s.pos[g]) {
				least = min(least, m.f.pads[p].kind.ML)
				break
			}
			left -= m.f.pads[p].kind.ML
		}
	}
	return left < least
}

// value returns the expected loss from a state before a morning's decision.
func (m *model) value(day int, s state) float64 {
	if m.done(&s) || m.outOfBags(&s) {
		return 0
	}
	if day >= m.days {
		return m.after(&s)
	}
	s.forget(day, m.curing)
	if v, ok := m.values[day][s]; ok {
		return v
	}
	if m.over() {
		return m.after(&s)
	}
	wait := 1 + m.value(day+1, s)
	best := [3]float64{wait, wait, wait}
	m.each(day, s, func(a *action) {
		worth := m.worth(day, &s, a)
		for q := range best {
			best[q] = min(best[q], worth[q])
		}
	})
	v := 0.0
	for q, sg := range m.signalsOf(day) {
		v += sg.chance * best[q]
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

func (m *model) over() bool { return m.weighed > mostActions || m.coarse && m.weighed > mostCoarse }

// worth returns the expected loss from a morning on when an action is taken,
// by what is known of the morning. Rain may stop it early.
func (m *model) worth(day int, s *state, a *action) [4]float64 {
	dry, rain := m.then(day, s, a, 0), m.then(day, s, a, 1)
	now := (1-a.option.rain)*dry + a.option.rain*rain
	return [4]float64{1 + a.cost[ifDry] + dry, 1 + a.cost[asNow] + now, 1 + a.cost[ifRain] + rain, 1 + a.cost[decided] + now}
}

// then returns the expected loss after an action's day, without or with rain.
func (m *model) then(day int, s *state, a *action, rain int) float64 {
	full := m.afterPads(day, s, a, a.total)
	stop := a.option.stop[rain]
	if stop == nil || stop[len(stop)-1] == 1 {
		return full
	}
	v := 0.0
	for k, p := range stop {
		switch {
		case p == 0:
		case k >= a.total:
			v += p * full
		default:
			v += p * m.afterPads(day, s, a, k)
		}
	}
	return v
}

// afterPads returns the expected loss after an action's day when the first k of
// its pads are placed.
func (m *model) afterPads(day int, s *state, a *action, k int) float64 {
	shared := a.ahead != nil && a.ahead.m == m
	if shared && !math.IsNaN(a.ahead.loss[k]) {
		return a.ahead.loss[k]
	}
	next := a.next
	if k < a.total {
		next = m.partly(s, a, k)
	}
	v := m.value(day+1, next)
	if shared {
		a.ahead.loss[k] = v
	}
	return v
}

// partly returns the state when only the first k pads of an action are placed.
func (m *model) partly(s *state, a *action, k int) state {
	next := *s
	if k == 0 {
		return next
	}
	var n [mostGroups]uint8
	for g := range m.seqs {
		n[g] = uint8(min(int(a.n[g]), k))
		k -= int(n[g])
		next.pos[g] += uint16(n[g])
	}
	m.push(&next, batch{strip: a.option.strip, cured: a.option.cured, n: n})
	return next
}

// signalsOf returns what may be known of a morning when it comes.
func (m *model) signalsOf(day int) [3]signal {
	p := m.f.rainShare(day)
	g := 0.0
	if m.signals && day > m.first {
		g = gain(float64(day-m.first) + 1) // the morning after next is two days ahead of tonight
	}
	return [3]signal{{g * (1 - p), 0}, {1 - g, p}, {g * p, 1}}
}

// rainShare returns the share of members with rain in a morning's hours.
func (f *frame) rainShare(day int) float64 {
	n := 0
	for _, b := range f.days[day].bad {
		n += flag(b)
	}
	return float64(n) / float64(len(f.skies))
}

// forget drops the pads poured lately that are surely stripped by a morning.
// Later ones are kept while an earlier one is pending: a batch's place in its
// sequence follows from those after it.
func (s *state) forget(day int, curing bool) {
	from := readyAt(day, 0)
	keep := uint8(0)
	for i := range s.lates {
		b := &s.late[i]
		if b.strip <= from {
			b.strip = 0
		}
		if b.cured <= from || !curing {
			b.cured = 0
		}
		if b.strip != 0 || b.cured != 0 {
			keep = i + 1
		}
	}
	for i := keep; i < s.lates; i++ {
		s.late[i] = batch{}
	}
	s.lates = keep
}
