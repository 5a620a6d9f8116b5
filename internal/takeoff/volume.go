// Package takeoff owns what a project takes: volume, bags, water, weight to
// buy and to move, trips, cost, base sand, and stock against need; per pad,
// per pour and for the whole project.
//
//	t := takeoff.Of(job)
//	t.Project.Bags
package takeoff

import (
	"math"

	"dryslot/internal/pour"
)

// PadVolumeL returns the concrete that a pad's forms and base hold, in litres,
// without waste: the slab, hollows of the base, and a thickened edge.
func PadVolumeL(s pour.Spec, p pour.Pad) float64 {
	v := p.AreaM2() * (p.ThicknessM + s.Site.UnevenBaseM)
	if p.EdgeThicknessM != nil {
		v += edgeM3(p.LengthM, p.WidthM, p.ThicknessM, *p.EdgeThicknessM)
	}
	return v * 1000
}

// MeanThicknessM returns the thickness that a pad's concrete would have if it
// were even: the slab's own, hollows and thickened edges included. The heat
// balance goes by it.
func MeanThicknessM(s pour.Spec, p pour.Pad) float64 {
	area := p.AreaM2()
	if !(area > 0) {
		return p.ThicknessM
	}
	return PadVolumeL(s, p) / 1000 / area
}

// edgeM3 is the concrete that a thickened edge adds below the slab's
// underside: along all four sides a strip as wide at its bottom as the edge is
// thick, rising to the underside at 45 degrees (common practice; no standard
// fixes it for small pads). On a small pad the strips meet in the middle.
//
// The earth left standing at depth z is (L-2s)(W-2s), s = edge + (depth - z).
func edgeM3(length, width, slab, edge float64) float64 {
	depth := edge - slab
	if depth <= 0 {
		return 0
	}
	most := math.Min(length, width) / 2
	from, to := math.Min(edge, most), math.Min(edge+depth, most)
	standing := func(s float64) float64 { return length*width*s - (length+width)*s*s + 4.0/3*s*s*s }
	return length*width*depth - (standing(to) - standing(from))
}

// BagsFor returns the whole bags for a volume in litres: waste is added before
// rounding up. A billionth of a bag too much is a rounding error, and is dropped.
func BagsFor(s pour.Spec, litres float64) int {
	return int(math.Ceil(litres*(1+s.WasteFraction)/s.Mix.YieldLPerBag - 1e-9))
}

// PadBags returns the whole bags for one pad placed by itself.
func PadBags(s pour.Spec, p pour.Pad) int { return BagsFor(s, PadVolumeL(s, p)) }

// PlacingMin returns the minutes that one person takes to mix, place, strike off and
// float a pad.
func PlacingMin(s pour.Spec, p pour.Pad) float64 {
	return float64(PadBags(s, p))/s.Crew.BagsPerHour*60 + s.Crew.StrikeOffMinPerM2*p.AreaM2()
}

// PourBags returns the whole bags for pads placed on one day: what is left of
// a bag goes into the next pad, so they are rounded up once. It is never more
// than the sum of PadBags.
func PourBags(s pour.Spec, pads []pour.Pad) int {
	var v float64
	for _, p := range pads {
		v += PadVolumeL(s, p)
	}
	return BagsFor(s, v)
}
