package planner

import (
	"math"
	"time"

	"dryslot/internal/daylight"
	"dryslot/internal/forecast"
	"dryslot/internal/message"
	"dryslot/internal/planner/crewday"
	"dryslot/internal/planner/harm"
	"dryslot/internal/planner/job"
)

// What the score is made of (judgement).
const (
	scoreRisk   = 2.5  // one point of chance of loss takes so many points of score
	scoreAmount = 0.3  // share of the score that the number of pads makes
	coldFull    = 10.0 // C: a slab that stays above it loses nothing for cold; ACI 347 counts hours from 10 C on
	hotFull     = 25.0 // C: concrete mixed below it loses nothing for heat (CSA A23.1 allows 10 to 35 C)
	hotNone     = 38.0
)

// score judges every morning. The score itself is that of a morning without
// the covers that may be planned, so that rain never raises it by bringing them
// out.
func (f *frame) score(m, bare *model, path []planned) []job.Morning {
	out := make([]job.Morning, len(f.days))
	var s state
	next := 0
	defer func() { f.spent = spending{} }()
	tried := make([][]change, len(f.days))
	for i := range f.days {
		var p *planned
		if next < len(path) && path[next].day == i {
			p = &path[next]
			next++
		}
		var shown *dayDetail
		out[i], shown = f.morningOf(m, i, s, p)
		if bare != m {
			points, _, _ := bare.f.points(bare, i)
			*out[i].Score = int(math.Round(100 * points))
		}
		tried[i] = f.remedies(m, &out[i], i, s, p, shown, len(path) == 0)
		for _, c := range tried[i] {
			out[i].Remedies = append(out[i].Remedies, c.Remedy)
		}
		if p != nil {
			s = m.step(s, p)
			f.spent.bags, f.spent.pos = f.spent.bags+f.dayNeed(p.pads), s.pos
		}
	}
	f.better(out, tried)
	return out
}

// step returns the state after a planned pour.
func (m *model) step(s state, p *planned) state {
	var n [mostGroups]uint8
	for _, pad := range p.pads {
		g, _ := m.place(pad)
		n[g]++
	}
	for g := range n {
		s.pos[g] += uint16(n[g])
	}
	b := batch{strip: m.readyFor(p.day, p.cell.strip), n: n}
	if m.curing {
		b.cured = m.readyFor(p.day, p.cell.cured)
	}
	m.push(&s, b)
	return s
}

// nominal is the order of pads that a morning is scored by, whatever the plan
// does on the mornings before it.
func (f *frame) nominal(m *model) []int {
	pads := m.flat()
	if len(pads) == 0 {
		pads = []int{0}
	}
	most, spent := 0, 0.0
	room := (float64(f.spec.Crew.LatestFinish-f.spec.Crew.EarliestStart) - f.crew.SetUp - f.crew.CleanUp) * float64(f.crew.People)
	for _, p := range pads {
		spent += f.pads[p].kind.Place + f.pads[p].kind.Finish
		if spent > room && most > 0 || most == crewday.MostPads {
			break
		}
		most++
	}
	return pads[:most]
}

// points returns a morning's score and where it comes from: the best start and
// number of pads. Every part can only fall when an hour gets wetter or the
// light shorter: members are counted for fixed starts on a fixed grid, and the
// number of pads is measured against the crew's own hours.
func (f *frame) points(m *model, day int) (score float64, start, n int) {
	d := &f.days[day]
	start = -1
	if !d.off.IsZero() || len(d.starts) == 0 {
		return 0, -1, 0
	}
	pads := f.nominal(m)
	t := m.tableOf(day, pads)
	if len(m.flat()) == 0 {
		t = f.tableFor(day, m.orderOf(pads))
	}
	for i, row := range t.cells {
		suit := -1.0
		for k := range row {
			c := &row[k]
			if k >= len(pads) || c.why != feasible || c.rule != crewday.FinishFirst {
				continue
			}
			if suit < 0 {
				suit = f.suit(d, t.order[0], d.starts[i])
			}
			v := max(0, 1-scoreRisk*c.risk) * (1 - scoreAmount + scoreAmount*float64(k+1)/float64(len(pads))) * suit
			if v > score || start < 0 {
				score, start, n = v, i, k+1
			}
		}
	}
	return score, start, n
}

