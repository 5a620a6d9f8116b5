package advise

import (
	"math"
	"slices"
	"time"

	"dryslot/internal/message"
	"dryslot/internal/planner/job"
	"dryslot/internal/planner/policy"
	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

// chanceOf returns a message of something that comes in n members, with its
// chance; where there is one member alone, the code that states it as forecast.
func (f *Adviser) chanceOf(code message.Code, n int, figures ...message.Figure) message.Message {
	if len(f.Skies) == 1 {
		return message.New(forecastOf(code), figures...)
	}
	return message.New(code, append(figures, message.Chance("", policy.Round4(float64(n)/float64(len(f.Skies)))))...)
}

// instant is a minute as a figure; one that is not finite is beyond the
// forecast.
func (f *Adviser) instant(name string, min float64) message.Figure {
	if math.IsInf(min, 0) || math.IsNaN(min) {
		return message.At(name, time.Time{})
	}
	return message.At(name, f.Clock(min))
}

func (f *Adviser) stops() message.Figure { return message.Clock("stop", f.Spec.Crew.LatestFinish) }

// threatTo says what most threatens a pad.
func (f *Adviser) threatTo(d *policy.DayWork, j int) message.Message {
	t := &d.Tally[j]
	pad := message.Name("pad", f.Pads[d.Pads[j]].Name)
	sets := f.instant("set", t.Place0+t.Slab.Initial)
	rain := message.At("rain", time.Time{})
	if t.FirstHour >= 0 {
		rain = f.instant("rain", float64(t.FirstHour)*60)
	}
	worst, n := t.Worst()
	switch worst {
	case policy.RainOnSoft:
		return f.chanceOf(job.RainReachesPad, n, pad, rain, sets)
	case policy.LightRain:
		return f.chanceOf(job.LightRainReachesPad, n, pad, rain, f.instant("finish", t.Fin1))
	case policy.Frost:
		if math.IsInf(t.Slab.FrostSafe, 1) {
			return f.chanceOf(job.PadStaysWeak, n, pad)
		}
		return f.chanceOf(job.PadFreezes, n, pad, f.instant("safe", t.Place0+t.Slab.FrostSafe))
	case policy.Unfinishable:
		return f.chanceOf(job.FinishTooLate, n, pad, f.instant("dark", f.Days[d.Day].Hours.Dark), f.stops())
	case policy.UnknownRain:
		return message.New(job.RainNotKnown, pad, sets)
	case policy.FrozenBase:
		return f.chanceOf(job.BaseFrozen, n, f.instant("", d.Start))
	}
	return message.New(job.NothingThreatens, pad, sets)
}

// oneMore adds to the reason of a pour that nothing threatens what keeps the
// next pad off it, where that is the weather.
func (f *Adviser) oneMore(why message.Message, m *policy.Model, s policy.State, p *policy.Planned,
	shown *policy.DayWork) message.Message {
	n := len(p.Pads)
	if w, _ := shown.Tally[max(0, shown.Binding())].Worst(); w != policy.NoThreat || len(p.Table.Cells[p.Index]) <= n {
		return why
	}
	if c := &p.Table.Cells[p.Index][n]; c.Why != policy.Feasible || c.Worst <= f.Risk {
		return why
	}
	for g, seq := range m.Seqs {
		var today [policy.MostGroups]uint8
		for _, pad := range p.Pads {
			h, _ := m.Place(pad)
			today[h]++
		}
		i := int(s.Pos[g] + uint16(today[g]))
		if i >= len(seq) || !m.Free(p.Day, p.Index, &s, &today, seq[i], 0, n) {
			continue
		}
		d := f.Detail(p.Day, p.Start, append(slices.Clone(p.Pads), seq[i]), p.Cell.Rule)
		if len(d.Tally) > n && d.Tally[n].Lost > f.Risk {
			return message.New(job.OneMorePad, message.Within("why", why), message.Within("more", f.threatTo(d, n)))
		}
		break
	}
	return why
}

// whyWait says why nothing is poured on a morning that would do for it.
func (f *Adviser) whyWait(shown *policy.DayWork) message.Message {
	j := max(0, shown.Binding())
	if w, _ := shown.Tally[j].Worst(); w == policy.NoThreat {
		return message.New(job.FitsLater)
	}
	return message.New(job.WaitingLosesLess, message.Within("why", f.threatTo(shown, j)))
}

// whyCare gives a pour that calls for care its binding reason: the caution,
// where neither rain nor frost threatens it more.
func (f *Adviser) whyCare(out *job.Morning, c *job.Caution, shown *policy.DayWork) {
	if shown == nil || len(shown.Tally) == 0 || len(out.Pads) == 0 {
		return
	}
	j := max(0, shown.Binding())
	if w, _ := shown.Tally[j].Worst(); w != policy.NoThreat {
		return
	}
	pad := message.Name("pad", f.Pads[shown.Pads[j]].Name)
	held := func(code message.Code, value, limit string) message.Message {
		out := message.New(code, message.Temperature(value, unit.Celsius(c.Figure.Value)))
		if limit != "" {
			out = out.With(message.Temperature(limit, unit.Celsius(c.Figure.Limit)))
		}
		return out
	}
	switch e := &out.Parts.Evaporation; {
	case c.Code == "drying" && e.PeakKgM2H != nil && e.At != nil:
		out.ReasonData = message.New(job.CareDrying, message.At("", *e.At), message.Evaporation("rate", *e.PeakKgM2H),
			message.Evaporation("limit", c.Figure.Limit))
	case c.Code == "cold-overnight" && c.Figure != nil:
		out.ReasonData = held(job.CareCold, "low", "").With(pad)
	case c.Code == "cold-mix" && c.Figure != nil:
		out.ReasonData = held(job.CareColdMix, "mix", "limit")
	case c.Code == "hot-mix" && c.Figure != nil:
		out.ReasonData = held(job.CareHotMix, "mix", "limit")
	case c.Code == "crew-heat" && c.Figure != nil:
		out.ReasonData = held(job.CareCrewHeat, "feels", "")
	case c.Code == "unknown-weather":
		t := &shown.Tally[j]
		out.ReasonData = message.New(job.CareUnknown, pad, f.instant("set", t.Place0+t.Slab.Initial))
	}
}

// whyNot finds why no pad can be poured on a morning.
func (f *Adviser) whyNot(out *job.Morning, m *policy.Model, i int, s policy.State, shown *policy.DayWork) {
	d := &f.Days[i]
	var most [policy.MostGroups]uint8
	s.Forget(i, m.Curing)
	m.Available(i, len(d.Starts)-1, &s, &most)
	bags, any := false, false
	for g := range m.Seqs {
		if most[g] > 0 {
			any = true
			var one [policy.MostGroups]uint8
			one[g] = 1
			bags = bags || m.BagsHold(i, &s, &one)
		}
	}
	switch {
	case !any:
		out.Verdict, out.ReasonData = f.byWeather(m, i, shown), f.whoWaits(m, i, &s)
	case !bags:
		out.ReasonData = f.bagsToo(m, d, &s)
	case !f.blocked(m, i).IsZero():
		out.ReasonData = f.blocked(m, i)
	case shown != nil && shown.Binding() >= 0 && shown.Tally[shown.Binding()].Lost > f.Risk:
		out.ReasonData = f.threatTo(shown, shown.Binding())
	default:
		out.ReasonData = f.formsFull(m, i, &s)
	}
}

// whoWaits names the first pad left that waits for another, and until when.
func (f *Adviser) whoWaits(m *policy.Model, i int, s *policy.State) message.Message {
	for g, seq := range m.Seqs {
		if int(s.Pos[g]) == len(seq) {
			continue
		}
		p := &f.Pads[seq[s.Pos[g]]]
		for _, a := range p.After {
			q := &f.Pads[a.Pad]
			who := []message.Figure{message.Name("pad", p.Name), message.Name("other", q.Name),
				message.Term("until", string(a.Until))}
			var when moment
			if q.Left {
				h, k := m.Place(a.Pad)
				b := s.BatchOf(h, k)
				switch {
				case k >= int(s.Pos[h]):
					return message.New(job.WaitsNotPlaced, who...)
				case b != nil && a.Until == pour.Stripped:
					when = f.readyMoment(b.Strip)
				case b != nil && a.Until == pour.Cured:
					when = f.readyMoment(b.Cured)
				}
			} else if a.Until == pour.Stripped {
				when = f.after(i, q.Strip)
			} else if a.Until == pour.Cured {
				when = f.after(i, q.Cured)
			}
			switch {
			case when.beyond:
				return message.New(job.WaitsBeyond, who...)
			case !when.at.IsZero():
				return message.New(job.WaitsUntil, append(who, message.At("", when.at))...)
			}
		}
		if f.Days[i].Skip[seq[s.Pos[g]]] {
			return message.New(job.WaitsCalledOff, message.Name("pad", p.Name))
		}
	}
	return message.New(job.WaitsOthers)
}

// moment is when something is so: at an instant, or beyond the forecast. The
// zero moment is one that has come.
type moment struct {
	at     time.Time
	beyond bool
}

// after says when a minute comes that lies after a morning's last start.
func (f *Adviser) after(day int, min float64) moment {
	starts := f.Days[day].Starts
	switch {
	case min <= starts[len(starts)-1]+f.Crew.SetUp:
		return moment{}
	case math.IsInf(min, 1):
		return moment{beyond: true}
	}
	return moment{at: f.Clock(min)}
}

// readyMoment says from which start on something is so.
func (f *Adviser) readyMoment(r policy.Ready) moment {
	switch r {
	case 0:
		return moment{}
	case policy.NotInSight:
		return moment{beyond: true}
	}
	d, i := int(r)/64, int(r)%64
	return moment{at: f.Clock(f.Days[d].Starts[min(i, len(f.Days[d].Starts)-1)])}
}

// formsFull says which form set is in use on a morning, by which pads, and
// until when; else which pad comes too late, or that the day is too full.
func (f *Adviser) formsFull(m *policy.Model, i int, s *policy.State) message.Message {
	for k, set := range f.Spec.FormSets {
		held, until := f.formUse(m, i, s, k)
		left := m.FormsLeft(i, len(f.Days[i].Starts)-1, s)[k]
		if left > 0 || !slices.ContainsFunc(m.Flat(), func(p int) bool { return f.Pads[p].Form == k }) {
			continue
		}
		who := []message.Figure{message.Name("forms", set.Name), message.Names("pads", held)}
		if until.at.IsZero() {
			return message.New(job.FormsFullBeyond, who...)
		}
		return message.New(job.FormsFull, append(who, message.At("", until.at))...)
	}
	for from, at := range f.Days[i].Starts[1:] {
		var most [policy.MostGroups]uint8
		m.Available(i, from+1, s, &most)
		for g, n := range most {
			if n > 0 {
				return message.New(job.DueTooLate, message.Name("pad", f.Pads[m.Seqs[g][s.Pos[g]]].Name),
					f.instant("due", at+f.Crew.SetUp), f.stops())
			}
		}
	}
	return message.New(job.DayTooFull)
}

// formUse returns the pads that are in a form set at a morning's last start, and
// when the last of them that was found is freed.
func (f *Adviser) formUse(m *policy.Model, i int, s *policy.State, form int) (held []string, until moment) {
	last := len(f.Days[i].Starts) - 1
	at := f.Days[i].Starts[last] + f.Crew.SetUp
	for j := range f.Pads {
		p := &f.Pads[j]
		switch {
		case p.Form != form:
		case (p.Record.State == pour.Placed || p.Record.State == pour.Finished) && p.Strip > at:
			held, until = append(held, p.Name), f.after(i, p.Strip)
		case p.Left:
			h, q := m.Place(j)
			if q >= int(s.Pos[h]) {
				continue
			}
			if b := s.BatchOf(h, q); b != nil && b.Strip > policy.ReadyAt(i, last) {
				held, until = append(held, p.Name), f.readyMoment(b.Strip)
			}
		}
	}
	return held, until
}

// blocked says why a morning takes no pad at any start, whatever the rain; the
// zero message where it takes one.
func (f *Adviser) blocked(m *policy.Model, i int) message.Message {
	d := &f.Days[i]
	pads := f.nominal(m)
	t := m.TableOf(i, pads)
	why := map[policy.Blocked]int{}
	for _, row := range t.Cells {
		if len(row) > 0 {
			why[row[0].Why]++
		}
	}
	if why[policy.Feasible] > 0 {
		return message.Message{}
	}
	thawed := slices.IndexFunc(d.Starts, func(s float64) bool { return !f.Frozen(d.Track, s+f.Crew.SetUp) })
	switch {
	case why[policy.ByThunder] > 0:
		n := 0
		for k := range f.Skies {
			n += policy.Flag(f.Skies[k].Thunder.Before(policy.HourOf(d.Starts[0]),
				min(policy.HourAfter(d.Hours.CleanedUp), f.Weather.Hours)))
		}
		return f.chanceOf(job.ThunderAllDay, n, f.instant("from", d.Starts[0]), message.Clock("until",
			f.Spec.Crew.LatestFinish))
	case why[policy.ByFrost] > 0 && thawed >= 0:
		return message.New(job.BaseFrozenUntil, f.instant("", d.Starts[thawed]+f.Crew.SetUp), f.stops())
	case why[policy.ByFrost] > 0:
		return message.New(job.BaseFrozenAllDay)
	case f.Weather.Hours*60 < int(d.Noon)+12*60:
		return message.New(job.ForecastTooShort)
	case thawed < 0: // what never sets has no cell that says so, but nothing may be poured here
		return message.New(job.BaseFrozenAllDay)
	}
	begin := max(d.Starts[0]+f.Crew.SetUp, d.Hours.Light)
	if len(t.Order) == 0 {
		return message.New(job.NoTime, f.instant("from", d.Starts[0]), f.stops(), message.Name("pad",
			f.Pads[pads[0]].Name))
	}
	if from, _ := t.Order[0].Slabs.Window(d.Track, begin); !math.IsInf(from, 1) {
		return message.New(job.ReadyTooLate, f.instant("begin", begin), f.instant("ready", from), f.instant("dark",
			d.Hours.Dark), f.stops())
	}
	return message.New(job.SetsBeyondForecast)
}

// forecastOf gives the code that says the same for a forecast of one member.
func forecastOf(code message.Code) message.Code { return code + "_forecast" }
