package concrete

import (
	"time"

	"dryslot/internal/unit"
)

// Hourly is the weather around a slab, hour by hour from Start. Every slice
// has one value an hour; NaN is unknown. Values between hours are linear in
// time, except Shortwave, which is the hour's mean.
type Hourly struct {
	Start        time.Time
	AirC         []float64
	HumidityPct  []float64
	WindMS       []float64 // at 10 m
	CloudPct     []float64
	ShortwaveWM2 []float64
}

// Mix is what the behaviour of the concrete follows from.
type Mix struct {
	Cement         string  // general, rapid or slow
	WaterCement    float64 // by mass
	CementKgM3     float64 // 0: unknown
	Strength28dMPa float64
	// StrengthWaterCement is the water-cement ratio that Strength28dMPa was
	// stated at, such as the label's; more water than that costs strength.
	// 0: stated at WaterCement.
	StrengthWaterCement float64
	TemperatureC        unit.Celsius // as mixed
	SetFactor           float64      // learned from this project's log; 1: as the handbook
	CementIsGuessed     bool         // cement content not given by the builder
	// of an admixture or a rapid-setting bag: how many times faster strength grows; 0: 1
	AgeFactor float64
}

// Site is where the slab lies.
type Site struct {
	Latitude, Longitude float64
	ElevationM          float64
	WindFactor          float64 // wind at the slab over wind at 10 m
	Subgrade            string  // sand, gravel, clay, soil or insulated
	ShadeUntil          time.Time
	Shade               []Shade // other times without direct sun
	Wetted              bool    // the base is damp when the concrete comes
}

// Shade is a time in which only diffuse light falls on the slab.
type Shade struct{ From, Until time.Time }

// Guard is what is done against drying, hours From until Until after placing:
// each figure is the share that is left of it, 0 to 1. See GuardOf.
type Guard struct {
	From, Until time.Duration
	Wind        float64 // of the wind at the slab
	Sun         float64 // of the direct sun
	Drying      float64 // of the evaporation
}

// CoverSpan is a cover lying on the slab from From until Until after placing.
type CoverSpan struct {
	Kind           string // plastic (black), film (clear or white), burlap or blanket
	From, Until    time.Duration
	ResistanceM2KW float64
}

// Casting is one slab as placed.
type Casting struct {
	Thickness unit.Metres
	Mix       Mix
	Site      Site
	Placed    time.Time
	Finish    string // broom or trowel
	Covers    []CoverSpan
	Guard     *Guard // nil: nothing is done against drying
	Weather   Hourly
}

// Never stands for a time that is not reached within the weather given.
const Never = time.Duration(1<<63 - 1)

// Behaviour is what the slab does. Durations count from Casting.Placed; Never
// where the weather given ends first. All of it is an estimate: at the slab
// the builder's own test rules (sheen gone, a boot leaves about 6 mm).
type Behaviour struct {
	InitialSet  time.Duration
	FinalSet    time.Duration
	FinishFrom  time.Duration // bleed water gone and a boot leaves about 6 mm
	FinishUntil time.Duration // by the finish asked for, sooner where the surface crusts
	Crusts      time.Duration // the dried surface stiffens over soft concrete, before it would close by itself
	CrustRisk   float64       // chance of that, with the estimate's own error; 0 to 1
	StripFrom   time.Duration
	FrostSafe   time.Duration
	WalkFrom    time.Duration
	CuredBy     time.Duration
	UncoverFrom time.Duration    // the cover may come off, where whoever laid it asked; 0: no cover
	Reaches     [3]time.Duration // low-end strengths of 2, 3.5 and 5 MPa; see ChipChance

	ColdestC   unit.Celsius // of any node before frost-safe
	ColdestAt  time.Duration
	EdgeC      unit.Celsius // the same at an edge and at a corner, by EdgeShare; as the middle under a blanket
	CornerC    unit.Celsius
	Freezes    bool    // a node or a corner below 0 C before frost-safe
	EvapPeak   float64 // kg/m2/h between placing and initial set
	EvapPeakAt time.Duration
	EvapOver1  time.Duration // time above 1.0 kg/m2/h in that span
	Unknown    bool          // weather needed until final set was missing; values are then what could be had
	LateGuess  bool          // weather after final set was missing: frost, stripping and curing rest on cold stand-ins

	DriedKgM2 float64 // water that evaporated until initial set

	SurfaceC []float64 // at each whole hour after placing, until the slab is cured
	EvapRate []float64 // kg/m2/h at each whole hour after placing, until initial set
}

// Times returns the fields that are durations since placing. What they stand for may
// come late, or never.
func (b *Behaviour) Times() [10]*time.Duration {
	return [...]*time.Duration{&b.InitialSet, &b.FinalSet, &b.FinishFrom, &b.FinishUntil, &b.Crusts, &b.StripFrom,
		&b.FrostSafe, &b.WalkFrom, &b.CuredBy, &b.UncoverFrom}
}

func celsius(c float64) unit.Celsius { return unit.Celsius(c) }