// suit is what cold, heat and drying leave of a score, for a pad placed first
// thing after a start.
func (f *frame) suit(d *morning, k *crewday.Work, start float64) float64 {
	s := k.Slabs.Whole(d.ref, start+f.crew.SetUp)
	return f.temperatureSuit(d, k, start) * dryingSuit(s.Evap)
}

func (f *frame) temperatureSuit(d *morning, k *crewday.Work, start float64) float64 {
	s := k.Slabs.Whole(d.ref, start+f.crew.SetUp)
	out := 1.0
	if s.Freezes {
		return 0
	}
	if s.Coldest < coldFull {
		out = 0.5 + 0.5*max(0, s.Coldest)/coldFull
	}
	if hot := f.airMax(d); hot > hotFull {
		out *= max(0.3, 1-0.7*(hot-hotFull)/(hotNone-hotFull))
	}
	return out
}

// dryingSuit falls from 1 at 0.5 kg/m2/h (watch) to 0.6 at twice what calls for
// precautions, 1.0 kg/m2/h (ACI 305R, quoted in silicafume.org slide notes).
func dryingSuit(evap float64) float64 {
	if evap <= harm.DryingWatch || math.IsNaN(evap) {
		return 1
	}
	return max(0.6, 1-0.4*(evap-harm.DryingWatch)/(2*harm.DryingAct-harm.DryingWatch))
}

// airMax returns the warmest air of the crew's hours in the middle track; -Inf
// when it is not known.
func (f *frame) airMax(d *morning) float64 {
	out := math.Inf(-1)
	air := f.air(d.ref)
	for h := max(0, hourOf(d.noon-6*60)); h < min(hourAfter(d.noon+8*60), len(air)); h++ {
		if air[h] > out {
			out = air[h]
		}
	}
	return out
}

func (f *frame) air(track int) []float64 {
	if len(f.byTrk[track]) == 0 {
		return nil
	}
	return f.wx.Members[f.byTrk[track][0]].AirC
}

func lightOf(d daylight.Day) job.Daylight {
	out := job.Daylight{Case: d.Case}
	if !d.FirstLight.IsZero() {
		out.FirstLight = &d.FirstLight
	}
	if !d.Sunrise.IsZero() {
		out.Sunrise = &d.Sunrise
	}
	if !d.Sunset.IsZero() {
		out.Sunset = &d.Sunset
	}
	if !d.LastLight.IsZero() {
		out.LastLight = &d.LastLight
	}
	return out
}

func (f *frame) note() *job.ForecastNote {
	t := f.job.Trust
	return &job.ForecastNote{Feed: t.Feed, IssuedAt: t.IssuedAt, FetchedAt: t.FetchedAt, AgeMin: int(math.Round(t.Age.Minutes())), Members: len(f.skies), Attribution: t.Attribution}
}

// possible returns the most pads that a morning takes from a state within the
// risk limit, and the action that does.
func (m *model) possible(day int, s state) *action {
	var best *action
	defer m.exactly(day)()
	s.forget(day, m.curing)
	m.each(day, s, func(a *action) {
		if math.IsInf(a.cost[asNow], 1) {
			return
		}
		if best == nil || a.total > best.total || a.total == best.total && a.cost[asNow] < best.cost[asNow]-1e-12 {
			c := *a
			best = &c
		}
	})
	return best
}

// morning scores one date.
func (f *frame) morning(m *model, day int, s state, p *planned) job.Morning {
	out, _ := f.morningOf(m, day, s, p)
	return out
}

