package planner

import (
	"math"
	"time"

	"dryslot/internal/concrete"
	"dryslot/internal/forecast"
	"dryslot/internal/message"
	"dryslot/internal/planner/job"
	"dryslot/internal/planner/slabs"
	"dryslot/internal/unit"
)

// parts fills what the score is made of from a day's work.
func (f *frame) parts(out *job.Morning, d *morning, x *dayDetail) {
	out.Parts.Temperature.AirMinC, out.Parts.Temperature.AirMaxC = f.airRange(d)
	if x == nil || len(x.tally) == 0 {
		return
	}
	u, dry := round4(x.unharmed), round4(x.anyDry)
	out.Parts.Rain.ChanceUnharmed, out.Parts.Rain.ChanceDry = &u, &dry
	out.Parts.Rain.FirstWetHour = f.firstWet(x)
	first := &x.tally[0]
	t := &out.Parts.Temperature
	suit := round4(f.temperatureSuit(d, f.pads[x.pads[0]].kind, x.start))
	t.Suitability = &suit
	if mix, ok := f.mixC(d.ref, first.place0); ok {
		m := round1(mix)
		t.MixC = &m
	}
	coldest, peak, peakAt := math.Inf(1), 0.0, math.NaN()
	frost := math.Inf(-1)
	for i := range x.tally {
		s := &x.tally[i].slab
		coldest = min(coldest, s.Coldest)
		frost = max(frost, x.tally[i].place0+s.FrostSafe)
		if s.Evap >= peak && !math.IsInf(s.EvapAt, 0) {
			peak, peakAt = s.Evap, x.tally[i].place0+s.EvapAt
		}
	}
	if !math.IsInf(coldest, 0) && !math.IsNaN(coldest) {
		c := round1(coldest)
		t.SlabMinC = &c
	}
	t.FrostSafeAt = f.clockPtr(frost)
	if !math.IsNaN(peak) {
		p := math.Round(peak*100) / 100
		out.Parts.Evaporation.PeakKgM2H = &p
		out.Parts.Evaporation.At = f.clockPtr(peakAt)
	}
	share := 1.0
	if x.end > x.start {
		share = max(0, min(x.end, d.hours.Dark)-max(x.start, d.hours.Light)) / (x.end - x.start)
	}
	share = round4(share)
	out.Parts.Light.ShareOfWorkInLight = &share
}

func round1(x float64) float64 { return math.Round(x*10) / 10 }

