package advise

import (
	"math"
	"time"

	"dryslot/internal/daylight"
	"dryslot/internal/forecast"
	"dryslot/internal/message"
	"dryslot/internal/planner/crewday"
	"dryslot/internal/planner/harm"
	"dryslot/internal/planner/job"
	"dryslot/internal/planner/policy"
)

// What the score is made of (judgement).
const (
	scoreRisk   = 2.5  // one point of chance of loss takes so many points of score
	scoreAmount = 0.3  // share of the score that the number of pads makes
	coldFull    = 10.0 // C: a slab that stays above it loses nothing for cold; ACI 347 counts hours from 10 C on
	hotFull     = 25.0 // C: concrete mixed below it loses nothing for heat (CSA A23.1 allows 10 to 35 C)
	hotNone     = 38.0
)

// score judges every morning.
func (f *Adviser) score() []job.Morning {
	m := f.model()
	out := make([]job.Morning, len(f.Days))
	defer func() { f.Spent = policy.Spending{} }()
	tried := make([][]change, len(f.Days))
	f.along(func(i int, s policy.State, p *policy.Planned) bool {
		var shown *policy.DayWork
		out[i], shown = f.morning(i, s, p)
		out[i].StandBy = f.standBy(m, i, s, p)
		tried[i] = f.remedies(m, &out[i], i, s, p, shown)
		for _, c := range tried[i] {
			out[i].Remedies = append(out[i].Remedies, c.Remedy)
		}
		return true
	})
	f.better(out, tried)
	return out
}

// along walks the mornings with where the job stands on each and its pour, until
// fn returns false.
func (f *Adviser) along(fn func(i int, s policy.State, p *policy.Planned) bool) {
	m := f.model()
	var s policy.State
	next := 0
	for i := range f.Days {
		var p *policy.Planned
		if next < len(f.path) && f.path[next].Day == i {
			p = &f.path[next]
			next++
		}
		if !fn(i, s, p) {
			return
		}
		if p != nil {
			s = m.Step(s, p)
			f.Spent.Bags, f.Spent.Pos = f.Spent.Bags+f.DayNeed(p.Pads), s.Pos
		}
	}
}

