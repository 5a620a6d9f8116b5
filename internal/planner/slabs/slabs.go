// Package slabs answers how a slab behaves in the weather of a plan: when it
// can be finished, when it has set, when it can be stripped, whether it freezes.
// What is worked out once is kept, within bounds, and shared by all plans under
// the same weather and mix.
//
//	s, err := slabs.New(spec, weather, slabs.Options{Zone: zone})
package slabs

import (
	"fmt"
	"math"
	"sync"
	"time"

	"dryslot/internal/concrete"
	"dryslot/internal/fault"
	"dryslot/internal/forecast"
	"dryslot/internal/pour"
	"dryslot/internal/takeoff"
	"dryslot/internal/unit"

	lru "github.com/hashicorp/golang-lru/v2"
)

// Step is the grid of placing times on which slabs are computed; between
// its points their times are interpolated.
const Step = time.Hour

// Options tunes New.
type Options struct {
	Zone      *time.Location // the project's; nil: UTC
	SetFactor float64        // learned from the project's log; 0: 1, as the handbook
}

// Slabs answers how a slab behaves.
type Slabs interface {
	// Behave returns the behaviour of a slab under one track of the scenarios.
	Behave(q Query) *concrete.Behaviour
	// Frozen reports whether the base is frozen under one track at an instant.
	// A cover lies on it from the evening before until the concrete comes; empty:
	// none. What can't be known counts as frozen.
	Frozen(track int, at time.Time, cover string) bool
}

// Query is one question to Slabs.
type Query struct {
	Kind
	Track  int
	Placed time.Time
	Brief  bool // only what concrete.Solver.BehaveBriefly gives
}

// What is kept of one weather and mix.
const (
	mostWhole   = 256  // answers with their hourly series, a few kilobytes each
	mostNodes   = 96   // kinds of slab, up to a few hundred kilobytes each
	mostDerived = 8    // of Shared
	mostFrosts  = 2048 // nights of one track, a few bytes each
)

// memory answers Slabs from package concrete.
type memory struct {
	spec    pour.Spec
	opt     Options
	tracks  []concrete.Hourly
	coldest [][]float64 // by track: the coldest air from each hour on, C
	solvers sync.Pool
	whole   *lru.Cache[Query, *concrete.Behaviour]
	grids   *lru.Cache[gridKey, *Nodes]
	frosts  *lru.Cache[frostKey, []bool]
	derived *lru.Cache[any, any]
	making  sync.Mutex // of grids and derived
}

type gridKey struct {
	Grid
	Kind
}

// New returns slab behaviour for a project under scenarios, computed with
// concrete.Behave when first asked for and remembered for as long as it is
// kept. It may be used by several goroutines. A nil weather is fault.Invalid.
func New(spec pour.Spec, weather *forecast.Scenarios, opt Options) (Slabs, error) {
	if weather == nil || len(weather.Members) == 0 {
		return nil, fault.New(fault.Invalid, "slabs need scenarios")
	}
	if opt.Zone == nil {
		opt.Zone = time.UTC
	}
	if opt.SetFactor == 0 {
		opt.SetFactor = 1
	}
	m := &memory{spec: spec, opt: opt, solvers: sync.Pool{New: func() any { return new(concrete.Solver) }}}
	m.whole, _ = lru.New[Query, *concrete.Behaviour](mostWhole) // errors are for sizes below 1 only
	m.grids, _ = lru.New[gridKey, *Nodes](mostNodes)
	m.frosts, _ = lru.New[frostKey, []bool](mostFrosts)
	m.derived, _ = lru.New[any, any](mostDerived)
	m.tracks = make([]concrete.Hourly, weather.Tracks)
	for i := range weather.Members {
		w := &weather.Members[i]
		if w.Track < 0 || w.Track >= weather.Tracks {
			return nil, fault.New(fault.Invalid, fmt.Sprintf("member %d has track %d of %d", i, w.Track,
				weather.Tracks))
		}
		if m.tracks[w.Track].AirC == nil {
			m.tracks[w.Track] = concrete.Hourly{Start: weather.Start, AirC: w.AirC, HumidityPct: w.HumidityPct,
				WindMS: w.WindMS, CloudPct: w.CloudPct, ShortwaveWM2: w.ShortwaveWM2}
		}
	}
	for _, w := range m.tracks {
		m.coldest = append(m.coldest, coldestFrom(w.AirC))
	}
	return m, nil
}

