package advise

import (
	"math"
	"time"

	"dryslot/internal/concrete"
	"dryslot/internal/forecast"
	"dryslot/internal/message"
	"dryslot/internal/planner/job"
	"dryslot/internal/planner/policy"
	"dryslot/internal/planner/slabs"
	"dryslot/internal/unit"
)

// parts fills what the score is made of from a day's work.
func (f *Adviser) parts(out *job.Morning, d *policy.Day, x *policy.DayWork) {
	out.Parts.Temperature.AirMinC, out.Parts.Temperature.AirMaxC = f.airRange(d)
	if x == nil || len(x.Tally) == 0 {
		return
	}
	u, dry := policy.Round4(x.Unharmed), policy.Round4(x.AnyDry)
	out.Parts.Rain.ChanceUnharmed, out.Parts.Rain.ChanceDry = &u, &dry
	out.Parts.Rain.FirstWetHour = f.firstWet(x)
	first := &x.Tally[0]
	t := &out.Parts.Temperature
	suit := policy.Round4(f.temperatureSuit(d, f.Pads[x.Pads[0]].Kind, x.Start))
	t.Suitability = &suit
	if mix, ok := f.mixC(d.Track, first.Place0); ok {
		m := round1(mix)
		t.MixC = &m
	}
	coldest, peak, peakAt := math.Inf(1), 0.0, math.NaN()
	frost := math.Inf(-1)
	for i := range x.Tally {
		s := &x.Tally[i].Slab
		coldest = min(coldest, s.Coldest)
		frost = max(frost, x.Tally[i].Place0+s.FrostSafe)
		if s.Evap >= peak && !math.IsInf(s.EvapAt, 0) {
			peak, peakAt = s.Evap, x.Tally[i].Place0+s.EvapAt
		}
	}
	if !math.IsInf(coldest, 0) && !math.IsNaN(coldest) {
		c := round1(coldest)
		t.SlabMinC = &c
	}
	t.FrostSafeAt = f.ClockPtr(frost)
	if !math.IsNaN(peak) {
		p := math.Round(peak*100) / 100
		out.Parts.Evaporation.PeakKgM2H = &p
		out.Parts.Evaporation.At = f.ClockPtr(peakAt)
	}
	share := 1.0
	if x.End > x.Start {
		share = max(0, min(x.End, d.Hours.Dark)-max(x.Start, d.Hours.Light)) / (x.End - x.Start)
	}
	share = policy.Round4(share)
	out.Parts.Light.ShareOfWorkInLight = &share
}

func round1(x float64) float64 { return math.Round(x*10) / 10 }

// airRange returns the least and greatest air temperature of a date in the
// middle track; nil when it is not known.
func (f *Adviser) airRange(d *policy.Day) (low, high *float64) {
	air := f.Air(d.Track)
	lo, hi := math.Inf(1), math.Inf(-1)
	for h := max(0, policy.HourOf(d.Noon-12*60)); h < min(policy.HourOf(d.Noon+12*60), len(air)); h++ {
		if !math.IsNaN(air[h]) {
			lo, hi = min(lo, air[h]), max(hi, air[h])
		}
	}
	if lo > hi {
		return nil, nil
	}
	lo, hi = round1(lo), round1(hi)
	return &lo, &hi
}

// mixC returns the temperature of the concrete as mixed at a minute.
func (f *Adviser) mixC(track int, at float64) (float64, bool) {
	w := &f.Weather.Members[f.MembersOf[track][0]]
	return slabs.MixTemperature(f.Spec.Mix, concrete.Hourly{Start: f.Start, AirC: w.AirC}, f.Clock(at), f.Cover.WaterC)
}

// firstWet returns the first hour of a day's soft time with rain of 0.25 mm or
// more in a tenth of the members.
func (f *Adviser) firstWet(x *policy.DayWork) *time.Time {
	last := 0.0
	for i := range x.Tally {
		last = max(last, x.Tally[i].Place0+x.Tally[i].Slab.Initial)
	}
	for h := max(0, policy.HourOf(x.Start)); h < min(policy.HourAfter(last), f.Weather.Hours); h++ {
		n := 0
		for m := range f.Skies {
			n += policy.Flag(f.Skies[m].Light.Before(h, h+1))
		}
		if 10*n >= len(f.Skies) {
			return f.ClockPtr(float64(h) * 60)
		}
	}
	return nil
}