// morningOf is morning with the day's work that it shows.
func (f *frame) morningOf(m *model, day int, s state, p *planned) (job.Morning, *dayDetail) {
	d := &f.days[day]
	out := job.Morning{Date: d.date, Daylight: lightOf(d.light), Pads: []job.PadTimes{}, Cautions: []job.Caution{}, Remedies: []job.Remedy{}, Forecast: f.note()}
	points, start, n := f.points(m, day)
	score := int(math.Round(100 * points))
	out.Score = &score
	can := m.possible(day, s)
	if can != nil {
		out.PadsPossible = can.total
	}
	var shown *dayDetail
	switch {
	case p != nil:
		shown = f.detail(day, p.start, p.pads, p.cell.rule)
		out.Pads = f.padTimes(shown)
		out.Window = f.window(p, shown)
	case can != nil:
		i := can.option.start
		pads := f.taken(m.seqs, s.pos[:len(m.seqs)], can.n[:len(m.seqs)])
		shown = f.detail(day, d.starts[i], pads, can.table.cells[i][can.total-1].rule)
	case start >= 0:
		pads := f.nominal(m)
		t := m.tableOf(day, pads)
		if len(m.flat()) == 0 {
			t = f.tableFor(day, m.orderOf(pads))
		}
		shown = f.detail(day, d.starts[start], pads[:n], t.cells[start][n-1].rule)
	}
	f.parts(&out, d, shown)
	f.verdict(&out, m, day, s, p, can, shown)
	f.cautions(&out, d, shown, p != nil)
	f.settleVerdict(&out, shown)
	out.Chart = f.chart(d, shown)
	return out, shown
}

// window returns when to start: the planned start, and the latest start from
// which the same pads are still finished safely.
func (f *frame) window(p *planned, d *dayDetail) *job.Window {
	starts := f.days[p.day].starts
	latest := p.start
	n := len(p.pads)
	for i := p.index + 1; i < len(starts); i++ {
		if len(p.table.cells[i]) < n {
			break
		}
		c := &p.table.cells[i][n-1]
		if c.why != feasible || c.worst > f.risk+1e-9 {
			break
		}
		latest = starts[i]
	}
	return &job.Window{Start: f.clock(p.start), LatestStart: f.clock(latest), LastPlaced: f.clock(d.tally[len(d.tally)-1].place1), End: f.clock(d.end)}
}

// verdict says whether to pour, and gives the binding reason. Cautions may
// still lower it.
func (f *frame) verdict(out *job.Morning, m *model, i int, s state, p *planned, can *action, shown *dayDetail) {
	d := &f.days[i]
	out.Verdict = job.VerdictHold
	switch {
	case p != nil:
		out.Verdict = job.VerdictPour
		out.ReasonData = f.oneMore(f.threatTo(shown, max(0, shown.binding())), m, s, p, shown)
	case !d.off.IsZero():
		out.ReasonData = d.off
	case len(d.starts) == 0:
		out.ReasonData = message.New(TooLateToday, f.stops())
		if f.now < f.minute(d.date.At(f.spec.Crew.EarliestStart, f.zone)) {
			out.ReasonData = message.New(TooLittleLight)
		}
	case len(m.flat()) == 0 || m.done(&s):
		out.Verdict, out.ReasonData = f.byWeather(m, i, shown), message.New(NothingLeft)
	case can != nil:
		out.ReasonData = f.whyWait(shown)
	default:
		f.whyNot(out, m, i, s, shown)
	}
}

// byWeather is the verdict on a morning on which no pad is due.
func (f *frame) byWeather(m *model, i int, shown *dayDetail) job.Verdict {
	if !f.blocked(m, i).IsZero() || shown == nil || shown.binding() < 0 || shown.tally[shown.binding()].lost > f.risk {
		return job.VerdictHold
	}
	return job.VerdictPour
}

// settleVerdict lowers the verdict for what the cautions say.
func (f *frame) settleVerdict(out *job.Morning, shown *dayDetail) {
	if out.Verdict != job.VerdictPour {
		return
	}
	for i := range out.Cautions {
		if c := &out.Cautions[i]; c.Severity == job.Act && out.Verdict != job.VerdictCare {
			out.Verdict = job.VerdictCare
			f.whyCare(out, c, shown)
		}
	}
	switch {
	case f.job.Trust.Age > forecast.OldAfter:
		out.Verdict = job.VerdictHold
		out.ReasonData = message.New(ForecastOld, message.Duration("age", f.job.Trust.Age.Truncate(time.Hour)))
	case f.job.Trust.Age > forecast.AgedAfter:
		out.Verdict = job.VerdictCare
	}
}