// airRange returns the least and greatest air temperature of a date in the
// middle track; nil when it is not known.
func (f *frame) airRange(d *morning) (low, high *float64) {
	air := f.air(d.ref)
	lo, hi := math.Inf(1), math.Inf(-1)
	for h := max(0, hourOf(d.noon-12*60)); h < min(hourOf(d.noon+12*60), len(air)); h++ {
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
func (f *frame) mixC(track int, at float64) (float64, bool) {
	w := &f.wx.Members[f.byTrk[track][0]]
	return slabs.MixTemperature(f.spec.Mix, concrete.Hourly{Start: f.start, AirC: w.AirC}, f.clock(at), f.cover.WaterC)
}

// firstWet returns the first hour of a day's soft time with rain of 0.25 mm or
// more in a tenth of the members.
func (f *frame) firstWet(x *dayDetail) *time.Time {
	last := 0.0
	for i := range x.tally {
		last = max(last, x.tally[i].place0+x.tally[i].slab.Initial)
	}
	for h := max(0, hourOf(x.start)); h < min(hourAfter(last), f.wx.Hours); h++ {
		n := 0
		for m := range f.skies {
			n += flag(f.skies[m].light.before(h, h+1))
		}
		if 10*n >= len(f.skies) {
			return f.clockPtr(float64(h) * 60)
		}
	}
	return nil
}

// worthSaying is the share of members from which on wet forms are worth a
// line: a caution for one weather in 200 is noise (judgement).
const worthSaying = 0.1

// cautions adds what the builder must know of a morning.
func (f *frame) cautions(out *job.Morning, d *morning, x *dayDetail, plannedPour bool) {
	add := func(c job.Caution) { out.Cautions = append(out.Cautions, c) }
	f.staleness(add)
	if x == nil || len(x.tally) == 0 {
		return
	}
	if x.unknown {
		add(job.Caution{Code: "unknown-weather", Severity: job.Act, Source: "judgement", Data: says(message.New(CautionUnknownWeather))})
	}
	if x.thunder > 0 {
		c := job.Caution{Code: "thunder", Severity: job.Watch, Source: "common practice",
			Data:   says(f.chanceOf(CautionThunder, x.thunder, message.Duration("wait", thunderWait))),
			Figure: &job.Figure{Name: "chance_thunder", Value: round4(float64(x.thunder) / float64(len(f.skies))), Limit: thunderShare}}
		if float64(x.thunder) >= thunderShare*float64(len(f.skies)) {
			c.Severity = job.Act
		}
		add(c)
	}
	if float64(x.puddles) >= worthSaying*float64(len(f.skies)) {
		c := job.Caution{Code: "wet-base", Severity: job.Note, Source: "judgement",
			Data:   says(f.chanceOf(CautionWetBase, x.puddles, message.Duration("clear", puddleMin*time.Minute))),
			Figure: &job.Figure{Name: "chance_puddles", Value: round4(float64(x.puddles) / float64(len(f.skies))), Limit: 0.5}}
		if 2*x.puddles >= len(f.skies) {
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
func (f *frame) staleness(add func(job.Caution)) {
	age := f.job.Trust.Age
	hours := math.Round(age.Hours()*10) / 10
	switch {
	case age > forecast.OldAfter:
		add(job.Caution{Code: agedCode, Severity: job.Act, Source: "judgement", Figure: &job.Figure{Name: "forecast_age_h", Value: hours, Limit: float64(forecast.OldAfter / time.Hour)},
			Data: says(message.New(CautionOld, message.Duration("age", age.Truncate(time.Hour))))})
	case age > forecast.AgedAfter:
		add(job.Caution{Code: agedCode, Severity: job.Watch, Source: "judgement", Figure: &job.Figure{Name: "forecast_age_h", Value: hours, Limit: float64(forecast.AgedAfter / time.Hour)},
			Data: says(message.New(CautionAged, message.Duration("age", age.Truncate(time.Hour))))})
	}
}

// rules asks the concrete's own rules of cold, heat, drying and the crew.
func (f *frame) rules(out *job.Morning, d *morning, x *dayDetail) []concrete.Rule {
	opt := func(v *float64) unit.Opt {
		if v == nil {
			return unit.Opt{}
		}
		return unit.Some(*v)
	}
	p := &f.pads[x.pads[0]]
	t := &out.Parts.Temperature
	cold := concrete.ColdInput{Thickness: unit.Metres(p.ThicknessM), MixC: opt(t.MixC), AirC: f.airAt(d.ref, x.tally[0].place0),
		AirMinC: f.youngMin(d, x), SlabMinC: opt(t.SlabMinC), GroundFrozen: f.frozen(d.ref, x.start+f.crew.SetUp), Accelerated: f.spec.Mix.Cement == "rapid",
		Spell: concrete.ColdSpellOn(concrete.Hourly{Start: f.start, AirC: f.air(d.ref)}, d.date, f.zone), UncoverDropK: f.uncoverDrop(d, x)}
	if b := f.spec.Mix.BagTemperatureC; b != nil {
		cold.Bag = &concrete.BagWater{BagC: unit.Celsius(*b), BagKg: unit.Kilograms(f.spec.Mix.BagKg), WaterL: f.spec.Mix.WaterLPerBag}
	} else if m, ok := slabs.MeanBefore(concrete.Hourly{Start: f.start, AirC: f.air(d.ref)}, f.clock(x.start), 24); ok {
		cold.Bag = &concrete.BagWater{BagC: unit.Celsius(m), BagKg: unit.Kilograms(f.spec.Mix.BagKg), WaterL: f.spec.Mix.WaterLPerBag}
	}
	rules := concrete.ColdRules(cold)
	rules = append(rules, concrete.HotRules(concrete.HotInput{MixC: opt(t.MixC), AirMaxC: opt(t.AirMaxC), EvapPeak: opt(out.Parts.Evaporation.PeakKgM2H), Bag: cold.Bag})...)
	heat, chill, sunny := f.crewWeather(d, x)
	return append(rules, concrete.CrewWeather(heat, chill, sunny)...)
}

// uncoverDrop returns how much warmer the first pad's surface is than the air
// when its cover comes off, in K; unknown without a cover.
func (f *frame) uncoverDrop(d *morning, x *dayDetail) unit.Opt {
	if f.cover.Cover == "" {
		return unit.Opt{}
	}
	off := f.minute(d.date.AddDays(1).At(slabs.CoverUntil, f.zone))
	b, air := f.firstSlab(d, x), f.airAt(d.ref, off)
	if h := hourOf(off) - hourOf(x.tally[0].place0); b != nil && h >= 0 && h < len(b.SurfaceC) && air.Known {
		return unit.Some(b.SurfaceC[h] - air.V)
	}
	return unit.Opt{}
}

// firstSlab returns how a day's first pad behaves, placed on the hour.
func (f *frame) firstSlab(d *morning, x *dayDetail) *concrete.Behaviour {
	k := f.pads[x.pads[0]].kind
	return f.job.Slabs.Behave(slabs.Query{Track: d.ref, Kind: k.Slabs.Kind,
		Placed: f.start.Add(time.Duration(hourOf(x.tally[0].place0)) * time.Hour)})
}

func (f *frame) airAt(track int, min float64) unit.Opt {
	air := f.air(track)
	if h := hourOf(min); h >= 0 && h < len(air) {
		return unit.Some(air[h])
	}
	return unit.Opt{}
}

// youngMin returns the least air temperature in the three days after the first
// pad is placed, as far as the forecast reaches: the time of protection of a
// slab without load that frost can reach (ACI 306R-88 table 5.3, from memory).
func (f *frame) youngMin(d *morning, x *dayDetail) unit.Opt {
	low := math.Inf(1)
	air := f.air(d.ref)
	for h := max(0, hourOf(x.start)); h < min(hourOf(x.start)+72, len(air)); h++ {
		if !math.IsNaN(air[h]) {
			low = min(low, air[h])
		}
	}
	return unit.Some(low)
}

// crewWeather returns the highest heat index and the lowest wind chill of the
// work in C, and whether the sun shines on it.
func (f *frame) crewWeather(d *morning, x *dayDetail) (heat, chill unit.Opt, sunny bool) {
	w := &f.wx.Members[f.byTrk[d.ref][0]]
	for h := max(0, hourOf(x.start)); h < min(hourAfter(x.end), len(w.AirC)); h++ {
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
func (f *frame) setCautions(add func(job.Caution), x *dayDetail) {
	last := &x.tally[len(x.tally)-1]
	add(job.Caution{Code: "times-are-estimates", Severity: job.Note, Source: "common practice", Data: says(message.New(CautionEstimates))})
	if j := x.binding(); j >= 0 && x.tally[j].inspect >= 0.05 {
		t := &x.tally[j]
		add(job.Caution{Code: "rain-to-inspect", Severity: job.Watch, Source: "judgement", Figure: &job.Figure{Name: "chance_inspect", Value: round4(t.inspect), Limit: 0.05},
			Data: says(message.New(CautionInspect, message.Name("pad", f.pads[x.pads[j]].Name), f.instant("set", last.place0+last.slab.Final)))})
	}
	for _, p := range x.pads {
		for _, a := range f.pads[p].after {
			if q := &f.pads[a.pad]; !q.left && poured(q.rec.State) && touches(f.pads[p].Pad, q.Pad) {
				r := concrete.BondBreakRule()
				add(job.Caution{Code: r.ID, Severity: job.Severity(r.Severity), Data: says(message.Stored(r.Text)), Source: r.Source})
				return
			}
		}
	}
}

// chart returns the hours that the day strip draws: from before first light
// until the next sunrise or 09:00.
func (f *frame) chart(d *morning, x *dayDetail) *job.Chart {
	c := &job.Chart{Hours: []job.ChartHour{}}
	from := max(0, hourOf(d.noon-9*60))
	until := min(hourOf(d.noon+21*60), f.wx.Hours)
	w := &f.wx.Members[f.byTrk[d.ref][0]]
	var evap, surface []float64
	base := 0
	if x != nil && len(x.tally) > 0 {
		base = hourOf(x.tally[0].place0)
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
		for m := range f.skies {
			s := &f.skies[m]
			if !s.unknown.before(h, h+1) {
				known++
				n += flag(s.light.before(h, h+1))
			}
		}
		hour := job.ChartHour{Time: f.clock(float64(h) * 60), AirC: at(w.AirC, h), SlabC: at(surface, h-base), EvapKgM2H: at(evap, h-base)}
		if known > 0 {
			p := round4(float64(n) / float64(known))
			hour.RainChance = &p
		}
		c.Hours = append(c.Hours, hour)
	}
	return c
}