// worthSaying is the share of members from which on wet forms are worth a
// line: a caution for one weather in 200 is noise (judgement).
const worthSaying = 0.1

// cautions adds what the builder must know of a morning.
func (f *Adviser) cautions(out *job.Morning, d *policy.Day, x *policy.DayWork, plannedPour bool) {
	add := func(c job.Caution) { out.Cautions = append(out.Cautions, c) }
	f.staleness(add)
	if x == nil || len(x.Tally) == 0 {
		return
	}
	if x.Unknown {
		add(job.Caution{Code: "unknown-weather", Severity: job.Act, Source: "judgement", Data: says(message.New(job.CautionUnknownWeather))})
	}
	if x.Thunder > 0 {
		c := job.Caution{Code: "thunder", Severity: job.Watch, Source: "common practice",
			Data:   says(f.chanceOf(job.CautionThunder, x.Thunder, message.Duration("wait", thunderWait))),
			Figure: &job.Figure{Name: "chance_thunder", Value: policy.Round4(float64(x.Thunder) / float64(len(f.Skies))), Limit: policy.ThunderShare}}
		if float64(x.Thunder) >= policy.ThunderShare*float64(len(f.Skies)) {
			c.Severity = job.Act
		}
		add(c)
	}
	if float64(x.Puddles) >= worthSaying*float64(len(f.Skies)) {
		c := job.Caution{Code: "wet-base", Severity: job.Note, Source: "judgement",
			Data:   says(f.chanceOf(job.CautionWetBase, x.Puddles, message.Duration("clear", concrete.PuddleClearMin*time.Minute))),
			Figure: &job.Figure{Name: "chance_puddles", Value: policy.Round4(float64(x.Puddles) / float64(len(f.Skies))), Limit: 0.5}}
		if 2*x.Puddles >= len(f.Skies) {
			c.Severity = job.Watch
		}
		add(c)
	}
	for _, r := range f.rules(out, d, x) {
		c := job.Caution{Code: r.ID, Severity: job.Severity(r.Severity), Data: says(message.Stored(r.Text)), Source: r.Source}
		if r.Figure != nil {
			c.Figure = &job.Figure{Name: r.Figure.Name, Value: math.Round(r.Figure.Value*100) / 100, Limit: math.Round(r.Figure.Limit*100) / 100}
		}
		add(c)
		if r.Hold && plannedPour && out.Verdict != job.VerdictHold {
			out.Verdict, out.ReasonData = job.VerdictHold, c.Data[0]
		}
	}
	if plannedPour {
		f.setCautions(add, x)
	}
}

// thunderWait is how long the crew stays away after the last thunder: 30
// minutes (NWS lightning safety, from memory).
const thunderWait = 30 * time.Minute

func says(m ...message.Message) []message.Message { return m }

// agedCode marks the caution of a forecast that has grown old.
const agedCode = "aged-forecast"

// staleness speaks of an old forecast.
func (f *Adviser) staleness(add func(job.Caution)) {
	age := f.Job.Trust.Age
	hours := math.Round(age.Hours()*10) / 10
	switch {
	case age > forecast.OldAfter:
		add(job.Caution{Code: agedCode, Severity: job.Act, Source: "judgement", Figure: &job.Figure{Name: "forecast_age_h", Value: hours, Limit: float64(forecast.OldAfter / time.Hour)},
			Data: says(message.New(job.CautionOld, message.Duration("age", age.Truncate(time.Hour))))})
	case age > forecast.AgedAfter:
		add(job.Caution{Code: agedCode, Severity: job.Watch, Source: "judgement", Figure: &job.Figure{Name: "forecast_age_h", Value: hours, Limit: float64(forecast.AgedAfter / time.Hour)},
			Data: says(message.New(job.CautionAged, message.Duration("age", age.Truncate(time.Hour))))})
	}
}

