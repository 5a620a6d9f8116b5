package planner

import (
	"fmt"
	"math"
	"slices"

	"dryslot/internal/planner/job"
	"dryslot/internal/pour"
)

// mostCounted is up to how many members are told as so many of so many
// forecasts. More than any ensemble has, they were drawn from one forecast's
// chances, and a builder is told the chance (judgement).
const mostCounted = 60

// in says in how many forecasts something comes, or how likely it is.
func (f *frame) in(n int) string {
	total := len(f.skies)
	switch {
	case total > mostCounted:
		return "with a chance of " + percent(float64(n)/float64(total))
	case n == total && total > 1:
		return fmt.Sprintf("in all %d forecasts", total)
	case total == 1:
		return "in the forecast"
	}
	return fmt.Sprintf("in %d of %d forecasts", n, total)
}

// lbPerFt2 is a kilogram per square metre in pounds per square foot (exact
// factors of NIST SP 811).
const lbPerFt2 = 0.204816

// percent writes a chance so that neither certainty is claimed nor a small
// chance hidden.
func percent(p float64) string {
	switch {
	case p > 0 && p < 0.01:
		return "under 1 %"
	case p > 0.99:
		return "over 99 %"
	}
	return fmt.Sprintf("%.0f %%", p*100)
}

// worstOf returns what threatens a pad in the most members, and in how many.
func (t *tally) worst() (threat, int) {
	worst, most := noThreat, 0
	for w := rainOnSoft; w <= frozenBase; w++ {
		if t.by[w] > most {
			worst, most = w, t.by[w]
		}
	}
	if (worst == rainOnSoft || worst == lightRain) && t.by[rainOnSoft] > 0 {
		return rainOnSoft, t.by[rainOnSoft] + t.by[lightRain]
	}
	return worst, most
}

// threatTo says what most threatens a pad, in one line.
func (f *frame) threatTo(d *dayDetail, j int) string {
	t := &d.tally[j]
	name := f.pads[d.pads[j]].Name
	sets := f.moment(d.day, t.place0+t.slab.Initial)
	worst, n := t.worst()
	switch worst {
	case rainOnSoft:
		return fmt.Sprintf("rain from %s %s would reach %s before it sets at about %s", f.hourText(t.firstHour), f.in(n), name, sets)
	case lightRain:
		return fmt.Sprintf("light rain from %s %s would reach %s before it is finished at about %s", f.hourText(t.firstHour), f.in(n), name, f.moment(d.day, t.fin1))
	case frost:
		if math.IsInf(t.slab.FrostSafe, 1) {
			return fmt.Sprintf("frost %s would reach %s before it is strong enough", f.in(n), name)
		}
		return fmt.Sprintf("frost %s would reach %s before it is safe from it at about %s", f.in(n), name, f.moment(d.day, t.place0+t.slab.FrostSafe))
	case unfinishable:
		return fmt.Sprintf("%s %s could not be finished inside its window by last light at %s or by %s, when the crew stops", f.in(n), name, f.hm(f.days[d.day].hours.Dark), f.spec.Crew.LatestFinish)
	case unknownRain:
		return fmt.Sprintf("the rain is unknown in some hours before %s sets at about %s", name, sets)
	case frozenBase:
		return fmt.Sprintf("the base is frozen at %s %s: feel it before you mix", f.hm(d.start), f.in(n))
	}
	switch total := len(f.skies); {
	case total > mostCounted:
		return fmt.Sprintf("no rain in sight that would harm %s before it sets at about %s", name, sets)
	case total == 1:
		return fmt.Sprintf("the forecast brings no rain that would harm %s before it sets at about %s", name, sets)
	default:
		return fmt.Sprintf("none of %d forecasts brings rain that would harm %s before it sets at about %s", total, name, sets)
	}
}

// hm writes a minute as a wall clock.
func (f *frame) hm(min float64) string {
	if math.IsInf(min, 0) || math.IsNaN(min) {
		return "a time beyond the forecast"
	}
	return f.clock(min).Format("15:04")
}

// moment writes a minute as a wall clock, with the weekday where it is not on
// the date of a morning.
func (f *frame) moment(day int, min float64) string {
	if math.IsInf(min, 0) || math.IsNaN(min) {
		return "a time beyond the forecast"
	}
	t := f.clock(min)
	if y, m, d := t.Date(); f.days[day].date.Year == y && f.days[day].date.Month == m && f.days[day].date.Day == d {
		return t.Format("15:04")
	}
	return t.Format("Mon 15:04")
}

func (f *frame) hourText(h int) string {
	if h < 0 {
		return "an hour unknown"
	}
	return f.hm(float64(h) * 60)
}

