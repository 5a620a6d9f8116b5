package draw

import (
	"html/template"
	"math"

	"dryslot/internal/say"
)

// ProofPoint is how often it rained where about the same chance was stated.
type ProofPoint struct {
	Told, Came float64 // 0 to 1
	Hours      int
	Few        bool // too few hours to lean on
}

// Proof draws stated chances against how often rain came: points on the line
// across came true as stated, points below it were stated too high. A point's area
// grows with its hours; points of few hours are rings.
func Proof(id string, points []ProofPoint, r say.Reader, size Size) template.HTML {
	if len(points) == 0 {
		return ""
	}
	const top, foot, left, right = 34, 54, 50, 14
	side := math.Min(size.W, 460)
	w := side - left - right
	d := &svg{}
	d.open(size.Name, side, top+w+foot, id+"-"+size.Name, r.Label(ProofTitle), r.Label(ProofDesc))
	x := func(p float64) float64 { return left + p*w }
	y := func(p float64) float64 { return top + (1-p)*w }
	d.text(left, top-10, "start", `class="b"`, r.Label(ProofCame))
	for _, p := range []float64{0, 0.25, 0.5, 0.75, 1} {
		if p > 0 && p < 1 {
			dots := `stroke="var(--ink)" stroke-width="0.5" stroke-dasharray="1 4"`
			d.line(x(0), y(p), x(1), y(p), dots)
			d.line(x(p), y(0), x(p), y(1), dots)
		}
		if p > 0 { // the other axis has the 0
			d.text(left-6, y(p)+6, "end", "", num(p*100))
		}
		d.text(x(p), y(0)+22, "middle", "", num(p*100))
	}
	d.text(x(1), y(0)+46, "end", `class="b"`, r.Label(ProofTold))
	d.rect(left, top, w, w, `fill="none" stroke="var(--ink)" stroke-width="1"`)
	d.line(x(0), y(0), x(1), y(1), `stroke="var(--ink)" stroke-width="1.5" stroke-dasharray="6 4"`)
	d.text(x(0.04), y(0.92), "start", "", r.Label(ProofMore))
	d.text(x(0.97), y(0.05), "end", "", r.Label(ProofLess))
	for _, p := range points {
		size := math.Min(13, math.Max(4, math.Sqrt(float64(p.Hours))*0.7))
		fill := `fill="var(--ink)"`
		if p.Few {
			fill = `fill="var(--paper)"`
		}
		d.raw(`<circle cx="%s" cy="%s" r="%s" %s stroke="var(--ink)" stroke-width="1.5"/>`,
			num(x(p.Told)), num(y(p.Came)), num(size), fill)
	}
	return d.close()
}
