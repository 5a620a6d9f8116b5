package concrete

import (
	"math"

	"dryslot/internal/fault"
	"dryslot/internal/message"
	"dryslot/internal/unit"
)

// gasConstant is R in J/(mol K) (CODATA 2018).
const gasConstant = 8.314462618

// hydrationRefC is the temperature that Schindler and Folliard's equivalent
// age refers to, 21.1 C (ACI Mater. J. 102(1), 2005, 102-M04; from memory).
const hydrationRefC = 21.1

// Composition is what a cement is made of, as fractions of the binder's mass
// (not per cent), with its Blaine fineness in m2/kg.
type Composition struct {
	C3S, C2S, C3A, C4AF, SO3, FreeCaO, MgO float64
	Blaine                                 float64
	FlyAsh, FlyAshCaO, Slag                float64
}

// CementComposition returns the composition taken for a kind of cement:
// "general" (ASTM Type I, EN class N), "rapid" (Type III, class R) or "slow"
// (Type IV, class S). No bag prints its own; these are typical values, from
// memory (general and rapid are those that the handbook's check figures use).
func CementComposition(kind string) (Composition, error) {
	switch kind {
	case "general":
		return Composition{C3S: .55, C2S: .18, C3A: .10, C4AF: .08, SO3: .029, FreeCaO: .010, MgO: .025, Blaine: 370},
			nil
	case "rapid":
		return Composition{C3S: .56, C2S: .17, C3A: .09, C4AF: .08, SO3: .035, FreeCaO: .010, MgO: .025, Blaine: 540},
			nil
	case "slow":
		return Composition{C3S: .42, C2S: .32, C3A: .04, C4AF: .15, SO3: .022, FreeCaO: .010, MgO: .025, Blaine: 340},
			nil
	}
	return Composition{}, fault.Of(fault.Invalid, SettingUnknown).At("cement", kind, cementWanted())
}

// SettingUnknown is the code of a setting that can't be computed.
const SettingUnknown message.Code = "setting_unknown"

func cementWanted() fault.Rule { return fault.OneOf("general", "rapid", "slow") }

// Hydration is Schindler and Folliard's curve of one cement and water-cement
// ratio: degree = Ultimate exp(-(TauH/te)^Beta), te in hours at 21.1 C.
// ACI Mater. J. 102(1), 2005, 102-M04 (coefficients from memory); fitted to
// water-cement ratios of about 0.36 to 0.54, extrapolated beyond.
type Hydration struct {
	Ultimate   float64 // degree of hydration that is never passed, 0 to 1
	TauH       float64 // h
	Beta       float64
	HeatJG     float64 // heat of complete hydration, J per g of binder
	Activation float64 // apparent activation energy, J/mol (Schindler, ACI Mater. J. 101(1), 2004; from memory)
}

// HydrationOf returns the curve of a cement at a water-cement ratio by mass
// (more than 0; see Hydration for the range it was fitted to).
func HydrationOf(c Composition, waterCement float64) Hydration {
	cement := 1 - c.FlyAsh - c.Slag
	au := 1.031*waterCement/(0.194+waterCement) + 0.50*c.FlyAsh + 0.30*c.Slag
	clinker := 500*c.C3S + 260*c.C2S + 866*c.C3A + 420*c.C4AF + 624*c.SO3 + 1186*c.FreeCaO + 850*c.MgO
	return Hydration{
		Ultimate: min(au, 1),
		TauH: 66.78 * math.Pow(c.C3A, -0.154) * math.Pow(c.C3S, -0.401) * math.Pow(c.Blaine, -0.804) *
			math.Pow(c.SO3, -0.758) * math.Exp(2.187*c.Slag+9.50*c.FlyAsh*c.FlyAshCaO),
		Beta: 181.4 * math.Pow(c.C3A, 0.146) * math.Pow(c.C3S, 0.227) * math.Pow(c.Blaine, -0.535) *
			math.Pow(c.SO3, 0.558) * math.Exp(-0.647*c.Slag),
		HeatJG: clinker*cement + 461*c.Slag + 1800*c.FlyAshCaO*c.FlyAsh,
		// fE, the factor of fly ash and slag, is 1 for plain portland cement.
		Activation: 22100 * math.Pow(c.C3A, 0.30) * math.Pow(c.C4AF, 0.25) * math.Pow(c.Blaine, 0.35),
	}
}

// Degree returns the degree of hydration at an equivalent age in hours at
// 21.1 C; 0 at or before 0.
func (h Hydration) Degree(ageH float64) float64 {
	if ageH <= 0 {
		return 0
	}
	return h.Ultimate * math.Exp(-math.Pow(h.TauH/ageH, h.Beta))
}

// Rate returns the growth of the degree of hydration in 1/h at an equivalent
// age in hours at 21.1 C.
func (h Hydration) Rate(ageH float64) float64 {
	if ageH <= 0 {
		return 0
	}
	x := math.Pow(h.TauH/ageH, h.Beta)
	return h.Ultimate * math.Exp(-x) * x * h.Beta / ageH
}

// AgeAt returns the equivalent age in hours at 21.1 C at which a degree of
// hydration is reached, +Inf where it never is.
func (h Hydration) AgeAt(degree float64) float64 {
	if degree <= 0 {
		return 0
	}
	if degree >= h.Ultimate {
		return math.Inf(1)
	}
	return h.TauH * math.Pow(-math.Log(degree/h.Ultimate), -1/h.Beta)
}

// Speed returns how many times faster hydration goes at t than at 21.1 C.
func (h Hydration) Speed(t unit.Celsius) float64 {
	return arrhenius(t, h.Activation/gasConstant, hydrationRefC)
}
