// Package harm says what harms concrete and what follows from it: rain on a soft
// pad, a drying surface, a frozen base. Planning, the log, the back-test and the
// pages all ask here, so that a figure means one thing everywhere. What is not
// known counts as harm.
//
//	limits := harm.Rain(spec.Limits.Harm)
//	lost := limits.Loses(mm)
package harm

import "math"

// Rain in mm in an hour. 2.5 and 7.6 mm part light, moderate and heavy rain
// (FMH-1, from memory; AMS Glossary of Meteorology, "rain"); 0.25 mm is 0.01
// inch, the least that a US gauge reports. That they are what harms soft
// concrete is judgement: no standard gives a figure.
const (
	LightMM    = 0.25
	ModerateMM = 2.5
	HeavyMM    = 7.6
)

// LightLoses is the chance that light rain loses a soft pad that lies open
// (judgement: published guidance says remedy, not removal).
const LightLoses = 0.1

// InspectDays is what a pad that has to be looked over counts as, in days
// (judgement).
const InspectDays = 0.5

// RainLimits are the amounts of rain in an hour, in mm, from which on something
// is harmed.
type RainLimits struct {
	LosesMM float64 // an open pad, from placing to initial set
	light   bool    // lighter rain may lose it too
}

// Rain returns the limits of a project; limit is its own amount in mm from which
// on a soft pad is lost, nil: ModerateMM. Who gives an amount of his own holds
// that less does no harm.
func Rain(limit *float64) RainLimits {
	if limit != nil {
		return RainLimits{LosesMM: *limit}
	}
	return RainLimits{LosesMM: ModerateMM, light: true}
}

// Loses reports whether an hour's rain loses an open pad before initial set.
func (l RainLimits) Loses(mm float64) bool { return !(mm < l.LosesMM) }

// MayLose reports whether less rain than loses a pad still loses some.
func (l RainLimits) MayLose(mm float64) bool { return l.light && !(mm < LightMM) }

// Touches reports whether an hour's rain is enough to mark a soft pad or to stop
// the placing.
func Touches(mm float64) bool { return !(mm < LightMM) }

// Marks reports whether an hour's rain marks a pad between initial and final set.
func Marks(mm float64) bool { return !(mm < HeavyMM) }

// LosesCovered reports whether an hour's rain loses a soft pad that is finished
// and lies under a cover (judgement).
func LosesCovered(mm float64) bool { return !(mm <= HeavyMM) }

// Drying of a fresh surface in kg/m2/h: from DryingWatch on it is watched, from
// DryingAct on something is done against it (ACI 305R, quoted in silicafume.org
// slide notes; the lower one judgement).
const (
	DryingWatch = 0.5
	DryingAct   = 1.0
)

// DryingInspects reports whether a pad is to be looked over for cracks, when it
// dried at DryingAct or more for so many minutes before it set (judgement).
func DryingInspects(minutes float64) bool { return minutes > 60 }

// What rain in the hours before the start leaves on the base (judgement).
const (
	PuddleMM    = 5.0 // in PuddleHours leaves puddles
	PuddleHours = 12
	PuddleMin   = 5.0 // minutes of work that clear one pad
)

// Puddled reports whether rain by the hour leaves puddles on the base at an hour. An
// unknown hour counts as dry: puddles are seen before the work begins.
func Puddled(rain []float64, hour int) bool {
	sum := 0.0
	for h := max(0, hour-PuddleHours); h < hour && h < len(rain); h++ {
		if rain[h] > 0 {
			sum += rain[h]
		}
	}
	return sum > PuddleMM
}

// Lost returns the chance that the worst hour's rain loses an open pad before
// its finishing is done; mm may be NaN, unknown.
func (l RainLimits) Lost(mm float64) float64 {
	switch {
	case math.IsNaN(mm) || l.Loses(mm):
		return 1
	case l.MayLose(mm):
		return LightLoses
	}
	return 0
}
