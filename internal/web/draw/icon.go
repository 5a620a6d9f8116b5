package draw

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"math"
)

// stroke is a line of the mark, in its own units, 46 wide and 26 high.
type stroke struct {
	x0, y0, x1, y1, width float64
	string                bool // drawn as the mason's line
}

// markStrokes are the mark's: rain, a gap, and the string under the gap.
var markStrokes = []stroke{
	{7, 3, 2, 23, 2.6, false}, {12.5, 3, 7.5, 23, 2.6, false}, {18, 3, 13, 23, 2.6, false},
	{38, 3, 33, 23, 2.6, false}, {43.5, 3, 38.5, 23, 2.6, false}, {17.5, 25, 32.5, 25, 3.4, true},
}

// Colors of the icon: those of the look in its light form.
var (
	iconPaper  = color.RGBA{0xec, 0xed, 0xe8, 0xff}
	iconInk    = color.RGBA{0x14, 0x18, 0x1a, 0xff}
	iconString = color.RGBA{0xd6, 0x00, 0x4b, 0xff}
)

// Icon draws the mark as a square PNG of so many pixels a side, within the middle
// four fifths, so that phones may cut it round.
func Icon(side int) ([]byte, error) {
	img := image.NewRGBA(image.Rect(0, 0, side, side))
	k := float64(side) * 0.66 / 46
	left, top := (float64(side)-46*k)/2, (float64(side)-26*k)/2
	for y := range side {
		for x := range side {
			c := iconPaper
			for _, s := range markStrokes {
				px, py := (float64(x)+0.5-left)/k, (float64(y)+0.5-top)/k
				cover := (s.width/2-s.distance(px, py))*k + 0.5 // of the pixel, so that edges are smooth
				ink := iconInk
				if s.string {
					ink = iconString
				}
				c = blend(c, ink, math.Max(0, math.Min(1, cover)))
			}
			img.SetRGBA(x, y, c)
		}
	}
	var b bytes.Buffer
	if err := png.Encode(&b, img); err != nil {
		return nil, fmt.Errorf("draw: icon: %w", err)
	}
	return b.Bytes(), nil
}

// distance is how far a point is from the line.
func (s stroke) distance(x, y float64) float64 {
	dx, dy := s.x1-s.x0, s.y1-s.y0
	t := math.Max(0, math.Min(1, ((x-s.x0)*dx+(y-s.y0)*dy)/(dx*dx+dy*dy)))
	return math.Hypot(x-s.x0-t*dx, y-s.y0-t*dy)
}

func blend(a, b color.RGBA, share float64) color.RGBA {
	mix := func(x, y uint8) uint8 { return uint8(math.Round(float64(x) + (float64(y)-float64(x))*share)) }
	return color.RGBA{mix(a.R, b.R), mix(a.G, b.G), mix(a.B, b.B), 0xff}
}