// oneMore says what keeps the next pad off a pour that nothing threatens; empty
// where it is not the weather.
func (f *frame) oneMore(m *model, s state, p *planned, shown *dayDetail) string {
	n := len(p.pads)
	if w, _ := shown.tally[max(0, shown.binding())].worst(); w != noThreat || len(p.table.cells[p.index]) <= n {
		return ""
	}
	if c := &p.table.cells[p.index][n]; c.why != feasible || c.worst <= f.risk {
		return ""
	}
	for g, seq := range m.seqs {
		var today [mostGroups]uint8
		for _, pad := range p.pads {
			h, _ := m.place(pad)
			today[h]++
		}
		i := int(s.pos[g] + uint16(today[g]))
		if i >= len(seq) || !m.free(p.day, p.index, &s, &today, seq[i], 0, n) {
			continue
		}
		d := f.detail(p.day, p.start, append(slices.Clone(p.pads), seq[i]), p.cell.rule)
		if len(d.tally) > n && d.tally[n].lost > f.risk {
			return "; with one more pad, " + f.threatTo(d, n)
		}
		break
	}
	return ""
}

// whyWait says why a morning that bears a pour has none.
func (f *frame) whyWait(shown *dayDetail) string {
	j := max(0, shown.binding())
	if w, _ := shown.tally[j].worst(); w == noThreat {
		return "nothing speaks against it, but the pads fit better on a later morning"
	}
	return "waiting is expected to lose less: " + f.threatTo(shown, j)
}

// whyCare gives a pour that calls for care its binding reason: the caution,
// where neither rain nor frost threatens it more.
func (f *frame) whyCare(out *job.Morning, c *job.Caution, shown *dayDetail) {
	if shown == nil || len(shown.tally) == 0 || len(out.Pads) == 0 {
		return
	}
	j := max(0, shown.binding())
	if w, _ := shown.tally[j].worst(); w != noThreat {
		return
	}
	name := f.pads[shown.pads[j]].Name
	switch e := &out.Parts.Evaporation; {
	case c.Code == "drying" && e.PeakKgM2H != nil && e.At != nil:
		out.Reason = fmt.Sprintf("the surface would dry at about %.2f kg/m2/h (%.2f lb/ft2/h) at %s, while it is soft: from %.1f kg/m2/h (%.1f lb/ft2/h) on it may crack", *e.PeakKgM2H,
			*e.PeakKgM2H*lbPerFt2, e.At.Format("15:04"), c.Figure.Limit, c.Figure.Limit*lbPerFt2)
	case c.Code == "cold-overnight" && c.Figure != nil:
		out.Reason = fmt.Sprintf("%s would cool to %s before it is safe from frost", name, both(c.Figure.Value))
	case c.Code == "cold-mix" && c.Figure != nil:
		out.Reason = fmt.Sprintf("the mix would come to %s; in this cold it should have %s or more", both(c.Figure.Value), both(c.Figure.Limit))
	case c.Code == "hot-mix" && c.Figure != nil:
		out.Reason = fmt.Sprintf("the mix would come to %s; it should stay below %s", both(c.Figure.Value), both(c.Figure.Limit))
	case c.Code == "crew-heat" && c.Figure != nil:
		out.Reason = fmt.Sprintf("the heat would feel like %s to the crew", both(c.Figure.Value))
	case c.Code == "unknown-weather":
		out.Reason = fmt.Sprintf("the forecast lacks figures for the hours until %s sets at about %s", name, f.moment(shown.day, shown.tally[j].place0+shown.tally[j].slab.Initial))
	}
}

// whyNot finds why no pad can be poured on a morning.
func (f *frame) whyNot(out *job.Morning, m *model, i int, s state, shown *dayDetail) {
	d := &f.days[i]
	var most [mostGroups]uint8
	s.forget(i, m.curing)
	m.available(i, len(d.starts)-1, &s, &most)
	bags, any := false, false
	for g := range m.seqs {
		if most[g] > 0 {
			any = true
			var one [mostGroups]uint8
			one[g] = 1
			bags = bags || m.bagsHold(i, &s, &one)
		}
	}
	switch {
	case !any:
		out.Verdict, out.Reason = f.byWeather(m, i, shown), f.whoWaits(m, i, &s)
	case !bags:
		out.Reason = f.bagsToo(m, d, &s)
	case f.blocked(m, i) != "":
		out.Reason = f.blocked(m, i)
	case shown != nil && shown.binding() >= 0 && shown.tally[shown.binding()].lost > f.risk:
		out.Reason = f.threatTo(shown, shown.binding())
	default:
		out.Reason = f.formsFull(m, i, &s)
	}
}

// whoWaits names the first pad left that waits for another, and until when.
func (f *frame) whoWaits(m *model, i int, s *state) string {
	for g, seq := range m.seqs {
		if int(s.pos[g]) == len(seq) {
			continue
		}
		p := &f.pads[seq[s.pos[g]]]
		for _, a := range p.after {
			q, when := &f.pads[a.pad], ""
			if q.left {
				h, k := m.place(a.pad)
				b := s.batchOf(h, k)
				switch {
				case k >= int(s.pos[h]):
					return fmt.Sprintf("no pad is due: %s waits for %s to be %s, which is not placed yet", p.Name, q.Name, a.until)
				case b != nil && a.until == pour.Stripped:
					when = f.readyText(b.strip)
				case b != nil && a.until == pour.Cured:
					when = f.readyText(b.cured)
				}
			} else if a.until == pour.Stripped {
				when = f.after(i, q.strip)
			} else if a.until == pour.Cured {
				when = f.after(i, q.cured)
			}
			if when != "" {
				return fmt.Sprintf("no pad is due: %s waits for %s to be %s, %s", p.Name, q.Name, a.until, when)
			}
		}
		if f.days[i].skip[seq[s.pos[g]]] {
			return fmt.Sprintf("no pad is due: %s was called off or lost on this day", p.Name)
		}
	}
	return "no pad is due: those left wait for others"
}

