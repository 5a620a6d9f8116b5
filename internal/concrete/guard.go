package concrete

import "time"

// Protection is what a crew does against drying between strike-off and finishing.
type Protection struct {
	Windbreak bool // upwind, as high as a fifth of the slab's length or more
	Shade     bool // a net or sheet above the slab
	Film      bool // a monomolecular evaporation reducer, sprayed on
	Fog       bool // mist over the slab, not on it
}

// What each leaves. A windbreak leaves two fifths of the wind as far as five
// times its height (windbreak literature, from memory: 0.3 to 0.6); a shade
// net a fifth of the direct sun (judgement); an evaporation reducer two fifths
// of the drying (Cordon and Thorpe, ACI Journal 62, 1965, from memory: 80 %
// less in wind, 40 % in sun); fog a fifth (judgement).
const (
	windbreakLeaves = 0.4
	shadeLeaves     = 0.2
	filmLeaves      = 0.4
	fogLeaves       = 0.2
)

// Any reports whether anything is done.
func (p Protection) Any() bool { return p != Protection{} }

// GuardOf returns what a protection leaves of wind, sun and drying from one
// time until another, hours after placing.
func GuardOf(p Protection, from, until time.Duration) Guard {
	g := Guard{From: from, Until: until, Wind: 1, Sun: 1, Drying: 1}
	if p.Windbreak {
		g.Wind = windbreakLeaves
	}
	if p.Shade {
		g.Sun = shadeLeaves
	}
	if p.Film {
		g.Drying = filmLeaves
	}
	if p.Fog {
		g.Drying = min(g.Drying, fogLeaves)
	}
	return g
}
