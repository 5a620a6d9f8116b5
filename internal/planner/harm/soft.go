package harm

import "math"

// Lying is how a soft pad lies when rain comes.
type Lying uint8

// The ways of lying. Covered is under plastic on props.
const (
	Open Lying = iota
	CoveredInTime
	CoveredLate // in the rain
)

// Intensity classes an hour's rain by what it does to a soft pad.
type Intensity int8

// The classes. Unknown rain is Heavy.
const (
	Harmless Intensity = iota - 1
	Light              // LightMM or more
	Moderate           // loses a pad that lies open
	Heavy              // more than HeavyMM: covers don't help
)

// Chances that rain loses a soft pad, by how it lies and intensity (judgement:
// nothing is published; heavy rain counts as if no cover held).
var (
	openLoses       = [3]float64{LightLoses, 1, 1}
	coverLoses      = [3][3]float64{openLoses, {0.05, 0.1, 1}, {0.12, 0.5, 1}}
	coverLosesHarsh = [3][3]float64{openLoses, {0.12, 0.25, 1}, {0.2, 0.8, 1}}
)

// MarkedByCover is the chance that a pad covered while soft, on which no rain
// fell, has to be looked over for marks (judgement).
const MarkedByCover = 0.3

// SoftPad is what rain does to a pad between placing and initial set.
type SoftPad struct {
	limits RainLimits
	lost   [3][3]float64 // by how it lies and intensity
}

// Soft returns it for a project's limits; harsh is the harsher reading of what
// covers save.
func Soft(l RainLimits, harsh bool) SoftPad {
	if harsh {
		return SoftPad{l, coverLosesHarsh}
	}
	return SoftPad{l, coverLoses}
}

// Intensity classes an hour's rain in mm; NaN is unknown.
func (s *SoftPad) Intensity(mm float64) Intensity {
	switch {
	case math.IsNaN(mm) || LosesCovered(mm) && s.limits.Loses(mm):
		return Heavy
	case s.limits.Loses(mm):
		return Moderate
	case s.limits.MayLose(mm):
		return Light
	}
	return Harmless
}

// Lost returns the chance that a pad is lost whose worst hour of rain is of an
// intensity.
func (s *SoftPad) Lost(i Intensity, lies Lying) float64 {
	if i == Harmless {
		return 0
	}
	return s.lost[lies][i]
}
