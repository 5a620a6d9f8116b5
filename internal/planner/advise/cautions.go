package advise

import (
	"math"
	"time"

	"dryslot/internal/concrete"
	"dryslot/internal/forecast"
	"dryslot/internal/message"
	"dryslot/internal/planner/harm"
	"dryslot/internal/planner/job"
	"dryslot/internal/planner/policy"
	"dryslot/internal/planner/slabs"
	"dryslot/internal/pour"
	"dryslot/internal/takeoff"
	"dryslot/internal/unit"
)

// parts fills what the score is made of from a day's work.
func (f *Adviser) parts(out *job.Morning, d *policy.Day, x *policy.DayWork) *spreads {
	w := f.spreadsOf(d, x)
	t := &out.Parts.Temperature
	t.AirMinC, t.AirMaxC = f.ownAirRange(d)
	if t.AirMinC == nil {
		t.AirMinC, t.AirMaxC = w.airMin.middle(tenth), w.airMax.middle(tenth)
	}
	t.AirMin, t.AirMax = w.airMin.span(tenth), w.airMax.span(tenth)
	if x == nil || len(x.Tally) == 0 {
		return w
	}
	u, dry := policy.Round4(x.Unharmed), policy.Round4(x.AnyDry)
	out.Parts.Rain.ChanceUnharmed, out.Parts.Rain.ChanceDry = &u, &dry
	out.Parts.Rain.FirstWetHour = f.firstWet(x)
	suit := policy.Round4(f.temperatureSuit(d, f.Pads[x.Pads[0]].Kind, x.Start))
	t.Suitability = &suit
	t.MixC, t.Mix = w.mix.middle(tenth), w.mix.span(tenth)
	t.SlabMinC, t.SlabMin, t.Corner = w.slabMin.middle(tenth), w.slabMin.span(tenth), w.corner.span(tenth)
	e := &out.Parts.Evaporation
	e.PeakKgM2H, e.Peak = w.evap.middle(hundredth), w.evap.span(hundredth)
	peak, peakAt, frost := 0.0, math.NaN(), math.Inf(-1)
	for i := range x.Tally {
		s := &x.Tally[i].Slab
		frost = max(frost, x.Tally[i].Place0+s.FrostSafe)
		if s.Evap >= peak && !math.IsInf(s.EvapAt, 0) {
			peak, peakAt = s.Evap, x.Tally[i].Place0+s.EvapAt
		}
	}
	t.FrostSafeAt = f.ClockPtr(frost)
	if !math.IsNaN(peakAt) {
		e.At = f.ClockPtr(peakAt)
	}
	share := 1.0
	if x.End > x.Start {
		share = max(0, min(x.End, d.Hours.Dark)-max(x.Start, d.Hours.Light)) / (x.End - x.Start)
	}
	share = policy.Round4(share)
	out.Parts.Light.ShareOfWorkInLight = &share
	return w
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

// worthSaying is the share of members from which on something is worth a line: a
// caution for one weather in 200 is noise (judgement).
const worthSaying = 0.1

// cautions adds what the builder must know of a morning.
func (f *Adviser) cautions(out *job.Morning, d *policy.Day, x *policy.DayWork, w *spreads, plannedPour bool) {
	add := func(c job.Caution) { out.Cautions = append(out.Cautions, c) }
	f.staleness(add)
	if x == nil || len(x.Tally) == 0 {
		return
	}
	if x.Unknown {
		add(job.Caution{Code: "unknown-weather", Severity: job.Act, SourceData: message.New(concrete.SourceJudgement),
			Data: says(message.New(job.CautionUnknownWeather))})
	}
	f.thunderAndPuddles(add, x)
	for _, r := range f.sharedRules(x, w) {
		c := f.fromRule(r.Rule)
		if len(f.Skies) > 1 && r.share < 1 {
			share := policy.Round4(r.share)
			c.Share = &share
			c.Data = append(c.Data, message.New(job.CautionShare, message.Chance("", share)))
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

// fromRule is a rule of the trade as a caution.
func (f *Adviser) fromRule(r concrete.Rule) job.Caution {
	c := job.Caution{Code: r.ID, Severity: job.Severity(r.Severity), Data: r.Data, SourceData: r.SourceData}
	if r.Figure != nil {
		c.Figure = &job.Figure{Name: r.Figure.Name, Value: math.Round(r.Figure.Value*100) / 100,
			Limit: math.Round(r.Figure.Limit*100) / 100}
	}
	return c
}

// thunderAndPuddles speaks of what the rain of members brings.
func (f *Adviser) thunderAndPuddles(add func(job.Caution), x *policy.DayWork) {
	shareOf := func(n int) float64 { return policy.Round4(float64(n) / float64(len(f.Skies))) }
	if x.Thunder > 0 {
		share := shareOf(x.Thunder)
		c := job.Caution{Code: "thunder", Severity: job.Watch, SourceData: message.New(concrete.SourceCommonPractice),
			Share:  &share,
			Data:   says(f.chanceOf(job.CautionThunder, x.Thunder, message.Duration("wait", thunderWait))),
			Figure: &job.Figure{Name: "chance_thunder", Value: share, Limit: policy.ThunderShare}}
		if share >= policy.ThunderShare {
			c.Severity = job.Act
		}
		add(c)
	}
	if float64(x.Puddles) >= worthSaying*float64(len(f.Skies)) {
		share := shareOf(x.Puddles)
		c := job.Caution{Code: "wet-base", Severity: job.Note,
			SourceData: message.New(job.SourceBasePumps), Share: &share,
			Data: says(f.chanceOf(job.CautionWetBase, x.Puddles, message.Duration("clear", harm.PuddleMin*time.Minute)),
				message.New(job.CautionBasePumps)),
			Figure: &job.Figure{Name: "chance_puddles", Value: share, Limit: 0.5}}
		if 2*x.Puddles >= len(f.Skies) {
			c.Severity = job.Watch
		}
		add(c)
	}
	if kind := f.Spec.BaseCover(); kind != pour.NoCover && kind != "" {
		add(job.Caution{Code: "base-covered", Severity: job.Note,
			SourceData: message.New(concrete.SourceCommonPractice),
			Data:       says(message.New(job.CautionBaseCovered, message.Term("cover", kind)))})
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
		add(job.Caution{Code: agedCode, Severity: job.Act, SourceData: message.New(concrete.SourceJudgement),
			Figure: &job.Figure{Name: "forecast_age_h", Value: hours, Limit: float64(forecast.OldAfter / time.Hour)},
			Data:   says(message.New(job.CautionOld, message.Duration("age", age.Truncate(time.Hour))))})
	case age > forecast.AgedAfter:
		add(job.Caution{Code: agedCode, Severity: job.Watch, SourceData: message.New(concrete.SourceJudgement),
			Figure: &job.Figure{Name: "forecast_age_h", Value: hours, Limit: float64(forecast.AgedAfter / time.Hour)},
			Data:   says(message.New(job.CautionAged, message.Duration("age", age.Truncate(time.Hour))))})
	}
}

// firstSlab returns how a day's first pad behaves, placed on the hour.
func (f *Adviser) firstSlab(d *policy.Day, x *policy.DayWork) *concrete.Behaviour {
	k := f.Pads[x.Pads[0]].Kind
	return f.Job.Slabs.Behave(slabs.Query{Track: d.Track, Kind: k.Slabs.Kind,
		Placed: f.hourOf(x.Tally[0].Place0)})
}

// hourOf returns the whole hour that a minute lies in.
func (f *Adviser) hourOf(min float64) time.Time {
	return f.Start.Add(time.Duration(policy.HourOf(min)) * time.Hour)
}

func (f *Adviser) airAt(track int, min float64) unit.Opt {
	air := f.Air(track)
	if h := policy.HourOf(min); h >= 0 && h < len(air) {
		return unit.Some(air[h])
	}
	return unit.Opt{}
}

// inspectWorthSaying is the chance of having to inspect a pad from which on a caution
// says so (judgement).
const inspectWorthSaying = 0.05

// most returns which pad of a day has the most of something.
func most(x *policy.DayWork, of func(int) float64) int {
	best := 0
	for i := range x.Tally {
		if of(i) > of(best) {
			best = i
		}
	}
	return best
}

// afterwards speaks of stripping and curing.
func (f *Adviser) afterwards(add func(job.Caution), x *policy.DayWork) {
	if j := most(x, func(i int) float64 { return x.Tally[i].Slab.Chip }); x.Tally[j].Slab.Chip > 0 {
		add(f.fromRule(concrete.ChipRule(x.Tally[j].Slab.Chip)))
	}
	m := &f.Spec.Mix
	ratio := takeoff.WaterCement(*m, takeoff.WaterL(*m))
	add(f.fromRule(concrete.CuringRule(f.Spec.Practice.Curing, f.Spec.Practice.CuringDays, concrete.DampDays(m.Cement,
		ratio.V, ratio.Known))))
}

// setCautions speaks of what the times of a planned pour ask for.
func (f *Adviser) setCautions(add func(job.Caution), x *policy.DayWork) {
	last := &x.Tally[len(x.Tally)-1]
	add(job.Caution{Code: "times-are-estimates", Severity: job.Note,
		SourceData: message.New(concrete.SourceCommonPractice),
		Data:       says(message.New(job.CautionEstimates))})
	if j := most(x, func(i int) float64 {
		return x.Tally[i].InspectRain
	}); x.Tally[j].InspectRain >= inspectWorthSaying {
		t := &x.Tally[j]
		add(job.Caution{Code: "rain-to-inspect", Severity: job.Watch,
			SourceData: message.New(concrete.SourceJudgement),
			Figure: &job.Figure{Name: "chance_inspect_rain", Value: policy.Round4(t.InspectRain),
				Limit: inspectWorthSaying},
			Data: says(message.New(job.CautionInspect, message.Name("pad", f.Pads[x.Pads[j]].Name), f.instant("set",
				last.Place0+last.Slab.Final)))})
	}
	drying := most(x, func(i int) float64 { return x.Tally[i].InspectDrying })
	if j := drying; x.Tally[j].InspectDrying >= inspectWorthSaying {
		t := &x.Tally[j]
		add(job.Caution{Code: "drying-to-inspect", Severity: job.Watch,
			SourceData: message.New(concrete.SourceJudgement),
			Figure: &job.Figure{Name: "chance_inspect_drying", Value: policy.Round4(t.InspectDrying),
				Limit: inspectWorthSaying},
			Data: says(message.New(job.CautionInspectDrying, message.Name("pad", f.Pads[x.Pads[j]].Name),
				message.Chance("", policy.Round4(t.InspectDrying))))})
	}
	f.afterwards(add, x)
	for _, p := range x.Pads {
		for _, a := range f.Pads[p].After {
			if q := &f.Pads[a.Pad]; !q.Left && policy.Poured(q.Record.State) && touches(f.Pads[p].Pad, q.Pad) {
				add(f.fromRule(concrete.BondBreakRule()))
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
	air := f.Weather.AirC
	if air == nil {
		air = f.Air(d.Track)
	}
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
		hour := job.ChartHour{Time: f.Clock(float64(h) * 60), AirC: at(air, h), SlabC: at(surface, h-base),
			EvapKgM2H: at(evap, h-base)}
		if known > 0 {
			p := policy.Round4(float64(n) / float64(known))
			hour.RainChance = &p
		}
		c.Hours = append(c.Hours, hour)
	}
	return c
}
