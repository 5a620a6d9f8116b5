package concrete

import (
	"math"
	"strconv"

	"dryslot/internal/fault"
	"dryslot/internal/message"
	"dryslot/internal/unit"
)

// Evaporation of bleed water at which to watch and to act, kg/m2/h: 1.0 is
// ACI 305R's 0.2 lb/ft2/h; half of it is for mixes that bleed little
// (silicafume.org notes on ACI 305R-91).
const (
	EvaporationWatch = 0.5
	EvaporationAct   = 1.0
)

// EvaporationAccuracy is the share by which the true rate may lie off the
// estimate on either side (Hover, ACI SP-338, 2020).
const EvaporationAccuracy = 0.40

// EvaporationEstimate is the drying of a wet concrete surface. It holds while
// the surface shines with water; it is a guide to risk, not a measurement.
type EvaporationEstimate struct {
	RateKgM2H float64  // Menzel; 0 when water condenses on the slab instead
	UnoKgM2H  unit.Opt // Uno, for comparison
	LowKgM2H  float64  // RateKgM2H less and plus EvaporationAccuracy
	HighKgM2H float64
	Method    string
	Cautions  []message.Message // the accuracy, and what to do where it matters
}

// Ranges that Evaporation takes. Below -18 C Uno's formula has no value.
var evaporationRanges = []numRange{
	// fresh concrete is not frozen, nor hotter; the published tables reach from 10 to 38 C (Lerch 1957, from memory)
	{"concrete_c", 0, 50},
	{"air_c", -18, 50},       // Uno, ACI Materials Journal 95-M34, 1998, has no value below -18 C
	{"humidity_pct", 0, 100}, // relative humidity
	// mean wind at the slab, not gusts; the published tables reach to 11 m/s (Lerch 1957, from memory)
	{"wind_m_s", 0, 30},
}

// Evaporation estimates the drying of a wet surface at concreteC in air at
// airC and humidityPct under a mean wind at the slab (about 0.5 m above it) of
// windMS, after Menzel 1954. Concrete 0 to 50 C, air -18 to 50 C, humidity 0
// to 100 %, wind 0 to 30 m/s; all else is an Invalid fault that names the
// range and its source.
func Evaporation(concreteC, airC unit.Celsius, humidityPct, windMS float64) (EvaporationEstimate, error) {
	if err := within(EvaporationUnknown, evaporationRanges, float64(concreteC), float64(airC), humidityPct,
		windMS); err != nil {
		return EvaporationEstimate{}, err
	}
	rate := EvaporationRate(float64(concreteC), float64(airC), humidityPct, windMS)
	e := EvaporationEstimate{
		RateKgM2H: rate,
		UnoKgM2H:  unit.Some(unoRate(float64(concreteC), float64(airC), humidityPct, windMS)),
		LowKgM2H:  rate * (1 - EvaporationAccuracy),
		HighKgM2H: rate * (1 + EvaporationAccuracy),
		Method:    "Menzel 1954 (as behind the ACI 305R chart)",
	}
	e.Cautions = []message.Message{message.New(EvaporationEstimated, message.Chance("either_way", EvaporationAccuracy))}
	mind := func(code message.Code, figures ...message.Figure) {
		e.Cautions = append(e.Cautions, message.New(code, figures...))
	}
	switch {
	case rate >= EvaporationAct:
		mind(EvaporationCracks, message.Evaporation("limit", EvaporationAct))
	case rate >= EvaporationWatch:
		mind(EvaporationMayCrack, message.Evaporation("limit", EvaporationWatch))
	}
	if float64(concreteC) < 10 || concreteC > 38 || airC > 38 || airC < -1.1 || windMS > 25*unit.MSPerMPH ||
		humidityPct < 10 {
		mind(EvaporationOffTable) // Lerch 1957, from memory
	}
	return e, nil
}

// EvaporationRate is Menzel's rate in kg/m2/h without checks, for use inside
// loops: not below 0 (condensation is not counted), NaN where an input is.
//
//	W = 0.315 (e0 - ea)(0.253 + 0.060 V), kPa, km/h
//
// (Menzel 1954 with the Lake Hefner coefficients, from memory; it reproduces
// the PCA table of Lerch 1957.)
func EvaporationRate(concreteC, airC, humidityPct, windMS float64) float64 {
	drive := SaturationKPa(concreteC) - humidityPct/100*SaturationKPa(airC)
	w := 0.315 * drive * (0.253 + 0.060*windMS/unit.MSPerKMH)
	if w < 0 {
		return 0
	}
	return w
}

// unoRate is Uno's rate in kg/m2/h (ACI Materials Journal 95(4), 1998,
// 95-M34), not below 0 and NaN under -18 C, where the power has no value.
func unoRate(concreteC, airC, humidityPct, windMS float64) float64 {
	e := 5e-6 * (math.Pow(concreteC+18, 2.5) - humidityPct/100*math.Pow(airC+18, 2.5)) * (windMS/unit.MSPerKMH + 4)
	if e < 0 {
		return 0
	}
	return e
}

// SaturationKPa is the pressure of water vapour over water at c degrees
// Celsius (Alduchov and Eskridge, J. Applied Meteorology 35, 1996, from
// memory: 0.4 % from -40 to 50 C).
func SaturationKPa(c float64) float64 { return 0.61094 * math.Exp(17.625*c/(c+243.04)) }

// Codes of an estimate of evaporation: sources stand beside the limits.
const (
	EvaporationUnknown   message.Code = "evaporation_unknown"
	EvaporationEstimated message.Code = "evaporation_estimated" // either_way_chance: share that it may be off
	EvaporationCracks    message.Code = "evaporation_cracks"    // limit_kg_m2_h
	EvaporationMayCrack  message.Code = "evaporation_may_crack" // limit_kg_m2_h
	EvaporationOffTable  message.Code = "evaporation_off_table"
)

// numRange is the range of one input.
type numRange struct {
	name      string
	low, high float64
}

// within returns an Invalid fault that names every value outside its range.
func within(code message.Code, ranges []numRange, values ...float64) error {
	var bad fault.List
	for i, r := range ranges {
		if v := values[i]; !(v >= r.low && v <= r.high) {
			bad.Break(r.name, number(v), fault.Range(r.low, r.high, ""))
		}
	}
	return bad.Broken(code)
}

func number(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }
