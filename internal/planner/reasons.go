package planner

import (
	"math"
	"slices"
	"time"

	"dryslot/internal/message"
	"dryslot/internal/planner/job"
	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

// chanceOf returns a message of something that comes in n members, with its
// chance; the one that tells it as forecast where there is one member alone.
func (f *frame) chanceOf(code message.Code, n int, figures ...message.Figure) message.Message {
	if len(f.skies) == 1 {
		return message.New(forecastOf(code), figures...)
	}
	return message.New(code, append(figures, message.Chance("", round4(float64(n)/float64(len(f.skies)))))...)
}

// instant is a minute as a figure; one that is not finite is beyond the
// forecast.
func (f *frame) instant(name string, min float64) message.Figure {
	if math.IsInf(min, 0) || math.IsNaN(min) {
		return message.At(name, time.Time{})
	}
	return message.At(name, f.clock(min))
}

func (f *frame) stops() message.Figure { return message.Clock("stop", f.spec.Crew.LatestFinish) }

// worst returns what threatens a pad in the most members, and in how many.
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

// threatTo says what most threatens a pad.
func (f *frame) threatTo(d *dayDetail, j int) message.Message {
	t := &d.tally[j]
	pad := message.Name("pad", f.pads[d.pads[j]].Name)
	sets := f.instant("set", t.place0+t.slab.Initial)
	rain := message.At("rain", time.Time{})
	if t.firstHour >= 0 {
		rain = f.instant("rain", float64(t.firstHour)*60)
	}
	worst, n := t.worst()
	switch worst {
	case rainOnSoft:
		return f.chanceOf(RainReachesPad, n, pad, rain, sets)
	case lightRain:
		return f.chanceOf(LightRainReachesPad, n, pad, rain, f.instant("finish", t.fin1))
	case frost:
		if math.IsInf(t.slab.FrostSafe, 1) {
			return f.chanceOf(PadStaysWeak, n, pad)
		}
		return f.chanceOf(PadFreezes, n, pad, f.instant("safe", t.place0+t.slab.FrostSafe))
	case unfinishable:
		return f.chanceOf(FinishTooLate, n, pad, f.instant("dark", f.days[d.day].hours.Dark), f.stops())
	case unknownRain:
		return message.New(RainNotKnown, pad, sets)
	case frozenBase:
		return f.chanceOf(BaseFrozen, n, f.instant("", d.start))
	}
	return message.New(NothingThreatens, pad, sets)
}

// oneMore adds to the reason of a pour that nothing threatens what keeps the
// next pad off it, where that is the weather.
func (f *frame) oneMore(why message.Message, m *model, s state, p *planned, shown *dayDetail) message.Message {
	n := len(p.pads)
	if w, _ := shown.tally[max(0, shown.binding())].worst(); w != noThreat || len(p.table.cells[p.index]) <= n {
		return why
	}
	if c := &p.table.cells[p.index][n]; c.why != feasible || c.worst <= f.risk {
		return why
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
			return message.New(OneMorePad, message.Within("why", why), message.Within("more", f.threatTo(d, n)))
		}
		break
	}
	return why
}

// whyWait says why a morning that bears a pour has none.
func (f *frame) whyWait(shown *dayDetail) message.Message {
	j := max(0, shown.binding())
	if w, _ := shown.tally[j].worst(); w == noThreat {
		return message.New(FitsLater)
	}
	return message.New(WaitingLosesLess, message.Within("why", f.threatTo(shown, j)))
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
	pad := message.Name("pad", f.pads[shown.pads[j]].Name)
	held := func(code message.Code, value, limit string) message.Message {
		out := message.New(code, message.Temperature(value, unit.Celsius(c.Figure.Value)))
		if limit != "" {
			out = out.With(message.Temperature(limit, unit.Celsius(c.Figure.Limit)))
		}
		return out
	}
	switch e := &out.Parts.Evaporation; {
	case c.Code == "drying" && e.PeakKgM2H != nil && e.At != nil:
		out.ReasonData = message.New(CareDrying, message.At("", *e.At), message.Evaporation("rate", *e.PeakKgM2H),
			message.Evaporation("limit", c.Figure.Limit))
	case c.Code == "cold-overnight" && c.Figure != nil:
		out.ReasonData = held(CareCold, "low", "").With(pad)
	case c.Code == "cold-mix" && c.Figure != nil:
		out.ReasonData = held(CareColdMix, "mix", "limit")
	case c.Code == "hot-mix" && c.Figure != nil:
		out.ReasonData = held(CareHotMix, "mix", "limit")
	case c.Code == "crew-heat" && c.Figure != nil:
		out.ReasonData = held(CareCrewHeat, "feels", "")
	case c.Code == "unknown-weather":
		t := &shown.tally[j]
		out.ReasonData = message.New(CareUnknown, pad, f.instant("set", t.place0+t.slab.Initial))
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
		out.Verdict, out.ReasonData = f.byWeather(m, i, shown), f.whoWaits(m, i, &s)
	case !bags:
		out.ReasonData = f.bagsToo(m, d, &s)
	case !f.blocked(m, i).IsZero():
		out.ReasonData = f.blocked(m, i)
	case shown != nil && shown.binding() >= 0 && shown.tally[shown.binding()].lost > f.risk:
		out.ReasonData = f.threatTo(shown, shown.binding())
	default:
		out.ReasonData = f.formsFull(m, i, &s)
	}
}

