package concrete

import "math"

// Eurocode strength classes: s of EN 1992-1-1, 3.1.2(6), for cement of class
// R, N and S (Concrete Society, quoting the clause).
const (
	classR = 0.20
	classN = 0.25
	classS = 0.38
)

// gains holds the constants of one kind of cement.
type gains struct{ s, a, b float64 }

func gainsOf(cement string) gains {
	switch cement {
	case "rapid":
		return gains{classR, 2.3, 0.92} // ACI 209R Type III
	case "slow":
		return gains{classS, 4.0, 0.85} // ACI 209R has no slower one than Type I
	}
	return gains{classN, 4.0, 0.85} // ACI 209R Type I
}

// lowAgeFor returns the equivalent age in hours at which the low end reaches
// a strength in MPa, +Inf where it never does.
func lowAgeFor(m Mix, mpa, finalSetH float64) float64 {
	full := strength28(m)
	if mpa <= 0 {
		return 0
	}
	if !(full > 0) {
		return math.Inf(1)
	}
	g, r := gainsOf(m.Cement), mpa/full
	if g.b*r >= 1 {
		return math.Inf(1)
	}
	days := g.a*r/(1-g.b*r) + finalSetH/24
	if days < 1 {
		return days * 24
	}
	q := 1 - math.Log(r)/g.s
	if q <= 0 {
		return math.Inf(1)
	}
	return 24 * max(days, 28/(q*q))
}

// WaterLoss returns what is left of the 28-day strength when the water-cement
// ratio is that much above the one it was stated at: Abrams (1918), strength
// as 7 to the minus x with x the ratio by volume, 1.506 times that by mass
// (94 lb of cement in a cubic foot against 62.4 lb of water; from memory). It
// falls within the trade's 150 to 200 psi for a gallon in a cubic yard. Less
// water is not counted as a gain.
func WaterLoss(above float64) float64 {
	if !(above > 0) {
		return 1
	}
	return math.Pow(7, -94/62.4*above)
}

func strength28(m Mix) float64 {
	if m.StrengthWaterCement > 0 {
		return m.Strength28dMPa * WaterLoss(m.WaterCement-m.StrengthWaterCement)
	}
	return m.Strength28dMPa
}