// coldestFrom returns the coldest air from each hour to the weather's end; an
// unknown hour may be as cold as can be.
func coldestFrom(air []float64) []float64 {
	low := make([]float64, len(air)+1)
	low[len(air)] = math.Inf(1)
	for h := len(air) - 1; h >= 0; h-- {
		v := air[h]
		if math.IsNaN(v) {
			v = math.Inf(-1)
		}
		low[h] = min(v, low[h+1])
	}
	return low
}

// noFrostAbove is the temperature of air and fresh concrete in C above which no
// slab freezes, whatever a clear sky and drying take from it: they cool a
// surface by less than this (judgement).
const noFrostAbove = 10.0

// Behave answers one question. Placing times are rounded down to Step.
func (m *memory) Behave(q Query) *concrete.Behaviour {
	q.Placed = q.Placed.UTC().Truncate(Step)
	if b, ok := m.whole.Get(q); ok {
		return b
	}
	solver := m.solvers.Get().(*concrete.Solver)
	defer m.solvers.Put(solver)
	c, known := m.casting(solver, q)
	var v concrete.Behaviour
	if q.Brief {
		h := max(0, int(q.Placed.Sub(c.Weather.Start).Hours()))
		low := m.coldest[q.Track]
		v = solver.BehaveBriefly(&c, h < len(low) && low[h] > noFrostAbove &&
			float64(c.Mix.TemperatureC) > noFrostAbove)
	} else {
		v = m.covered(solver, &c)
	}
	v.Unknown = v.Unknown || !known
	if !q.Brief { // brief answers are kept by Nodes
		m.whole.Add(q, &v)
	}
	return &v
}

// nodes returns the shared nodes of a kind.
func (m *memory) nodes(g Grid, k Kind) *Nodes {
	m.making.Lock()
	defer m.making.Unlock()
	key := gridKey{g, k}
	n, ok := m.grids.Get(key)
	if !ok {
		n = newNodes(m, g, k)
		m.grids.Add(key, n)
	}
	return n
}

// Shared returns what make gives for a key, made once for all who ask the same
// Slabs; of Slabs not made by New it is made each time.
func Shared[T any](s Slabs, key any, make func() T) T {
	m, ok := s.(*memory)
	if !ok {
		return make()
	}
	m.making.Lock()
	defer m.making.Unlock()
	if v, ok := m.derived.Get(key); ok {
		return v.(T)
	}
	v := make()
	m.derived.Add(key, v)
	return v
}

// covered returns all of a slab's behaviour. A cover stays on until the slab is
// safe from frost and through the protection period, and comes off when the air
// allows it; then the slab is followed anew.
func (m *memory) covered(solver *concrete.Solver, c *concrete.Casting) concrete.Behaviour {
	v := solver.Behave(c)
	if len(c.Covers) == 0 {
		return v
	}
	rapid := c.Mix.Cement == "rapid" || c.Mix.AgeFactor > 1
	off := concrete.UncoverAt(&v, c, concrete.KeepCovered(&v, coldAfter(&c.Weather, c.Placed), concrete.Exposed, rapid))
	if off != concrete.Never {
		c.Covers[0].Until = off
		v = solver.Behave(c)
	}
	v.UncoverFrom = off
	return v
}

// youngDays is how long cold matters: the protection period of a slab without
// load that frost can reach (ACI 306R-88 table 5.3, from memory).
const youngDays = 3

// coldAfter reports whether the air falls below the cold-weather limit while the
// slab is young; an unknown hour counts as cold.
func coldAfter(w *concrete.Hourly, placed time.Time) bool {
	from := max(0, int(placed.Sub(w.Start).Hours()))
	for h := from; h < min(from+24*youngDays, len(w.AirC)); h++ {
		if !(w.AirC[h] >= concrete.ColdAirC) {
			return true
		}
	}
	return false
}

func (m *memory) site(date unit.Date) concrete.Site {
	x := &m.spec.Site
	s := concrete.Site{Latitude: m.spec.Latitude, Longitude: m.spec.Longitude, WindFactor: x.WindFactor,
		Subgrade: x.Subgrade}
	if m.spec.ElevationM != nil {
		s.ElevationM = *m.spec.ElevationM
	}
	if x.MorningShadeUntil != nil {
		s.ShadeUntil = date.At(*x.MorningShadeUntil, m.opt.Zone)
	}
	for d := range shadedDays {
		on := date.AddDays(d)
		if x.AfternoonShadeFrom != nil {
			s.Shade = append(s.Shade, concrete.Shade{From: on.At(*x.AfternoonShadeFrom, m.opt.Zone),
				Until: on.AddDays(1).At(0, m.opt.Zone)})
		}
		for _, v := range x.Shade {
			s.Shade = append(s.Shade, concrete.Shade{From: on.At(v.From, m.opt.Zone), Until: on.At(v.Until,
				m.opt.Zone)})
		}
	}
	return s
}

