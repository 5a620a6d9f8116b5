package planner

import (
	"fmt"
	"math"
	"sync"
	"time"

	"dryslot/internal/concrete"
	"dryslot/internal/fault"
	"dryslot/internal/forecast"
	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

// SlabStep is the grid of placing times on which slabs are computed; between
// its points their times are interpolated.
const SlabStep = time.Hour

// SlabOptions tunes NewSlabs.
type SlabOptions struct {
	Zone      *time.Location // the project's; nil: UTC
	SetFactor float64        // learned from the project's log; 0: 1, as the handbook
}

// memory answers Slabs from concrete.Behave, each question once.
type memory struct {
	spec    pour.Spec
	opt     SlabOptions
	tracks  []concrete.Hourly
	mu      sync.Mutex
	answers map[SlabQuery]*concrete.Behaviour
}

// NewSlabs returns slab behaviour for a project under scenarios, computed with
// concrete.Behave when first asked for and remembered for as long as it is
// kept. It may be used by several goroutines. A nil weather is fault.Invalid.
func NewSlabs(spec pour.Spec, weather *forecast.Scenarios, opt SlabOptions) (Slabs, error) {
	if weather == nil || len(weather.Members) == 0 {
		return nil, fault.New(fault.Invalid, "slabs need scenarios")
	}
	if opt.Zone == nil {
		opt.Zone = time.UTC
	}
	if opt.SetFactor == 0 {
		opt.SetFactor = 1
	}
	m := &memory{spec: spec, opt: opt, answers: map[SlabQuery]*concrete.Behaviour{}}
	m.tracks = make([]concrete.Hourly, weather.Tracks)
	for i := range weather.Members {
		w := &weather.Members[i]
		if w.Track < 0 || w.Track >= weather.Tracks {
			return nil, fault.New(fault.Invalid, fmt.Sprintf("member %d has track %d of %d", i, w.Track, weather.Tracks))
		}
		if m.tracks[w.Track].AirC == nil {
			m.tracks[w.Track] = concrete.Hourly{Start: weather.Start, AirC: w.AirC, HumidityPct: w.HumidityPct,
				WindMS: w.WindMS, CloudPct: w.CloudPct, ShortwaveWM2: w.ShortwaveWM2}
		}
	}
	return m, nil
}

// Behave answers one question. Placing times are rounded down to SlabStep.
func (m *memory) Behave(q SlabQuery) *concrete.Behaviour {
	q.Placed = q.Placed.UTC().Truncate(SlabStep)
	m.mu.Lock()
	b, ok := m.answers[q]
	m.mu.Unlock()
	if ok {
		return b
	}
	c, known := m.casting(q)
	v := concrete.Behave(c)
	v.Unknown = v.Unknown || !known
	m.mu.Lock()
	m.answers[q] = &v
	m.mu.Unlock()
	return &v
}

// coverUntil is how long covers lie when nothing else is said: until 09:00 of
// the next day, when the sun has taken over (judgement).
const coverUntil = unit.Clock(9 * 60)

func (m *memory) casting(q SlabQuery) (concrete.Casting, bool) {
	w := m.tracks[q.Track]
	temp, known := mixTemperature(m.spec.Mix, w, q.Placed, q.WaterC)
	c := concrete.Casting{Thickness: q.Thickness, Placed: q.Placed, Finish: m.spec.Crew.Finish, Weather: w,
		Mix:  mixOf(m.spec.Mix, m.opt.SetFactor, temp),
		Site: concrete.Site{Latitude: m.spec.Latitude, Longitude: m.spec.Longitude, WindFactor: m.spec.Site.WindFactor, Subgrade: m.spec.Site.Subgrade},
	}
	if m.spec.ElevationM != nil {
		c.Site.ElevationM = *m.spec.ElevationM
	}
	date := unit.DateOf(q.Placed, m.opt.Zone)
	if s := m.spec.Site.MorningShadeUntil; s != nil {
		c.Site.ShadeUntil = date.At(*s, m.opt.Zone)
	}
	if q.Cover != "" {
		bare := concrete.Behave(c) // a cover goes on when the finish is done
		from := bare.FinishUntil
		if bare.FinishFrom != concrete.Never && from != concrete.Never {
			from = (bare.FinishFrom + bare.FinishUntil) / 2
		}
		if from != concrete.Never {
			c.Covers = []concrete.CoverSpan{{Kind: q.Cover, From: from, Until: date.AddDays(1).At(coverUntil, m.opt.Zone).Sub(q.Placed), ResistanceM2KW: q.CoverR}}
		}
	}
	return c, known
}

// mixOf returns the concrete's figures of a project's mix.
func mixOf(x pour.Mix, setFactor float64, temp float64) concrete.Mix {
	c := concrete.Mix{Cement: x.Cement, Strength28dMPa: x.Strength28dMPa, TemperatureC: unit.Celsius(temp), SetFactor: setFactor}
	share := 0.15 // of the bag's mass; from memory, 14 to 18 % for general bagged mixes
	if x.CementFraction != nil {
		share = *x.CementFraction
	} else {
		c.CementIsGuessed = true
	}
	c.WaterCement = x.WaterLPerBag / (share * x.BagKg) // 1 litre of water is 1 kg
	c.StrengthWaterCement = c.WaterCement
	if !c.CementIsGuessed {
		c.CementKgM3 = share * x.BagKg / x.YieldLPerBag * 1000
	}
	return c
}

// mixTemperature returns the temperature of the concrete as mixed in C, and
// whether all it follows from is known. Bags lie at the mean of the air over
// the day before, water at that of the last three days and not below 5 C
// (judgement), where the builder does not say.
func mixTemperature(x pour.Mix, w concrete.Hourly, placed time.Time, water unit.Opt) (float64, bool) {
	bag, ok1 := meanBefore(w, placed, 24)
	if x.BagTemperatureC != nil {
		bag, ok1 = *x.BagTemperatureC, true
	}
	tap, ok2 := meanBefore(w, placed, 72)
	tap = max(tap, 5)
	switch {
	case water.Known:
		tap, ok2 = water.V, true
	case x.WaterTemperatureC != nil:
		tap, ok2 = *x.WaterTemperatureC, true
	}
	e, err := concrete.BagMix(unit.Celsius(bag), unit.Celsius(tap), unit.Kilograms(x.BagKg), x.WaterLPerBag, 0)
	if err != nil {
		return (bag + tap) / 2, false
	}
	return float64(e.MixC), ok1 && ok2
}

// meanBefore returns the mean air temperature of the hours before an instant,
// as far as the weather reaches back; of the first day where it does not.
func meanBefore(w concrete.Hourly, at time.Time, hours int) (float64, bool) {
	end := int(at.Sub(w.Start).Hours())
	from := max(0, end-hours)
	if end-from < 6 {
		end = min(from+24, len(w.AirC))
	}
	sum, n := 0.0, 0
	for h := from; h < min(end, len(w.AirC)); h++ {
		if v := w.AirC[h]; !math.IsNaN(v) {
			sum += v
			n++
		}
	}
	if n == 0 {
		return 10, false
	}
	return sum / float64(n), true
}
