package concrete

import (
	"math"

	"dryslot/internal/unit"
)

// Arrhenius returns how many times faster concrete ages at t than at ref for
// an activation energy divided by the gas constant in kelvin. 5000 K is ASTM
// C1074's suggestion for Type I (from memory; its range is 40 to 45 kJ/mol).
func Arrhenius(t unit.Celsius, energyK float64, ref unit.Celsius) float64 {
	return arrhenius(t, energyK, float64(ref))
}

func arrhenius(t unit.Celsius, energyK, refC float64) float64 {
	return math.Exp(-energyK * (1/t.Kelvin() - 1/(refC+unit.ZeroCelsius)))
}

// Freiesleben returns how many times faster concrete ages at t than at 20 C
// by Freiesleben Hansen and Pedersen (1977, from memory): 33.5 kJ/mol from
// 20 C up, 1.47 kJ/mol more for every kelvin below.
func Freiesleben(t unit.Celsius) float64 {
	e := 33.5e3
	if t < 20 {
		e += 1.47e3 * float64(20-t)
	}
	return arrhenius(t, e/gasConstant, 20)
}

// Eurocode returns how many times faster concrete ages at t than at 20 C by
// EN 1992-1-1 (B.10), the same as CEB-FIP MC90 (from memory). At 20 C it is
// 0.998, not 1; its own zero is 273, not 273.15.
func Eurocode(t unit.Celsius) float64 { return math.Exp(13.65 - 4000/(273+float64(t))) }

// Hydration stops in concrete that freezes: the full rate down to freezesC,
// none from frozenC on, linear between. The curves themselves do not go to
// zero (0.14 to 0.27 at -10 C). Water in the pores is gone as ice at about
// -2 C (conservative; the handbook gives -2 to -10 C; judgement).
const (
	freezesC = 0.0
	frozenC  = -2.0
)

// unfrozen is the share of the ageing rate that is left at t.
func unfrozen(t unit.Celsius) float64 {
	return min(1, max(0, (float64(t)-frozenC)/(freezesC-frozenC)))
}

// Age is the equivalent age in hours at 20 C by three accepted functions,
// which agree between 15 and 25 C and differ by a factor of two near 0 C.
type Age struct {
	Eurocode    float64
	Arrhenius   float64 // 5000 K
	Freiesleben float64
}

// Gain returns the age gained in an hour at t; none when frozen.
func Gain(t unit.Celsius) Age {
	f := unfrozen(t)
	return Age{f * Eurocode(t), f * Arrhenius(t, 5000, 20), f * Freiesleben(t)}
}

// Plus returns the age after hours more at a gain.
func (a Age) Plus(g Age, hours float64) Age {
	return Age{a.Eurocode + g.Eurocode*hours, a.Arrhenius + g.Arrhenius*hours, a.Freiesleben + g.Freiesleben*hours}
}

// Low returns the least of the three: the one to decide on.
func (a Age) Low() float64 { return min(a.Eurocode, a.Arrhenius, a.Freiesleben) }

// High returns the greatest of the three.
func (a Age) High() float64 { return max(a.Eurocode, a.Arrhenius, a.Freiesleben) }