// after says when a minute comes that lies after a morning's last start; empty
// when it does not.
func (f *frame) after(day int, min float64) string {
	starts := f.days[day].starts
	if min <= starts[len(starts)-1]+f.crew.SetUp {
		return ""
	}
	if math.IsInf(min, 1) {
		return "not within the forecast"
	}
	return "at about " + f.clock(min).Format("Mon 15:04")
}

// readyText says from which morning on something is so.
func (f *frame) readyText(r ready) string {
	if r == 0 {
		return ""
	}
	if r == notInSight {
		return "not within the forecast"
	}
	d, i := int(r)/64, int(r)%64
	return "by " + f.clock(f.days[d].starts[min(i, len(f.days[d].starts)-1)]).Format("15:04 on Mon 2 Jan")
}

// formsFull says which form set is in use on a morning, by which pads, and
// until when.
func (f *frame) formsFull(m *model, i int, s *state) string {
	at := f.days[i].starts[len(f.days[i].starts)-1] + f.crew.SetUp
	for k, set := range f.spec.FormSets {
		var held []string
		until := ""
		for j := range f.pads {
			p := &f.pads[j]
			if p.form != k {
				continue
			}
			if (p.rec.State == pour.Placed || p.rec.State == pour.Finished) && p.strip > at {
				held, until = append(held, p.Name), f.after(i, p.strip)
			} else if p.left {
				if h, q := m.place(j); q < int(s.pos[h]) {
					if b := s.batchOf(h, q); b != nil && b.strip > readyAt(i, len(f.days[i].starts)-1) {
						held, until = append(held, p.Name), f.readyText(b.strip)
					}
				}
			}
		}
		if len(held) >= set.Count && slices.ContainsFunc(m.flat(), func(p int) bool { return f.pads[p].form == k }) {
			return fmt.Sprintf("the forms of %s hold %s, to be stripped %s", set.Name, list(held), until)
		}
	}
	for from, at := range f.days[i].starts {
		var most [mostGroups]uint8
		m.available(i, from, s, &most)
		for g, n := range most {
			if n > 0 && from > 0 {
				return fmt.Sprintf("%s is due from about %s only, too late to pour and finish it by %s", f.pads[m.seqs[g][s.pos[g]]].Name, f.hm(at+f.crew.SetUp), f.spec.Crew.LatestFinish)
			}
		}
	}
	return "the pads that are due can't all be poured and finished in the day's hours"
}

// blocked says why a morning takes no pad at any start, whatever the rain.
func (f *frame) blocked(m *model, i int) string {
	d := &f.days[i]
	pads := f.nominal(m)
	t := m.tableOf(i, pads)
	why := map[blocked]int{}
	for _, row := range t.cells {
		if len(row) > 0 {
			why[row[0].why]++
		}
	}
	switch {
	case why[feasible] > 0:
		return ""
	case why[byThunder] > 0:
		n := 0
		for k := range f.skies {
			n += flag(f.skies[k].thunder.before(hourOf(d.starts[0]), min(hourAfter(d.hours.CleanedUp), f.wx.Hours)))
		}
		return fmt.Sprintf("thunder between %s and %s %s: nobody pours under it", f.hm(d.starts[0]), f.spec.Crew.LatestFinish, f.in(n))
	case why[byFrost] > 0:
		for _, s := range d.starts {
			if at := s + f.crew.SetUp; !f.frozen(d.ref, at) {
				return fmt.Sprintf("the base is frozen until about %s, too late to pour and finish a pad by %s", f.hm(at), f.spec.Crew.LatestFinish)
			}
		}
		return "the base is frozen all day"
	case f.wx.Hours*60 < int(d.noon)+12*60:
		return "the forecast does not reach far enough to know how a pad would set"
	}
	begin := max(d.starts[0]+f.crew.SetUp, d.hours.Light)
	if len(t.order) == 0 {
		return fmt.Sprintf("there is no time from %s to %s to place and finish %s", f.hm(d.starts[0]), f.spec.Crew.LatestFinish, f.pads[pads[0]].Name)
	}
	if from, _ := t.order[0].Slabs.Window(d.ref, begin); !math.IsInf(from, 1) {
		return fmt.Sprintf("a pad begun at %s is ready to be finished at about %s, too late for last light at %s and %s, when the crew stops", f.hm(begin), f.moment(i, from),
			f.hm(d.hours.Dark), f.spec.Crew.LatestFinish)
	}
	return "a pad would not set within the weather known"
}
