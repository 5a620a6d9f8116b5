package advise

import (
	"cmp"
	"math"
	"slices"

	"dryslot/internal/concrete"
	"dryslot/internal/planner/job"
	"dryslot/internal/planner/policy"
	"dryslot/internal/planner/slabs"
	"dryslot/internal/unit"
)

// spread is a figure in each of the weathers, weighed by their members.
type spread struct {
	values []weighed
	sum    float64
}

type weighed struct{ v, weight float64 }

// Steps that figures are rounded to.
const (
	tenth     = 10
	hundredth = 100
)

func (s *spread) add(v, weight float64) {
	if !math.IsNaN(v) && !math.IsInf(v, 0) {
		s.values = append(s.values, weighed{v, weight})
		s.sum += weight
	}
}

// at returns the value below which a share of the members lies.
func (s *spread) at(share float64) float64 {
	slices.SortStableFunc(s.values, func(a, b weighed) int { return cmp.Compare(a.v, b.v) })
	seen := 0.0
	for i := range s.values {
		if seen += s.values[i].weight; seen >= share*s.sum-1e-9 {
			return s.values[i].v
		}
	}
	return math.NaN()
}

// middle is the median; nil where nothing is known.
func (s *spread) middle(step float64) *float64 {
	if len(s.values) == 0 {
		return nil
	}
	v := math.Round(s.at(0.5)*step)/step + 0
	return &v
}

// span reaches from one in ten to nine in ten.
func (s *spread) span(step float64) *job.Range {
	if len(s.values) == 0 {
		return nil
	}
	return &job.Range{Low: math.Round(s.at(0.1)*step)/step + 0, High: math.Round(s.at(0.9)*step)/step + 0}
}

// sample is a morning's figures under one track.
type sample struct {
	track                       int
	weight                      float64 // members
	airMin, airMax              float64
	mix, slabMin, corner        float64
	evap, crust, crusts, drop   float64
	youngMin, heat, chill, wind float64
	sunny, frozen, spell        bool
	placed                      unit.Opt // air at placing, C
}

// spreads are a morning's figures, over its tracks.
type spreads struct {
	samples                                    []sample
	airMin, airMax, mix, slabMin, corner, evap spread
}

// How many tracks are looked at on the first mornings and on later ones, evenly
// picked: slabs are worked out to the end for each (judgement).
const (
	firstSamples = 12
	laterSamples = 6
)

// spreadsOf works out a morning's figures under the tracks.
func (f *Adviser) spreadsOf(d *policy.Day, x *policy.DayWork) *spreads {
	w := &spreads{}
	most := firstSamples
	if x != nil && x.Day >= f.First()+remedyMornings {
		most = laterSamples
	}
	every := max(1, (len(f.MembersOf)+most-1)/most)
	coldest := 0
	if x != nil {
		for i := range x.Tally {
			if x.Tally[i].Slab.Coldest < x.Tally[coldest].Slab.Coldest {
				coldest = i
			}
		}
	}
	for k, members := range f.MembersOf {
		if len(members) == 0 {
			continue
		}
		s := sample{track: k, weight: float64(len(members))}
		s.airMin, s.airMax = airRange(f.Air(k), d)
		w.airMin.add(s.airMin, s.weight)
		w.airMax.add(s.airMax, s.weight)
		if x == nil || len(x.Tally) == 0 || k%every != 0 {
			continue
		}
		f.sampleOf(&s, d, x, coldest)
		w.mix.add(s.mix, s.weight)
		w.slabMin.add(s.slabMin, s.weight)
		w.corner.add(s.corner, s.weight)
		w.evap.add(s.evap, s.weight)
		w.samples = append(w.samples, s)
	}
	return w
}

// sampleOf fills what a day's work meets under one track.
func (f *Adviser) sampleOf(s *sample, d *policy.Day, x *policy.DayWork, coldest int) {
	air := f.Air(s.track)
	first := x.Tally[0].Place0
	s.mix = math.NaN()
	if mix, ok := slabs.MixTemperature(f.Spec.Mix, concrete.Hourly{Start: f.Start, AirC: air}, f.Clock(first),
		f.Cover); ok {
		s.mix = mix
	}
	whole := f.Pads[x.Pads[coldest]].Kind.Slabs.Whole(s.track, x.Tally[coldest].Place0)
	s.slabMin, s.corner, s.drop = whole.Coldest, whole.Corner, math.NaN()
	for i := range x.Tally {
		b := f.Pads[x.Pads[i]].Kind.Slabs.At(s.track, x.Tally[i].Place0)
		s.evap = max(s.evap, b.Evap)
		if b.CrustRisk >= s.crust {
			s.crust, s.crusts = b.CrustRisk, x.Tally[i].Place0+b.Until
		}
	}
	s.placed = f.airAt(s.track, first)
	s.frozen = f.Frozen(s.track, x.Start+f.Crew.SetUp)
	s.spell = concrete.ColdSpellOn(concrete.Hourly{Start: f.Start, AirC: air}, d.Date, f.Zone)
	s.youngMin = youngMin(air, policy.HourOf(x.Start))
	if f.Cover.Cover != "" && !math.IsInf(whole.Uncover, 1) {
		s.drop = f.dropAt(s.track, x, coldest, whole.Uncover)
	}
	f.crewWeather(s, x)
}

// airRange returns the least and greatest air temperature of a date; NaN when it
// is not known.
func airRange(air []float64, d *policy.Day) (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	for h := max(0, policy.HourOf(d.Noon-12*60)); h < min(policy.HourOf(d.Noon+12*60), len(air)); h++ {
		if !math.IsNaN(air[h]) {
			low, high = min(low, air[h]), max(high, air[h])
		}
	}
	if low > high {
		return math.NaN(), math.NaN()
	}
	return low, high
}

// ownAirRange is the same of the feed's own air temperature; nil where it was
// not kept.
func (f *Adviser) ownAirRange(d *policy.Day) (low, high *float64) {
	lo, hi := airRange(f.Weather.AirC, d)
	if math.IsNaN(lo) {
		return nil, nil
	}
	lo, hi = math.Round(lo*tenth)/tenth+0, math.Round(hi*tenth)/tenth+0
	return &lo, &hi
}

// youngMin returns the least air temperature in the three days after the first
// pad is placed, as far as the forecast reaches: the time of protection of a
// slab without load that frost can reach (ACI 306R-88 table 5.3, from memory).
func youngMin(air []float64, from int) float64 {
	low := math.NaN()
	for h := max(0, from); h < min(from+72, len(air)); h++ {
		if !(low <= air[h]) && !math.IsNaN(air[h]) {
			low = air[h]
		}
	}
	return low
}

// dropAt returns how much warmer a pad's surface is than the air when its cover
// comes off, in K; NaN where it is not known.
func (f *Adviser) dropAt(track int, x *policy.DayWork, pad int, uncover float64) float64 {
	k := f.Pads[x.Pads[pad]].Kind
	b := f.Job.Slabs.Behave(slabs.Query{Track: track, Kind: k.Slabs.Kind, Placed: f.hourOf(x.Tally[pad].Place0)})
	air := f.airAt(track, x.Tally[pad].Place0+uncover)
	if h := int(uncover / 60); b != nil && h >= 0 && h < len(b.SurfaceC) && air.Known {
		return b.SurfaceC[h] - air.V
	}
	return math.NaN()
}

// crewWeather fills the highest heat index, the lowest wind chill and the
// strongest wind of the work, and whether the sun shines on it.
func (f *Adviser) crewWeather(s *sample, x *policy.DayWork) {
	w := &f.Weather.Members[f.MembersOf[s.track][0]]
	s.heat, s.chill, s.wind = math.NaN(), math.NaN(), math.NaN()
	at := func(v []float64, h int) float64 {
		if h < len(v) {
			return v[h]
		}
		return math.NaN()
	}
	for h := max(0, policy.HourOf(x.Start)); h < min(policy.HourAfter(x.End), len(w.AirC)); h++ {
		air, wind := unit.Celsius(w.AirC[h]), at(w.WindMS, h)
		if v := float64(concrete.HeatIndex(air, at(w.HumidityPct, h))); !(v <= s.heat) && !math.IsNaN(v) {
			s.heat = v
		}
		if v := float64(concrete.WindChill(air, wind)); !(v >= s.chill) && !math.IsNaN(v) {
			s.chill = v
		}
		if !(wind <= s.wind) && !math.IsNaN(wind) {
			s.wind = wind
		}
		s.sunny = s.sunny || at(w.ShortwaveWM2, h) > 400 // well above an overcast sky's (judgement)
	}
}
