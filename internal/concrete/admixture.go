package concrete

import (
	"time"

	"dryslot/internal/unit"
)

// Admixture is what is added to change how concrete sets.
type Admixture string

// The admixtures.
const (
	Plain       Admixture = "none"
	Retarder    Admixture = "retarder"
	Accelerator Admixture = "accelerator"
)

// AdmixtureFactors returns what an admixture makes of the time to set and of
// the speed at which strength grows, 1 for none. ASTM C494 (from memory) has
// types B and D set 1 to 3 1/2 h later than plain concrete, which sets at 4 1/2
// h or so, and reach 90 % of its strength at 3 days; types C and E set 1 to 3
// 1/2 h sooner and reach 125 %. Taken are the mild ends, 1 1/2 h later and 1 1/4
// h sooner, and the ages at which ACI 209R gives those strengths (1.25 instead
// of 1.49 for accelerators: judgement, on the safe side).
func AdmixtureFactors(a Admixture) (set, age float64) {
	switch a {
	case Retarder:
		return 1.33, 0.85
	case Accelerator:
		return 0.72, 1.25
	}
	return 1, 1
}

// labelC is the temperature that a label's times are taken to be stated at
// (common practice: 21 to 23 C).
const labelC unit.Celsius = 22

// LabelSetFactor returns the factor on the time to set of a bag whose label
// states initial set in minutes at ordinary temperature; 1 where it can't be
// worked out. A label's own time beats any admixture's factor.
func LabelSetFactor(cement string, waterCement, initialMin float64) float64 {
	s, err := SetTimes(labelC, cement, waterCement, "broom")
	if err != nil || !(initialMin > 0) {
		return 1
	}
	return max(quickest, initialMin/60/s.InitialH)
}

// LabelAgeFactor returns the factor on the growth of strength of a bag whose
// label states the hours after which it may be walked on at ordinary
// temperature; never below 1, as plain concrete takes a day.
func LabelAgeFactor(walkH float64) float64 {
	if !(walkH > 0) {
		return 1
	}
	return max(1, min(mostAgeFactor, frostSafeAgeH/walkH))
}

// Bounds of what is believed (judgement): set in a twentieth of the ordinary
// time, walked on after an hour.
const (
	quickest      = 0.05
	mostAgeFactor = 24
)

// slumpWater is the water that raises slump by 25 mm, litres in a m3 (trade
// rule, a gallon in a cubic yard for an inch, from memory).
const slumpWater = 5.0

// SlumpWater returns the litres a bag of yieldL litres of concrete takes more
// to go from one slump to another, mm; below 0 for less.
func SlumpWater(fromMM, toMM, yieldL float64) float64 {
	return (toMM - fromMM) / 25 * slumpWater * yieldL / 1000
}

// StripBandsMPa are the low-end strengths that part the bands of ChipChance.
var stripBandsMPa = [...]float64{stripMPa, 3.5, 5}

// ChipChance returns the chance that an edge chips when forms come off at a
// low-end strength in MPa. No source gives it: judgement, to be corrected by
// the builder's own ratings.
func ChipChance(lowMPa float64) float64 {
	chance := [...]float64{0.5, 0.2, 0.08, 0.03}
	i := 0
	for i < len(stripBandsMPa) && lowMPa >= stripBandsMPa[i] {
		i++
	}
	return chance[i]
}

// ChipChance returns the chance that an edge chips when the forms come off so
// long after placing; the most where the strength is not known by then.
func (b *Behaviour) ChipChance(after time.Duration) float64 {
	low := 0.0
	for i, at := range b.Reaches {
		if after >= at {
			low = stripBandsMPa[i]
		}
	}
	return ChipChance(low)
}