// whoWaits names the first pad left that waits for another, and until when.
func (f *frame) whoWaits(m *model, i int, s *state) message.Message {
	for g, seq := range m.seqs {
		if int(s.pos[g]) == len(seq) {
			continue
		}
		p := &f.pads[seq[s.pos[g]]]
		for _, a := range p.after {
			q := &f.pads[a.pad]
			who := []message.Figure{message.Name("pad", p.Name), message.Name("other", q.Name),
				message.Term("until", string(a.until))}
			var when moment
			if q.left {
				h, k := m.place(a.pad)
				b := s.batchOf(h, k)
				switch {
				case k >= int(s.pos[h]):
					return message.New(WaitsNotPlaced, who...)
				case b != nil && a.until == pour.Stripped:
					when = f.readyMoment(b.strip)
				case b != nil && a.until == pour.Cured:
					when = f.readyMoment(b.cured)
				}
			} else if a.until == pour.Stripped {
				when = f.after(i, q.strip)
			} else if a.until == pour.Cured {
				when = f.after(i, q.cured)
			}
			switch {
			case when.beyond:
				return message.New(WaitsBeyond, who...)
			case !when.at.IsZero():
				return message.New(WaitsUntil, append(who, message.At("", when.at))...)
			}
		}
		if f.days[i].skip[seq[s.pos[g]]] {
			return message.New(WaitsCalledOff, message.Name("pad", p.Name))
		}
	}
	return message.New(WaitsOthers)
}

// moment is when something is so: at an instant, or beyond the forecast. The
// zero moment is one that has come.
type moment struct {
	at     time.Time
	beyond bool
}

// after says when a minute comes that lies after a morning's last start.
func (f *frame) after(day int, min float64) moment {
	starts := f.days[day].starts
	switch {
	case min <= starts[len(starts)-1]+f.crew.SetUp:
		return moment{}
	case math.IsInf(min, 1):
		return moment{beyond: true}
	}
	return moment{at: f.clock(min)}
}

// readyMoment says from which start on something is so.
func (f *frame) readyMoment(r ready) moment {
	switch r {
	case 0:
		return moment{}
	case notInSight:
		return moment{beyond: true}
	}
	d, i := int(r)/64, int(r)%64
	return moment{at: f.clock(f.days[d].starts[min(i, len(f.days[d].starts)-1)])}
}

// formsFull says which form set is in use on a morning, by which pads, and
// until when.
func (f *frame) formsFull(m *model, i int, s *state) message.Message {
	at := f.days[i].starts[len(f.days[i].starts)-1] + f.crew.SetUp
	for k, set := range f.spec.FormSets {
		var held []string
		var until moment
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
						held, until = append(held, p.Name), f.readyMoment(b.strip)
					}
				}
			}
		}
		if len(held) >= set.Count && slices.ContainsFunc(m.flat(), func(p int) bool { return f.pads[p].form == k }) {
			who := []message.Figure{message.Name("forms", set.Name), message.Names("pads", held)}
			if until.at.IsZero() {
				return message.New(FormsFullBeyond, who...)
			}
			return message.New(FormsFull, append(who, message.At("", until.at))...)
		}
	}
	for from, at := range f.days[i].starts {
		var most [mostGroups]uint8
		m.available(i, from, s, &most)
		for g, n := range most {
			if n > 0 && from > 0 {
				return message.New(DueTooLate, message.Name("pad", f.pads[m.seqs[g][s.pos[g]]].Name),
					f.instant("due", at+f.crew.SetUp), f.stops())
			}
		}
	}
	return message.New(DayTooFull)
}

// blocked says why a morning takes no pad at any start, whatever the rain; the
// zero message where it takes one.
func (f *frame) blocked(m *model, i int) message.Message {
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
		return message.Message{}
	case why[byThunder] > 0:
		n := 0
		for k := range f.skies {
			n += flag(f.skies[k].thunder.before(hourOf(d.starts[0]), min(hourAfter(d.hours.CleanedUp), f.wx.Hours)))
		}
		return f.chanceOf(ThunderAllDay, n, f.instant("from", d.starts[0]), message.Clock("until", f.spec.Crew.LatestFinish))
	case why[byFrost] > 0:
		for _, s := range d.starts {
			if at := s + f.crew.SetUp; !f.frozen(d.ref, at) {
				return message.New(BaseFrozenUntil, f.instant("", at), f.stops())
			}
		}
		return message.New(BaseFrozenAllDay)
	case f.wx.Hours*60 < int(d.noon)+12*60:
		return message.New(ForecastTooShort)
	}
	begin := max(d.starts[0]+f.crew.SetUp, d.hours.Light)
	if len(t.order) == 0 {
		return message.New(NoTime, f.instant("from", d.starts[0]), f.stops(), message.Name("pad", f.pads[pads[0]].Name))
	}
	if from, _ := t.order[0].Slabs.Window(d.ref, begin); !math.IsInf(from, 1) {
		return message.New(ReadyTooLate, f.instant("begin", begin), f.instant("ready", from), f.instant("dark", d.hours.Dark), f.stops())
	}
	return message.New(SetsBeyondForecast)
}
