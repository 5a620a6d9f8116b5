package draw

import (
	"html/template"
	"math"
	"strings"

	"dryslot/internal/message"
	"dryslot/internal/pour"
	"dryslot/internal/say"
)

// SketchPad is one pad as the sketch shows it.
type SketchPad struct {
	pour.Pad
	State pour.State
	Soft  bool   // placed or finished, and not yet at final set
	Next  bool   // in the next pour: its form is up
	Order int    // place in the plan, from 1; 0: done, or unplaced
	Label string // date of the pour, or of the placing
	Href  string
}

// Sketch draws the pads to scale from above, as a builder sketches them:
// x to the right, y downwards. Each is a link to its own page.
func Sketch(pads []SketchPad, r say.Reader, size Size) template.HTML {
	if len(pads) == 0 {
		return ""
	}
	x0, y0, x1, y1 := math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	for _, p := range pads {
		x0, y0 = math.Min(x0, p.XM), math.Min(y0, p.YM)
		x1, y1 = math.Max(x1, p.XM+p.LengthM), math.Max(y1, p.YM+p.WidthM)
	}
	const margin = 8
	wide, tall := x1-x0, y1-y0
	// On a narrow screen a long row is turned, so that every pad can be read and tapped.
	turned := size.W < 500 && wide > 1.5*tall
	if turned {
		wide, tall = tall, wide
	}
	k := (size.W - 2*margin) / wide
	if most := 700 / tall; k > most {
		k = most // a narrow strip of pads must not fill the screen
	}
	title := SketchTitle
	if turned {
		title = SketchTitleTurned
	}
	d := &sketch{id: "sketch-" + size.Name, font: size.Font, r: r}
	d.s.open("group", size.W, tall*k+2*margin, d.id, r.Label(title), r.Label(SketchDesc))
	d.s.patterns(d.id)
	for _, p := range pads {
		x, y, w, h := p.XM-x0, p.YM-y0, p.LengthM, p.WidthM
		if turned {
			x, y, w, h = tallFlip(y, p.WidthM, y1-y0), x, p.WidthM, p.LengthM
		}
		d.pad(p, margin+x*k, margin+y*k, w*k, h*k)
	}
	return d.s.close()
}

// tallFlip mirrors the short axis, so that a turned sketch is turned and not
// seen in a mirror.
func tallFlip(y, width, all float64) float64 { return all - y - width }

type sketch struct {
	s    svg
	id   string
	font float64
	r    say.Reader
}

// hatch gives the drafting hatch of a state: blank waiting, dashed edge
// formed, stipple soft, diagonal setting, tint cured, crossed lost.
func (d *sketch) hatch(p SketchPad) (fill, edge string) {
	solid := `stroke="var(--ink)" stroke-width="2"`
	switch p.State {
	case pour.Formed:
		return "var(--paper)", `stroke="var(--ink)" stroke-width="2" stroke-dasharray="7 4"`
	case pour.Placed, pour.Finished:
		if p.Soft {
			return "url(#" + d.id + "-stipple)", solid
		}
		return "url(#" + d.id + "-sparse)", solid
	case pour.Stripped:
		return "url(#" + d.id + "-sparse)", solid
	case pour.Cured:
		return "var(--tint)", solid
	default:
		if p.Next {
			return "var(--paper)", `stroke="var(--ink)" stroke-width="2" stroke-dasharray="7 4"`
		}
		return "var(--paper)", solid
	}
}

func (d *sketch) pad(p SketchPad, x, y, w, h float64) {
	fill, edge := d.hatch(p)
	label := message.New(SketchPadBare, message.Name("pad", p.Name), message.Term("state", string(p.State)))
	if p.Label != "" {
		label = message.New(SketchPadLabel, message.Name("pad", p.Name), message.Term("state", string(p.State)),
			message.Text("label", p.Label))
	}
	d.s.raw(`<a href="%s" aria-label="%s">`, esc(p.Href), esc(d.r.Say(label)))
	d.s.rect(x+1, y+1, w-2, h-2, `fill="`+fill+`" `+edge)
	if p.State == pour.Lost {
		d.s.line(x+1, y+1, x+w-1, y+h-1, `stroke="var(--ink)" stroke-width="2"`)
		d.s.line(x+w-1, y+1, x+1, y+h-1, `stroke="var(--ink)" stroke-width="2"`)
	}
	cx, cy := x+w/2, y+h/2
	if h > 1.5*w && textWidth(p.Name, d.font) > w-6 {
		w, h = h, w // a long name reads along a narrow pad
		d.s.raw(`<g transform="rotate(-90 %s %s)">`, num(cx), num(cy))
		d.words(p, cx, cy, w, h)
		d.s.raw(`</g></a>`)
		return
	}
	d.words(p, cx, cy, w, h)
	d.s.raw(`</a>`)
}

// leastFont is the smallest that is drawn, in CSS pixels; names that do not
// fit at it are cut, as they stand whole in the list.
const leastFont = 9

// textWidth is that of words in the page's sans-serif, about.
func textWidth(words string, font float64) float64 {
	return float64(len([]rune(words))) * 0.58 * font
}

// words writes a pad's name, place in the order and date in its middle.
func (d *sketch) words(p SketchPad, cx, cy, w, h float64) {
	room := math.Max(w-8, 0)
	name := []rune(p.Name)
	if most := int(room / (leastFont * 0.58)); len(name) > most {
		name = append(name[:max(most-1, 0):max(most-1, 0)], '…')
	}
	words := []string{string(name)}
	if p.Order > 0 {
		words = append(words, d.r.Say(message.New(SketchOrder, message.Count("order", p.Order))))
	}
	words = append(words, d.labelLines(p.Label, w-12, h-6, len(words))...)
	font := d.font
	for _, t := range words {
		if fit := room / textWidth(t, 1); fit < font {
			font = math.Max(fit, leastFont)
		}
	}
	if all := float64(len(words))*font*1.25 + 4; all > h && len(words) > 1 {
		words, font = words[:1], math.Min(font, h/1.3)
	}
	boxH := math.Min(float64(len(words))*font*1.25+4, h-4)
	widest := 0.0
	for _, t := range words {
		widest = math.Max(widest, textWidth(t, font))
	}
	widest = math.Min(widest, w-12) // the words must not hide the pad's edges
	d.s.rect(cx-widest/2-3, cy-boxH/2, widest+6, boxH, `fill="var(--paper)"`)
	for i, t := range words {
		weight := `font-weight="400"`
		if i == 0 {
			weight = `font-weight="700"`
		}
		d.s.text(cx, cy+font*(1.25*(float64(i)-float64(len(words))/2)+0.98), "middle", weight+` fill="var(--ink)" font-size="`+num(font)+`"`, t)
	}
}

// labelLines sets a date on one line, or its weekday on a line of its own
// where it would come out too small; none where there is no room.
func (d *sketch) labelLines(label string, w, h float64, above int) []string {
	lines := []string{label}
	if day, rest, ok := strings.Cut(label, " "); ok && float64(len([]rune(label)))*0.58*d.font > w {
		lines = []string{day, rest}
	}
	if label == "" || float64(above+len(lines))*d.font*1.25 > h {
		return nil
	}
	return lines
}
