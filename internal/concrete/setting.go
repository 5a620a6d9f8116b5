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

// The finishing window opens with a boot print of 6 mm (ACI 302's window of
// finishability). The American Society of Concrete Contractors' position
// statement 15 puts that at about 4 1/4 h at 10 C, 2 3/4 h at 21 C and 1 3/4 h
// at 32 C: it follows the temperature less than set does, as an activation
// energy of 3450 K (fitted here), and 21 C comes to 0.62 of initial set. Other
// mixes keep that share at 21.1 C (judgement). The statement ends at 32 C, where
// that comes close to initial set; the window opens by 0.76 of initial set at
// the latest, 5 minutes before the statement's time at 32 C (judgement).
// Broom and edging close at initial set, steel trowelling at final set.
const (
	opensAtInitial = 0.62
	opensEnergyK   = 3450.0
	opensLatest    = 0.76
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

// hottestSetC is the warmest concrete of which setting is estimated.
const hottestSetC = 45

// SetTimes returns the setting of concrete that stays at one temperature, an
// estimate good to about a third either way. The finishing window is that of
// a surface whose bleed water dries as it comes. Accepted are -2 to 45 C,
// water-cement ratios of 0.3 to 1, and the finishes broom and trowel;
// Schindler's relation was fitted between 15 and 40 C or so (from memory).
func SetTimes(t unit.Celsius, cement string, waterCement float64, finish string) (Setting, error) {
	var l fault.List
	if !(t >= frozenC && t <= hottestSetC) {
		// above, no set data: judgement
		l.Break("concrete_c", number(float64(t)), fault.Range(frozenC, hottestSetC, ""))
	}
	if !(waterCement >= 0.3 && waterCement <= 1) {
		l.Break("water_cement", number(waterCement), fault.Range(0.3, 1, "")) // Schindler, RILEM 2004, and judgement
	}
	if finish != "broom" && finish != "trowel" {
		l.Break("finish", finish, fault.OneOf("broom", "trowel"))
	}
	comp, err := CementComposition(cement)
	if err != nil {
		l.Break("cement", cement, cementWanted())
	}
	if err := l.Broken(SettingUnknown); err != nil {
		return Setting{}, err
	}
	h := HydrationOf(comp, waterCement)
	initial, final := SetAges(h, waterCement, 1)
	speed := h.Speed(t)
	s := Setting{InitialH: initial / speed, FinalH: final / speed}
	s.FinishFromH = min(opensAtInitial*initial/opensSpeed(t), opensLatest*s.InitialH)
	s.FinishUntilH = s.InitialH + closesAt(finish)*(s.FinalH-s.InitialH)
	return s, nil
}

// closesAt is where between initial (0) and final set (1) a finish closes.
func closesAt(finish string) float64 {
	if finish == "trowel" {
		return 1
	}
	return 0
}

// opensSpeed is how many times faster than at 21.1 C the boot print comes.
func opensSpeed(t unit.Celsius) float64 { return arrhenius(t, opensEnergyK, hydrationRefC) }