// rules asks the concrete's own rules of cold, heat, drying and the crew.
func (f *Adviser) rules(out *job.Morning, d *policy.Day, x *policy.DayWork) []concrete.Rule {
	opt := func(v *float64) unit.Opt {
		if v == nil {
			return unit.Opt{}
		}
		return unit.Some(*v)
	}
	p := &f.Pads[x.Pads[0]]
	t := &out.Parts.Temperature
	cold := concrete.ColdInput{Thickness: unit.Metres(p.ThicknessM), MixC: opt(t.MixC), AirC: f.airAt(d.Track, x.Tally[0].Place0),
		AirMinC: f.youngMin(d, x), SlabMinC: opt(t.SlabMinC), GroundFrozen: f.Frozen(d.Track, x.Start+f.Crew.SetUp), Accelerated: f.Spec.Mix.Cement == "rapid",
		Spell: concrete.ColdSpellOn(concrete.Hourly{Start: f.Start, AirC: f.Air(d.Track)}, d.Date, f.Zone), UncoverDropK: f.uncoverDrop(d, x)}
	if b := f.Spec.Mix.BagTemperatureC; b != nil {
		cold.Bag = &concrete.BagWater{BagC: unit.Celsius(*b), BagKg: unit.Kilograms(f.Spec.Mix.BagKg), WaterL: f.Spec.Mix.WaterLPerBag}
	} else if m, ok := slabs.MeanBefore(concrete.Hourly{Start: f.Start, AirC: f.Air(d.Track)}, f.Clock(x.Start), 24); ok {
		cold.Bag = &concrete.BagWater{BagC: unit.Celsius(m), BagKg: unit.Kilograms(f.Spec.Mix.BagKg), WaterL: f.Spec.Mix.WaterLPerBag}
	}
	rules := concrete.ColdRules(cold)
	rules = append(rules, concrete.HotRules(concrete.HotInput{MixC: opt(t.MixC), AirMaxC: opt(t.AirMaxC), EvapPeak: opt(out.Parts.Evaporation.PeakKgM2H), Bag: cold.Bag})...)
	heat, chill, sunny := f.crewWeather(d, x)
	return append(rules, concrete.CrewWeather(heat, chill, sunny)...)
}

// uncoverDrop returns how much warmer the first pad's surface is than the air
// when its cover comes off, in K; unknown without a cover.
func (f *Adviser) uncoverDrop(d *policy.Day, x *policy.DayWork) unit.Opt {
	if f.Cover.Cover == "" {
		return unit.Opt{}
	}
	off := f.Minute(d.Date.AddDays(1).At(slabs.CoverUntil, f.Zone))
	b, air := f.firstSlab(d, x), f.airAt(d.Track, off)
	if h := policy.HourOf(off) - policy.HourOf(x.Tally[0].Place0); b != nil && h >= 0 && h < len(b.SurfaceC) && air.Known {
		return unit.Some(b.SurfaceC[h] - air.V)
	}
	return unit.Opt{}
}

// firstSlab returns how a day's first pad behaves, placed on the hour.
func (f *Adviser) firstSlab(d *policy.Day, x *policy.DayWork) *concrete.Behaviour {
	k := f.Pads[x.Pads[0]].Kind
	return f.Job.Slabs.Behave(slabs.Query{Track: d.Track, Kind: k.Slabs.Kind,
		Placed: f.Start.Add(time.Duration(policy.HourOf(x.Tally[0].Place0)) * time.Hour)})
}

func (f *Adviser) airAt(track int, min float64) unit.Opt {
	air := f.Air(track)
	if h := policy.HourOf(min); h >= 0 && h < len(air) {
		return unit.Some(air[h])
	}
	return unit.Opt{}
}

// youngMin returns the least air temperature in the three days after the first
// pad is placed, as far as the forecast reaches: the time of protection of a
// slab without load that frost can reach (ACI 306R-88 table 5.3, from memory).
func (f *Adviser) youngMin(d *policy.Day, x *policy.DayWork) unit.Opt {
	low := math.Inf(1)
	air := f.Air(d.Track)
	for h := max(0, policy.HourOf(x.Start)); h < min(policy.HourOf(x.Start)+72, len(air)); h++ {
		if !math.IsNaN(air[h]) {
			low = min(low, air[h])
		}
	}
	return unit.Some(low)
}