// nominal is the order of pads that a morning is scored by, whatever the plan
// does on the mornings before it.
func (f *Adviser) nominal(m *policy.Model) []int {
	pads := m.Flat()
	if len(pads) == 0 {
		pads = []int{0}
	}
	most, spent := 0, 0.0
	hours := float64(f.Spec.Crew.LatestFinish - f.Spec.Crew.EarliestStart)
	room := (hours - f.Crew.SetUp - f.Crew.CleanUp) * float64(f.Crew.People)
	for _, p := range pads {
		spent += f.Pads[p].Kind.Place + f.Pads[p].Kind.Finish
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
func (f *Adviser) points(m *policy.Model, day int) (score float64, start, n int) {
	d := &f.Days[day]
	start = -1
	if !d.Off.IsZero() || len(d.Starts) == 0 {
		return 0, -1, 0
	}
	pads := f.nominal(m)
	t := m.TableOf(day, pads)
	if len(m.Flat()) == 0 {
		t = f.TableFor(day, m.OrderOf(pads))
	}
	for i, row := range t.Cells {
		suit := -1.0
		for k := range row {
			c := &row[k]
			if k >= len(pads) || c.Why != policy.Feasible || c.Rule != crewday.FinishFirst {
				continue
			}
			if suit < 0 {
				suit = f.suit(d, t.Order[0], d.Starts[i])
			}
			v := max(0, 1-scoreRisk*c.Risk) * (1 - scoreAmount + scoreAmount*float64(k+1)/float64(len(pads))) * suit
			if v > score || start < 0 {
				score, start, n = v, i, k+1
			}
		}
	}
	return score, start, n
}

// suit is what cold, heat and drying leave of a score, for a pad placed first
// thing after a start.
func (f *Adviser) suit(d *policy.Day, k *crewday.Work, start float64) float64 {
	s := k.Slabs.Whole(d.Track, start+f.Crew.SetUp)
	return f.temperatureSuit(d, k, start) * dryingSuit(s.Evap)
}

func (f *Adviser) temperatureSuit(d *policy.Day, k *crewday.Work, start float64) float64 {
	s := k.Slabs.Whole(d.Track, start+f.Crew.SetUp)
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
func (f *Adviser) airMax(d *policy.Day) float64 {
	out := math.Inf(-1)
	air := f.Air(d.Track)
	for h := max(0, policy.HourOf(d.Noon-6*60)); h < min(policy.HourAfter(d.Noon+8*60), len(air)); h++ {
		if air[h] > out {
			out = air[h]
		}
	}
	return out
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

func (f *Adviser) note() *job.ForecastNote {
	t := f.Job.Trust
	return &job.ForecastNote{Feed: t.Feed, IssuedAt: t.IssuedAt, FetchedAt: t.FetchedAt,
		AgeMin: int(math.Round(t.Age.Minutes())), Members: len(f.Skies), Attribution: t.Attribution}
}

// morning scores one date, and returns the day's work that it shows.
func (f *Adviser) morning(day int, s policy.State, p *policy.Planned) (job.Morning, *policy.DayWork) {
	m := f.model()
	d := &f.Days[day]
	out := job.Morning{Date: d.Date, Daylight: lightOf(d.Light), Pads: []job.PadTimes{}, Cautions: []job.Caution{},
		Remedies: []job.Remedy{}, Forecast: f.note()}
	_, start, n := f.points(m, day)
	score := f.best(day)
	out.Score = &score
	can := m.Possible(day, s)
	if can != nil {
		out.PadsPossible = can.Total
	}
	var shown *policy.DayWork
	switch {
	case p != nil:
		shown = f.Detail(day, p.Start, p.Pads, p.Cell.Rule)
		out.Pads = f.padTimes(shown)
		out.Window = f.window(p, shown)
	case can != nil:
		i := can.Option.Start
		pads := f.Taken(m.Seqs, s.Pos[:len(m.Seqs)], can.N[:len(m.Seqs)])
		shown = f.Detail(day, d.Starts[i], pads, can.Table.Cells[i][can.Total-1].Rule)
	case start >= 0:
		pads := f.nominal(m)
		t := m.TableOf(day, pads)
		if len(m.Flat()) == 0 {
			t = f.TableFor(day, m.OrderOf(pads))
		}
		shown = f.Detail(day, d.Starts[start], pads[:n], t.Cells[start][n-1].Rule)
	}
	w := f.parts(&out, d, shown)
	f.verdict(&out, m, day, s, p, can, shown)
	f.cautions(&out, d, shown, w, p != nil)
	f.settleVerdict(&out, shown)
	out.Chart = f.chart(d, shown)
	return out, shown
}

// window returns when to start: the planned start, and the latest start from
// which the same pads are still finished safely.
func (f *Adviser) window(p *policy.Planned, d *policy.DayWork) *job.Window {
	starts := f.Days[p.Day].Starts
	latest := p.Start
	n := len(p.Pads)
	for i := p.Index + 1; i < len(starts); i++ {
		if len(p.Table.Cells[i]) < n {
			break
		}
		c := &p.Table.Cells[i][n-1]
		if c.Why != policy.Feasible || c.Worst > f.Risk+1e-9 {
			break
		}
		latest = starts[i]
	}
	return &job.Window{Start: f.Clock(p.Start), LatestStart: f.Clock(latest),
		LastPlaced: f.Clock(d.Tally[len(d.Tally)-1].Place1), End: f.Clock(d.End)}
}

// verdict says whether to pour, and gives the binding reason. Cautions may
// still lower it.
func (f *Adviser) verdict(out *job.Morning, m *policy.Model, i int, s policy.State, p *policy.Planned,
	can *policy.Action, shown *policy.DayWork) {
	d := &f.Days[i]
	out.Verdict = job.VerdictHold
	switch {
	case p != nil:
		out.Verdict = job.VerdictPour
		out.ReasonData = f.oneMore(f.threatTo(shown, max(0, shown.Binding())), m, s, p, shown)
	case !d.Off.IsZero():
		out.ReasonData = d.Off
	case len(d.Starts) == 0 && len(m.Flat()) == 0: // no pad gives a length of work to look for a start for
		out.ReasonData = message.New(job.NothingLeft)
	case len(d.Starts) == 0:
		out.ReasonData = message.New(job.TooLateToday, f.stops())
		if f.Now < f.Minute(d.Date.At(f.Spec.Crew.EarliestStart, f.Zone)) {
			out.ReasonData = message.New(job.TooLittleLight)
		}
	case len(m.Flat()) == 0 || m.Done(&s):
		out.Verdict, out.ReasonData = f.byWeather(m, i, shown), message.New(job.NothingLeft)
	case can != nil:
		out.ReasonData = f.whyWait(shown)
	default:
		f.whyNot(out, m, i, s, shown)
	}
}

// byWeather is the verdict on a morning on which no pad is due.
func (f *Adviser) byWeather(m *policy.Model, i int, shown *policy.DayWork) job.Verdict {
	if !f.blocked(m, i).IsZero() || shown == nil || shown.Binding() < 0 || shown.Tally[shown.Binding()].Lost > f.Risk {
		return job.VerdictHold
	}
	return job.VerdictPour
}

// settleVerdict lowers the verdict for what the cautions say.
func (f *Adviser) settleVerdict(out *job.Morning, shown *policy.DayWork) {
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
	case f.Job.Trust.Age > forecast.OldAfter:
		out.Verdict = job.VerdictHold
		out.ReasonData = message.New(job.ForecastOld, message.Duration("age", f.Job.Trust.Age.Truncate(time.Hour)))
	case f.Job.Trust.Age > forecast.AgedAfter:
		out.Verdict = job.VerdictCare
	}
}
