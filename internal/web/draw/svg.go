// Package draw owns the pictures on the pages, as inline SVG: the section of a day,
// the curves of temperature and drying, and the pads from above. It draws with the
// classes of the style sheet (package look) and tells things apart by hatching, so
// that a picture prints and reads without color. Each picture is drawn for a phone
// and for a desk, never one shrunk, with lettering of 18 px. It works out nothing:
// what it draws is handed in.
//
//	svg := draw.Section(draw.Day{ID: "d", Hours: hours, Pads: pads, Reader: reader}, false)
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

func (s *svg) open(class string, w, h float64, id, title, desc string) {
	s.raw(`<svg class="%s" viewBox="0 0 %s %s" role="img" aria-labelledby="%s-t %s-d">`, class, num(w), num(h), id, id)
	s.raw(`<title id="%s-t">%s</title><desc id="%s-d">%s</desc>`, id, esc(title), id, esc(desc))
}

func (s *svg) raw(format string, args ...any) { fmt.Fprintf(&s.b, format, args...) }

func (s *svg) rect(x, y, w, h float64, attrs string) {
	s.raw(`<rect x="%s" y="%s" width="%s" height="%s" %s/>`, num(x), num(y), num(math.Max(w, 0)), num(math.Max(h, 0)),
		attrs)
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

// Mark draws the sign of the service: rain, a gap, rain, and the string in the gap.
func Mark() template.HTML {
	return `<svg class="mark" viewBox="0 0 46 26" aria-hidden="true">` +
		`<path d="M7 3L2 23M12.5 3L7.5 23M18 3L13 23M38 3L33 23M43.5 3L38.5 23"/>` +
		`<path class="s" d="M17.5 25H32.5"/></svg>`
}
