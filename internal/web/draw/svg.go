// Package draw owns the pictures on the pages, as inline SVG: the day strip
// and the pads seen from above. It draws with two colours that the page
// defines (--ink and --paper) and tells things apart by hatching, so that a
// picture prints and reads without colour. It works out nothing: what it
// draws is handed in.
//
//	svg := draw.DayStrip(morning, draw.Strip{Zone: zone, Size: draw.Phone})
package draw

import (
	"fmt"
	"html/template"
	"math"
	"strconv"
	"strings"
)

// svg gathers the text of one picture.
type svg struct{ b strings.Builder }

func (s *svg) open(role string, w, h float64, id, title, desc string) {
	fmt.Fprintf(&s.b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %s %s" role="%s" aria-labelledby="%s-t %s-d" class="drawing">`,
		num(w), num(h), role, id, id)
	fmt.Fprintf(&s.b, `<title id="%s-t">%s</title><desc id="%s-d">%s</desc>`, id, esc(title), id, esc(desc))
}

func (s *svg) raw(format string, args ...any) { fmt.Fprintf(&s.b, format, args...) }

func (s *svg) rect(x, y, w, h float64, attrs string) {
	s.raw(`<rect x="%s" y="%s" width="%s" height="%s" %s/>`, num(x), num(y), num(math.Max(w, 0)), num(math.Max(h, 0)), attrs)
}

func (s *svg) line(x1, y1, x2, y2 float64, attrs string) {
	s.raw(`<line x1="%s" y1="%s" x2="%s" y2="%s" %s/>`, num(x1), num(y1), num(x2), num(y2), attrs)
}

func (s *svg) text(x, y float64, anchor, attrs, words string) {
	s.raw(`<text x="%s" y="%s" text-anchor="%s" %s>%s</text>`, num(x), num(y), anchor, attrs, esc(words))
}

func (s *svg) close() template.HTML {
	s.b.WriteString(`</svg>`)
	return template.HTML(s.b.String()) //nolint:gosec // every text went through esc
}

// num writes a coordinate with at most two decimals.
func num(v float64) string {
	return strconv.FormatFloat(math.Round(v*100)/100, 'f', -1, 64)
}

func esc(s string) string { return template.HTMLEscapeString(s) }

// patterns defines the hatches, under a prefix so that two pictures on one
// page do not share names.
func (s *svg) patterns(prefix string) {
	s.raw(`<defs>`)
	s.raw(`<pattern id="%s-slant" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)"><rect width="6" height="6" fill="var(--paper)"/><rect width="2" height="6" fill="var(--ink)"/></pattern>`, prefix)
	s.raw(`<pattern id="%s-stipple" width="7" height="7" patternUnits="userSpaceOnUse"><rect width="7" height="7" fill="var(--paper)"/><circle cx="1.8" cy="1.8" r="1.1" fill="var(--ink)"/><circle cx="5.2" cy="5" r="1.1" fill="var(--ink)"/></pattern>`, prefix)
	s.raw(`<pattern id="%s-sparse" width="9" height="9" patternUnits="userSpaceOnUse" patternTransform="rotate(45)"><rect width="9" height="9" fill="var(--paper)"/><rect width="1" height="9" fill="var(--ink)"/></pattern>`, prefix)
	s.raw(`<pattern id="%s-night" width="4" height="4" patternUnits="userSpaceOnUse"><rect width="4" height="4" fill="var(--paper)"/><rect width="4" height="1" fill="var(--night)"/></pattern>`, prefix)
	s.raw(`</defs>`)
}

// Swatch draws one hatch of the day strip or of the sketch, for a key.
func Swatch(name string) template.HTML {
	d := &svg{}
	d.raw(`<svg xmlns="http://www.w3.org/2000/svg" width="34" height="20" viewBox="0 0 34 20" aria-hidden="true">`)
	id := "key-" + name
	d.patterns(id)
	fill, edge := "var(--paper)", `stroke="var(--ink)" stroke-width="1.5"`
	switch name {
	case "placing":
		fill = "var(--ink)"
	case "finishing":
		fill = "url(#" + id + "-slant)"
	case "setting", "soft":
		fill = "url(#" + id + "-stipple)"
	case "hardening":
		fill = "url(#" + id + "-sparse)"
	case "night":
		fill, edge = "url(#"+id+"-night)", ""
	case "formed":
		edge = `stroke="var(--ink)" stroke-width="2" stroke-dasharray="6 3"`
	case "cured":
		fill = "var(--tint)"
	}
	d.rect(1, 1, 32, 18, `fill="`+fill+`" `+edge)
	if name == "lost" {
		d.line(1, 1, 33, 19, edge)
		d.line(33, 1, 1, 19, edge)
	}
	return d.close()
}

// Mark draws the sign of the service: rain, a gap, rain, and the string in the gap.
func Mark() template.HTML {
	return `<svg class="mark" viewBox="0 0 46 26" aria-hidden="true">` +
		`<path d="M7 3L2 23M12.5 3L7.5 23M18 3L13 23M38 3L33 23M43.5 3L38.5 23"/><path class="s" d="M17.5 25H32.5"/></svg>`
}