// shadedDays is for how many days from its placing on a slab has the shade that
// the project gives: until it has set and hardened (judgement).
const shadedDays = 3

func (m *memory) casting(solver *concrete.Solver, q Query) (concrete.Casting, bool) {
	w := m.tracks[q.Track]
	temp, known := MixTemperature(m.spec.Mix, w, q.Placed, q.Kind)
	c := concrete.Casting{Thickness: q.Thickness, Placed: q.Placed, Finish: m.spec.Crew.Finish, Weather: w,
		Mix: mixOf(m.spec.Mix, m.opt.SetFactor, temp, q.Admixture), Site: m.site(unit.DateOf(q.Placed, m.opt.Zone))}
	c.Site.Wetted = q.Wetted
	if q.Against.Any() { // until the finish is done, which final set ends at the latest
		g := concrete.GuardOf(q.Against, 0, guardedFor)
		c.Guard = &g
	}
	if q.Cover != "" {
		bare := solver.BehaveBriefly(&c, true) // a cover goes on when the finish is done
		from := bare.FinishUntil
		if bare.FinishFrom != concrete.Never && from != concrete.Never {
			from = (bare.FinishFrom + bare.FinishUntil) / 2
		}
		if from != concrete.Never {
			c.Covers = []concrete.CoverSpan{{Kind: q.Cover, From: from, Until: longest, ResistanceM2KW: q.CoverR}}
		}
	}
	return c, known
}

// guardedFor is how long protection against drying stands: it is there for a
// surface that is open, and a surface that has set loses nothing here.
const guardedFor = 24 * time.Hour

// longest is longer than any forecast.
const longest = 60 * 24 * time.Hour

// mixOf returns the concrete's figures of a project's mix.
func mixOf(x pour.Mix, setFactor, temp float64, add concrete.Admixture) concrete.Mix {
	c := concrete.Mix{Cement: x.Cement, Strength28dMPa: x.Strength28dMPa, TemperatureC: unit.Celsius(temp),
		SetFactor: setFactor}
	share, known := x.CementShare()
	c.CementIsGuessed = !known
	label := x.WaterLPerBag / (share * x.BagKg) // 1 litre of water is 1 kg
	c.WaterCement, c.StrengthWaterCement = takeoff.WaterL(x)/(share*x.BagKg), label
	if !c.CementIsGuessed {
		c.CementKgM3 = share * x.BagKg / x.YieldLPerBag * 1000
	}
	set, age := concrete.AdmixtureFactors(add)
	if x.LabelInitialSetMin != nil { // the label's own times beat any factor
		set = concrete.LabelSetFactor(x.Cement, label, *x.LabelInitialSetMin)
	}
	if x.LabelWalkOnH != nil {
		age = concrete.LabelAgeFactor(*x.LabelWalkOnH)
	}
	c.SetFactor *= set
	c.AgeFactor = age
	return c
}

// MixTemperature returns the temperature of the concrete as mixed in C, and
// whether all it follows from is known. Bags lie at the mean of the air over
// the day before, water at that of the last three days and not below 5 C
// (judgement), where the builder does not say.
func MixTemperature(x pour.Mix, w concrete.Hourly, placed time.Time, k Kind) (float64, bool) {
	bag, ok1 := MeanBefore(w, placed, 24)
	switch {
	case k.BagC.Known:
		bag, ok1 = k.BagC.V, true
	case x.BagTemperatureC != nil:
		bag, ok1 = *x.BagTemperatureC, true
	}
	tap, ok2 := MeanBefore(w, placed, 72)
	tap = max(tap, 5)
	switch {
	case k.WaterC.Known:
		tap, ok2 = k.WaterC.V, true
	case x.WaterTemperatureC != nil:
		tap, ok2 = *x.WaterTemperatureC, true
	}
	e, err := concrete.BagMix(unit.Celsius(bag), unit.Celsius(tap), unit.Kilograms(x.BagKg), takeoff.WaterL(x), 0)
	if err != nil {
		return (bag + tap) / 2, false
	}
	return float64(e.MixC), ok1 && ok2
}

// MeanBefore returns the mean air temperature of the hours before an instant,
// as far as the weather reaches back; of the first day where it does not.
func MeanBefore(w concrete.Hourly, at time.Time, hours int) (float64, bool) {
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
