package draw

import (
	"fmt"
	"html/template"
	"math"

	"dryslot/internal/history"
	"dryslot/internal/pour"
	"dryslot/internal/say"
)

// PlanPad is one pad as the plan shows it.
type PlanPad struct {
	pour.Pad
	Phase history.Phase
	Label string // under its name
	Href  string // of a sketch's link; empty: none
}

// Plan is the pads from above, to scale: x to the right, y downwards, as a builder
// sketches them. The page lays what is to be pressed over the drawing.
type Plan struct {
	SVG    template.HTML
	Width  string // in CSS pixels, at most
	Spots  []Spot
	Turned bool // a quarter turn, so that a long row stands upright
}

// Spot is where a pad lies on a plan, in per cent of it.
type Spot struct {
	Name, Label string
	Style       template.CSS
	Plain       bool // no hatch lies under its name
}

// The least side of a pad that a thumb in a glove hits, in CSS pixels, and the
// tallest plan (judgement).
const (
	leastSide   = 44
	tallestPlan = 1500
)

// bounds are the corners of what the pads cover, and their shortest side, in metres.
func bounds(pads []PlanPad) (x0, y0, x1, y1, least float64) {
	x0, y0, x1, y1, least = math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1), math.Inf(1)
	for _, p := range pads {
		x0, y0 = math.Min(x0, p.XM), math.Min(y0, p.YM)
		x1, y1 = math.Max(x1, p.XM+p.LengthM), math.Max(y1, p.YM+p.WidthM)
		least = math.Min(least, math.Min(p.LengthM, p.WidthM))
	}
	return x0, y0, x1, y1, least
}

// Sketch draws the pads from above within a width, each with its name where that
// fits, and a link where it has one.
func Sketch(pads []PlanPad, r say.Reader, w float64) template.HTML {
	if len(pads) == 0 {
		return ""
	}
	const margin = 8
	x0, y0, x1, y1, _ := bounds(pads)
	k := math.Min((w-2*margin)/(x1-x0), 420/(y1-y0)) // a narrow strip of pads must not fill the screen
	s := &svg{}
	s.raw(`<svg viewBox="0 0 %s %s" role="group" aria-label="%s">`, num(w), num((y1-y0)*k+2*margin),
		esc(r.Label(SketchTitle)))
	for _, p := range pads {
		x, y, pw, ph := margin+(p.XM-x0)*k, margin+(p.YM-y0)*k, p.LengthM*k, p.WidthM*k
		if p.Href != "" {
			s.raw(`<a href="%s" aria-label="%s">`, esc(p.Href), esc(p.Name))
		}
		s.rect(x, y, pw, ph, `class="pp"`)
		s.pad(p.Phase, x+1, y+1, pw-2, ph-2)
		if name := cut(p.Name, pw-4); ph > 20 && pw > 24 {
			s.text(x+pw/2, y+ph/2+6, "middle", `class="b halo"`, name)
		}
		if p.Href != "" {
			s.raw(`</a>`)
		}
	}
	return s.close()
}

// PlanOf lays pads out within a width; ok is false where a pad would come out too
// small to be pressed.
func PlanOf(pads []PlanPad, w float64) (plan Plan, ok bool) {
	x0, y0, x1, y1, least := bounds(pads)
	const margin = 12
	wide, tall := x1-x0, y1-y0
	turned := w < 500 && wide > tall
	if turned {
		wide, tall = tall, wide
	}
	k := math.Min((w-2*margin)/wide, 110/least)
	if len(pads) == 0 || least*k < leastSide || tall*k > tallestPlan {
		return Plan{}, false
	}
	w = wide*k + 2*margin
	h := tall*k + 2*margin
	s := &svg{}
	s.raw(`<svg viewBox="0 0 %s %s" aria-hidden="true">`, num(w), num(h))
	plan = Plan{Width: num(w), Turned: turned}
	for _, p := range pads {
		x, y, pw, ph := p.XM-x0, p.YM-y0, p.LengthM, p.WidthM
		if turned { // turned, not seen in a mirror
			x, y, pw, ph = (y1-y0)-y-p.WidthM, x, p.WidthM, p.LengthM
		}
		x, y, pw, ph = margin+x*k, margin+y*k, pw*k, ph*k
		s.pad(p.Phase, x+1, y+1, pw-2, ph-2)
		percent := func(v, of float64) string { return fmt.Sprintf("%.2f%%", v/of*100) }
		name := cut(p.Name, pw)
		label := p.Label
		if wordsWidth(label) > pw-8 || ph < 56 {
			label = ""
		}
		plan.Spots = append(plan.Spots, Spot{Name: name, Label: label,
			Plain: p.Phase == history.Waiting || p.Phase == history.Formed || p.Phase == history.Cured,
			Style: template.CSS("left:" + percent(x, w) + ";top:" + percent(y, h) + ";width:" + percent(pw, w) +
				";height:" +
				percent(ph, h))}) //nolint:gosec // figures only
	}
	plan.SVG = s.close()
	return plan, true
}

// pad draws one pad by its phase: a thin outline waiting, boards and stakes formed,
// dots and triangles soft, broom strokes setting, crosses stripped, plain cured,
// crossed out lost.
func (s *svg) pad(phase history.Phase, x, y, w, h float64) {
	fill := func(pattern string) {
		s.rect(x, y, w, h, `fill="url(#`+pattern+`)"`)
		s.rect(x, y, w, h, `class="m"`)
	}
	switch phase {
	case history.Formed, history.Placing:
		s.rect(x+5, y+5, w-10, h-10, `class="t"`)
		s.rect(x, y, w, h, `class="m"`)
		var d string
		for _, sx := range []float64{x + w/4, x + w*3/4} {
			d += fmt.Sprintf("M%s %sv10M%s %sv10", num(sx), num(y-5), num(sx), num(y+h-5))
		}
		s.raw(`<path class="m" d="%s"/>`, d)
	case history.Soft:
		fill("soft")
	case history.Setting, history.Hard:
		fill("broom")
	case history.Stripped:
		fill("edge")
	case history.Cured:
		s.rect(x, y, w, h, `class="n"`)
		s.rect(x, y, w, h, `class="m"`)
	case history.Lost:
		s.rect(x, y, w, h, `class="m"`)
		s.raw(`<path class="m" d="M%s %sl%s %sM%s %sl-%s %s"/>`, num(x), num(y), num(w), num(h), num(x+w), num(y),
			num(w), num(h))
	default:
		s.rect(x, y, w, h, `class="t"`)
	}
}

// PadMark draws one phase small, for a key.
func PadMark(phase history.Phase) template.HTML {
	s := &svg{}
	s.raw(`<svg viewBox="-6 -8 58 46" aria-hidden="true">`)
	s.pad(phase, 0, 0, 46, 30)
	return s.close()
}
