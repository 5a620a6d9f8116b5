package concrete

import (
	"dryslot/internal/fault"
	"dryslot/internal/unit"
)

// Set comes at these degrees of hydration times the water-cement ratio
// (Schindler, RILEM 2004, coefficients from memory). Initial and final set
// are those of ASTM C403: penetration of 3.5 and 27.6 MPa.
const (
	initialDegree = 0.15
	finalDegree   = 0.26
)

// The finishing window (judgement; ACI 302's window of finishability opens
// with a boot print of 6 mm): it opens no earlier than this share of the time
// to initial set, and broom and edging close this share of the way from
// initial to final set. Steel trowelling closes at final set.
const (
	opensAtInitial = 0.4
	broomCloses    = 0.25
)

// SetAges returns the equivalent ages in hours at 21.1 C of initial and final
// set. The factor is the project's own, learned from its log; 1 is the
// handbook's.
func SetAges(h Hydration, waterCement, factor float64) (initialH, finalH float64) {
	return factor * h.AgeAt(initialDegree*waterCement), factor * h.AgeAt(finalDegree*waterCement)
}

// Setting is the course of setting in hours from placing.
type Setting struct {
	InitialH     float64
	FinalH       float64
	FinishFromH  float64 // the earliest; later while bleed water stands
	FinishUntilH float64
}

// SetTimes returns the setting of concrete that stays at one temperature, an
// estimate good to about a third either way. The finishing window is that of
// a surface whose bleed water dries as it comes. Accepted are -2 to 45 C,
// water-cement ratios of 0.3 to 1, and the finishes broom and trowel;
// Schindler's relation was fitted between 15 and 40 C or so (from memory).
func SetTimes(t unit.Celsius, cement string, waterCement float64, finish string) (Setting, error) {
	var l fault.List
	if !(t >= frozenC && t <= 45) {
		l.Add("concrete_c", number(float64(t)), "must be between -2 and 45 (below, the water is frozen; above, no set data: judgement)")
	}
	if !(waterCement >= 0.3 && waterCement <= 1) {
		l.Add("water_cement", number(waterCement), "must be between 0.3 and 1 (Schindler, RILEM 2004, and judgement)")
	}
	if finish != "broom" && finish != "trowel" {
		l.Add("finish", finish, "must be broom or trowel")
	}
	comp, err := CementComposition(cement)
	if err != nil {
		l.Add("cement", cement, "must be general, rapid or slow")
	}
	if err := l.Err("this setting can't be computed"); err != nil {
		return Setting{}, err
	}
	h := HydrationOf(comp, waterCement)
	initial, final := SetAges(h, waterCement, 1)
	speed := h.Speed(t)
	s := Setting{InitialH: initial / speed, FinalH: final / speed}
	s.FinishFromH = opensAtInitial * s.InitialH
	s.FinishUntilH = s.InitialH + closesAt(finish)*(s.FinalH-s.InitialH)
	return s, nil
}

// closesAt is where between initial (0) and final set (1) a finish closes.
func closesAt(finish string) float64 {
	if finish == "trowel" {
		return 1
	}
	return broomCloses
}

// Bleeding (judgement within the handbook's 0.5 to 1.5 kg/m2/h over 1 to 4 h,
// from memory): stiff hand-mixed concrete gives up 3 % of its mixing water,
// falling off evenly until 0.4 of initial set; what has not evaporated by
// then is taken back by the drying paste, all of it by 0.8 of initial set.
const (
	bleedShare    = 0.03
	bleedEnds     = 0.4
	takenBackFrom = 0.4
	takenBackBy   = 0.8
	usualWater    = 180 // kg of mixing water in a m3 where the cement content is unknown; common practice
)

// bleedKgM2 is all the bleed water of a slab in kg/m2.
func bleedKgM2(m Mix, thickness unit.Metres) float64 {
	water := float64(usualWater)
	if m.CementKgM3 > 0 {
		water = m.CementKgM3 * m.WaterCement
	}
	return bleedShare * water * float64(thickness)
}

// bledShare is the share of the bleed water that has come up when the age is
// a share of that of initial set.
func bledShare(ofInitial float64) float64 {
	x := min(1, max(0, ofInitial/bleedEnds))
	return x * (2 - x)
}

// takenBackShare is the share of the bleed water that the paste can have
// taken back when the age is a share of that of initial set.
func takenBackShare(ofInitial float64) float64 {
	return min(1, max(0, (ofInitial-takenBackFrom)/(takenBackBy-takenBackFrom)))
}