// crewWeather returns the highest heat index and the lowest wind chill of the
// work in C, and whether the sun shines on it.
func (f *Adviser) crewWeather(d *policy.Day, x *policy.DayWork) (heat, chill unit.Opt, sunny bool) {
	w := &f.Weather.Members[f.MembersOf[d.Track][0]]
	for h := max(0, policy.HourOf(x.Start)); h < min(policy.HourAfter(x.End), len(w.AirC)); h++ {
		air := unit.Celsius(w.AirC[h])
		if h < len(w.HumidityPct) && !math.IsNaN(w.HumidityPct[h]) && !math.IsNaN(float64(air)) {
			if v := float64(concrete.HeatIndex(air, w.HumidityPct[h])); !heat.Known || v > heat.V {
				heat = unit.Some(v)
			}
		}
		if h < len(w.WindMS) && !math.IsNaN(w.WindMS[h]) && !math.IsNaN(float64(air)) {
			if v := float64(concrete.WindChill(air, w.WindMS[h])); !chill.Known || v < chill.V {
				chill = unit.Some(v)
			}
		}
		sunny = sunny || h < len(w.ShortwaveWM2) && w.ShortwaveWM2[h] > 400 // well above an overcast sky's (judgement)
	}
	return heat, chill, sunny
}

// setCautions speaks of what the times of a planned pour ask for.
func (f *Adviser) setCautions(add func(job.Caution), x *policy.DayWork) {
	last := &x.Tally[len(x.Tally)-1]
	add(job.Caution{Code: "times-are-estimates", Severity: job.Note, Source: "common practice", Data: says(message.New(job.CautionEstimates))})
	if j := x.Binding(); j >= 0 && x.Tally[j].Inspect >= 0.05 {
		t := &x.Tally[j]
		add(job.Caution{Code: "rain-to-inspect", Severity: job.Watch, Source: "judgement", Figure: &job.Figure{Name: "chance_inspect", Value: policy.Round4(t.Inspect), Limit: 0.05},
			Data: says(message.New(job.CautionInspect, message.Name("pad", f.Pads[x.Pads[j]].Name), f.instant("set", last.Place0+last.Slab.Final)))})
	}
	for _, p := range x.Pads {
		for _, a := range f.Pads[p].After {
			if q := &f.Pads[a.Pad]; !q.Left && policy.Poured(q.Record.State) && touches(f.Pads[p].Pad, q.Pad) {
				r := concrete.BondBreakRule()
				add(job.Caution{Code: r.ID, Severity: job.Severity(r.Severity), Data: says(message.Stored(r.Text)), Source: r.Source})
				return
			}
		}
	}
}

// chart returns the hours that the day strip draws: from before first light
// until the next sunrise or 09:00.
func (f *Adviser) chart(d *policy.Day, x *policy.DayWork) *job.Chart {
	c := &job.Chart{Hours: []job.ChartHour{}}
	from := max(0, policy.HourOf(d.Noon-9*60))
	until := min(policy.HourOf(d.Noon+21*60), f.Weather.Hours)
	w := &f.Weather.Members[f.MembersOf[d.Track][0]]
	var evap, surface []float64
	base := 0
	if x != nil && len(x.Tally) > 0 {
		base = policy.HourOf(x.Tally[0].Place0)
		if b := f.firstSlab(d, x); b != nil {
			evap, surface = b.EvapRate, b.SurfaceC
		}
	}
	at := func(v []float64, h int) *float64 {
		if h < 0 || h >= len(v) || math.IsNaN(v[h]) {
			return nil
		}
		r := math.Round(v[h]*100) / 100
		return &r
	}
	for h := from; h < until; h++ {
		n, known := 0, 0
		for m := range f.Skies {
			s := &f.Skies[m]
			if !s.Unknown.Before(h, h+1) {
				known++
				n += policy.Flag(s.Light.Before(h, h+1))
			}
		}
		hour := job.ChartHour{Time: f.Clock(float64(h) * 60), AirC: at(w.AirC, h), SlabC: at(surface, h-base), EvapKgM2H: at(evap, h-base)}
		if known > 0 {
			p := policy.Round4(float64(n) / float64(known))
			hour.RainChance = &p
		}
		c.Hours = append(c.Hours, hour)
	}
	return c
}
