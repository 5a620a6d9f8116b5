package advise

import "dryslot/internal/pour"

// crumb is how far apart two pads of a sketch may lie and still touch, metres.
const crumb = 0.02

// touches reports whether two pads share an edge on the builder's sketch.
func touches(a, b pour.Pad) bool {
	overlap := func(a0, a1, b0, b1 float64) float64 { return min(a1, b1) - max(a0, b0) }
	x := overlap(a.XM, a.XM+a.LengthM, b.XM, b.XM+b.LengthM)
	y := overlap(a.YM, a.YM+a.WidthM, b.YM, b.YM+b.WidthM)
	return x >= -crumb && y >= -crumb && (x > crumb || y > crumb)
}
