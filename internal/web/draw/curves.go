package draw

import (
	"fmt"
	"html/template"
	"math"
	"time"

	"dryslot/internal/concrete"
	"dryslot/internal/message"
	"dryslot/internal/planner/job"
	"dryslot/internal/say"
	"dryslot/internal/unit"
)

// Size is the width that a picture is drawn for, in CSS pixels. The page shows the
// one that fits, so that words in the picture keep a size that can be read.
type Size struct {
	Name string
	W    float64
}

// Phone is the size for a narrow screen.
func Phone() Size { return Size{Name: "narrow", W: 358} }

// Desk is the size for a wide screen and for paper.
func Desk() Size { return Size{Name: "wide", W: 1000} }

// frostC is where young concrete freezes: pure water's point, to the safe side.
const frostC = 0.0

// kgM2ToLbFt2 takes kg/m2 to lb/ft2 (from NIST SP 811 factors).
const kgM2ToLbFt2 = 0.204816

const (
	panelHeight = 110.0
	panelLeft   = 44.0
)

// Curves draws the temperature of the first pad's surface and of the air, and how
// fast the surface dries, over a day, each with its limit.
func Curves(id string, c *job.Chart, r say.Reader, size Size) template.HTML {
	if c == nil || len(c.Hours) < 2 {
		return ""
	}
	d := &curves{r: r, w: size.W, hours: c.Hours}
	d.axis = axis{c.Hours[0].Time, c.Hours[len(c.Hours)-1].Time, size.W - panelLeft - 8}
	id += "-" + size.Name
	d.raw(`<svg class="%s" viewBox="0 0 %s 356" role="img" aria-labelledby="%s-t"><title id="%s-t">%s</title>`,
		size.Name, num(size.W), id, id, esc(r.Label(CurvesTitle)))
	d.temperature(26)
	d.evaporation(26 + panelHeight + 44)
	d.raw(`<g transform="translate(%s 0)">`, num(panelLeft))
	d.svg.hours(d.axis, 26+2*panelHeight+44, map[bool]int{true: 4, false: 6}[size.W > 500], r, size.W < 500)
	d.raw(`</g>`)
	return d.close()
}

type curves struct {
	svg
	r     say.Reader
	w     float64
	hours []job.ChartHour
	axis  axis
}

// panel is a band with a scale of its own.
type panel struct {
	top, lo, hi float64
	conv        func(float64) float64
}

func (p panel) y(v float64) float64 {
	if p.hi <= p.lo {
		return p.top + panelHeight
	}
	return p.top + panelHeight*(1-(v-p.lo)/(p.hi-p.lo))
}

func (d *curves) temperature(top float64) {
	words, conv := [2]message.Code{CurvesTempC, CurvesTempCShort}, func(c float64) float64 { return c }
	if d.r.US {
		words = [2]message.Code{CurvesTempF, CurvesTempFShort}
		conv = func(c float64) float64 { return unit.Celsius(c).Fahrenheit() }
	}
	var slab, air []*float64
	lo, hi := conv(frostC), conv(15)
	for _, h := range d.hours {
		slab, air = append(slab, h.SlabC), append(air, h.AirC)
		for _, v := range []*float64{h.SlabC, h.AirC} {
			if v != nil {
				lo, hi = math.Min(lo, conv(*v)), math.Max(hi, conv(*v))
			}
		}
	}
	p := panel{top: top, lo: math.Floor(lo/5) * 5, hi: math.Ceil(hi/5) * 5, conv: conv}
	d.frame(p, words, p.lo, p.hi)
	d.limit(p, conv(frostC), CurvesFrost)
	d.curve(p, air, "t dash")
	d.curve(p, slab, "g")
}

func (d *curves) evaporation(top float64) {
	words, k := [2]message.Code{CurvesDryingSI, CurvesDryingSIShort}, 1.0
	if d.r.US {
		words, k = [2]message.Code{CurvesDryingUS, CurvesDryingUSShort}, kgM2ToLbFt2
	}
	limit := concrete.EvaporationAct * k
	var rate []*float64
	hi := 1.2 * limit
	for _, h := range d.hours {
		rate = append(rate, h.EvapKgM2H)
		if h.EvapKgM2H != nil {
			hi = math.Max(hi, *h.EvapKgM2H*k)
		}
	}
	p := panel{top: top, lo: 0, hi: hi, conv: func(v float64) float64 { return v * k }}
	d.frame(p, words, 0, limit)
	d.limit(p, limit, CurvesLimit)
	d.curve(p, rate, "g")
}

func (d *curves) frame(p panel, words [2]message.Code, values ...float64) {
	said := d.r.Label(words[0])
	if wordsWidth(said) > d.w {
		said = d.r.Label(words[1])
	}
	d.text(0, p.top-8, "start", `class="b"`, said)
	d.rect(panelLeft, p.top, d.w-8-panelLeft, panelHeight, `class="t"`)
	for _, v := range values {
		y := math.Max(p.top+16, math.Min(p.y(v)+6, p.top+panelHeight))
		d.text(panelLeft-6, y, "end", "", d.r.Number(v, 1))
	}
}

func (d *curves) limit(p panel, v float64, name message.Code) {
	y := p.y(v)
	d.raw(`<path class="m dash" d="M%s %sH%s"/>`, num(panelLeft), num(y), num(d.w-8))
	at := y - 6
	if at-14 < p.top {
		at = y + 18 // under the line, where it would stand on the frame
	}
	d.text(d.w-14, at, "end", `class="halo"`, d.r.Label(name))
}

func (d *curves) curve(p panel, values []*float64, class string) {
	path, pen := "", "M"
	for i, v := range values {
		if v == nil {
			pen = "M"
			continue
		}
		path += fmt.Sprintf("%s%s %s", pen, num(panelLeft+d.axis.x(d.hours[i].Time)), num(p.y(p.conv(*v))))
		pen = "L"
	}
	if path != "" {
		d.raw(`<path class="%s" d="%s"/>`, class, path)
	}
}

// Rain draws the rain of the coming hours over a ground line, from now on, with how
// long concrete lies soft.
func Rain(id string, hours []RainHour, now, soft time.Time, r say.Reader, size Size) template.HTML {
	if len(hours) < 2 {
		return ""
	}
	s := &section{Day: Day{ID: id, Hours: hours, Reader: r, Plumb: now}, wide: size.W > 500, top: 36, ground: 104}
	end := hours[len(hours)-1].Time.Add(time.Hour)
	s.axis = axis{now.Add(-20 * time.Minute), end, size.W}
	s.raw(`<svg class="%s" viewBox="0 0 %s 186" role="img" aria-labelledby="%s-%s"><title id="%s-%s">%s</title>`,
		size.Name, num(size.W), id, size.Name, id, size.Name, esc(s.Describe()))
	s.rain(s.axis, s.top, s.ground-4, hours, hatchOf{rows: 2, dense: 1, length: 34})
	s.rainWords()
	s.line()
	y := s.ground + 46
	if soft.After(now) {
		s.dimension(s.axis.x(now), math.Min(s.axis.x(soft), size.W-8), s.ground+28, size.W, r.Label(SectionSoft))
	}
	s.hours(s.axis, y, 2, r, !s.wide)
	s.plumb(s.axis.x(now), 0, y-2)
	return s.close()
}
