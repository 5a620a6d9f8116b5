package concrete

// The published forms that the service inverts, or sums up, kept as what tests hold
// it against.

import "math"

// stored returns the heat in the column above 0 C, J/m2.
func (c *column) stored() float64 {
	sum := 0.0
	for i := range c.n {
		sum += c.heat[i] * c.temp[i]
	}
	return sum
}

// Behave returns what a slab does, as Solver.Behave does, in working memory of its
// own. Where many slabs are asked for, keep a Solver.
func Behave(c Casting) Behaviour {
	var s Solver
	return s.Behave(&c)
}

// EurocodeGain returns strength at an age in days at 20 C over that at 28
// days, EN 1992-1-1, 3.1.2(6), the same as Model Code 2010. It is far too
// early below one day: StrengthRange never uses it there.
func EurocodeGain(s, days float64) float64 {
	if days <= 0 {
		return 0
	}
	return math.Exp(s * (1 - math.Sqrt(28/days)))
}

// ACI209Gain returns strength at an age in days of moist curing over that at
// 28 days, t/(a+bt), ACI 209R (constants from memory).
func ACI209Gain(a, b, days float64) float64 {
	if days <= 0 {
		return 0
	}
	return days / (a + b*days)
}

// Strength is a compressive strength in MPa as a range: the accepted forms
// disagree when it is cold and below one day. Decide on Low.
type Strength struct{ Low, High float64 }

// StrengthRange returns the strength at an equivalent age. finalSetH is the
// equivalent age of final set in hours at 20 C, before which there is no
// strength by the low end. The low end is the least over the ageing functions
// and over ACI 209 as it is, ACI 209 counted from final set (the hyperbola
// with an offset; Carino, Handbook on NDT of Concrete, ch. 5, from memory)
// and, from one day on, Eurocode 2; the high end is the greatest of them.
func StrengthRange(m Mix, age Age, finalSetH float64) Strength {
	g := gainsOf(m.Cement)
	full := strength28(m)
	low, high := age.Low()/24, age.High()/24
	s := Strength{Low: ACI209Gain(g.a, g.b, low-finalSetH/24), High: ACI209Gain(g.a, g.b, high)}
	if low >= 1 {
		s.Low = min(s.Low, EurocodeGain(g.s, low))
	}
	if high >= 1 {
		s.High = max(s.High, EurocodeGain(g.s, high))
	}
	return Strength{Low: full * s.Low, High: full * s.High}
}
