package draw

import (
	"fmt"
	"html/template"
	"math"
	"time"

	"dryslot/internal/message"
	"dryslot/internal/say"
	"dryslot/internal/unit"
)

// RainHour is the chance of rain in one hour; nil: not known.
type RainHour struct {
	Time   time.Time
	Chance *float64
}

// Cast is one pad of a day; a zero time is not known.
type Cast struct {
	Name                                                string
	PlaceFrom, PlaceUntil, FinishFrom, FinishUntil, Set time.Time
	Hatch                                               string // of the slab: soft, broom or diag; empty: soft
	Finished                                            bool
}

// Day is what a section draws.
type Day struct {
	ID                    string // tells drawings on one page apart
	Date                  unit.Date
	Hours                 []RainHour
	Pads                  []Cast
	FirstLight, LastLight *time.Time
	Plumb                 time.Time // now, or the start; zero: neither
	Reader                say.Reader
}

// dry is the hourly chance of rain under which the drawing calls an hour dry: one
// stroke stands for a tenth, and half of one is none.
const dry = 0.05

// Section draws a day as a section through the ground: rain above, the pads cast
// into it in the order of placing, widths to scale, a bracket over each finishing,
// dimensions below and hours at the foot. One row, because a crew has two hands.
func Section(d Day, wide bool) template.HTML {
	if len(d.Hours) < 2 {
		return ""
	}
	p := &section{Day: d, wide: wide, top: 44, ground: 170, deep: 30}
	p.axis = p.span(390)
	if wide {
		p.axis, p.ground, p.deep = p.span(1216), 196, 38
	}
	return p.draw()
}

type section struct {
	svg
	Day
	axis              axis
	wide              bool
	top, ground, deep float64
}

// span runs from the first hour of the chart to an hour after the last pad has
// set, or fourteen hours on, as far as there are hours.
func (p *section) span(w float64) axis {
	from, end := p.Hours[0].Time, p.Hours[len(p.Hours)-1].Time.Add(time.Hour)
	to := from.Add(14 * time.Hour)
	if p.LastLight != nil && p.LastLight.After(to) {
		to = p.LastLight.Truncate(time.Hour).Add(time.Hour)
	}
	for _, c := range p.Pads {
		for _, t := range []time.Time{c.Set, c.FinishUntil, c.PlaceUntil} {
			if t := t.Truncate(time.Hour).Add(2 * time.Hour); t.After(to) {
				to = t
			}
		}
	}
	if to.After(end) {
		to = end
	}
	return axis{from, to, w}
}

func (p *section) draw() template.HTML {
	size, id := "narrow", p.ID+"-n"
	if p.wide {
		size, id = "wide", p.ID+"-w"
	}
	foot := &svg{}
	y := p.below(foot)
	h := y + 34
	p.raw(`<svg class="%s" viewBox="0 0 %s %s" role="img" aria-labelledby="%s-t %s-d">`, size, num(p.axis.w),
		num(h), id, id)
	p.raw(`<title id="%s-t">%s</title><desc id="%s-d">%s</desc>`, id,
		esc(p.Reader.Say(message.New(SectionTitle, message.Date("", p.Date)))), id, esc(p.Describe()))
	p.night()
	p.rain(p.axis, p.top, p.ground-5, p.Hours, hatchOf{rows: map[bool]int{true: 3, false: 2}[p.wide], dense: 1,
		length: 34})
	p.rainWords()
	p.line()
	for i := range p.Pads {
		p.cast(&p.Pads[i])
	}
	p.b.WriteString(foot.b.String())
	p.hours(p.axis, y, map[bool]int{true: 2, false: 3}[p.wide], p.Reader, !p.wide)
	if !p.Plumb.IsZero() && !p.Plumb.Before(p.axis.from) && p.Plumb.Before(p.axis.to) {
		p.plumb(p.axis.x(p.Plumb), 0, y-2)
	}
	return p.close()
}

func (p *section) night() {
	h := p.ground - p.top + 8
	if l := p.FirstLight; l != nil && l.After(p.axis.from) {
		p.rect(0, p.top-8, p.axis.x(*l), h, `class="n"`)
	}
	if l := p.LastLight; l != nil && l.Before(p.axis.to) {
		x := p.axis.x(*l)
		p.rect(x, p.top-8, p.axis.w-x, h, `class="n"`)
	}
}

// gap is the longest dry stretch of a day within what is drawn, and the wettest hour.
func (p *section) gap() (from, to time.Time, wettest RainHour) {
	var start time.Time
	take := func(end time.Time) {
		if !start.IsZero() && end.Sub(start) > to.Sub(from) {
			from, to = start, end
		}
		start = time.Time{}
	}
	for _, h := range p.Hours {
		if h.Time.Before(p.axis.from) || !h.Time.Before(p.axis.to) {
			continue
		}
		switch {
		case h.Chance == nil || *h.Chance >= dry:
			take(h.Time)
		case start.IsZero():
			start = h.Time
		}
		if h.Chance != nil && (wettest.Chance == nil || *h.Chance > *wettest.Chance) {
			wettest = h
		}
	}
	take(p.axis.to)
	return from, to, wettest
}

// unknown is from when on rain is not known; zero: it is, to the end.
func (p *section) unknown() time.Time {
	for _, h := range p.Hours {
		if h.Chance == nil && !h.Time.Before(p.axis.from) && h.Time.Before(p.axis.to) {
			return h.Time
		}
	}
	return time.Time{}
}

// rainWords measures the gap between rains, and says how likely the worst hour is.
func (p *section) rainWords() {
	r := p.Reader
	from, to, wettest := p.gap()
	left, right := 0.0, 0.0
	if to.Sub(from) >= time.Hour {
		left, right = math.Max(p.axis.x(from), 8), math.Min(p.axis.x(to), p.axis.w-8)
		p.dimension(left, right, 18, p.axis.w, r.Say(message.New(SectionDryFor, message.Duration("dry", to.Sub(from)))),
			r.Label(SectionDry))
	}
	if at := p.unknown(); !at.IsZero() {
		words := r.Say(message.New(SectionUnknown, message.At("from", at)))
		p.text(math.Min(p.axis.x(at)+8, p.axis.w-wordsWidth(words)), p.top+22, "start", `class="halo"`, words)
		return
	}
	if wettest.Chance == nil || *wettest.Chance < dry {
		return
	}
	words := r.Chance(*wettest.Chance)
	if p.wide {
		words = r.Say(message.New(SectionWettest, message.Chance("", *wettest.Chance), message.At("", wettest.Time)))
	}
	half := wordsWidth(words)/2 + 4
	x := math.Max(half, math.Min(p.axis.x(wettest.Time), p.axis.w-half))
	if x+half < left-10 || x-half > right+10 {
		p.text(x, 24, "middle", `class="b"`, words)
		return
	}
	p.text(x, p.top+20, "middle", `class="b halo"`, words)
}

// line is the ground, dashed where nothing is known of the rain above it.
func (p *section) line() {
	from, to := p.axis.w, 0.0
	for _, c := range p.Pads {
		from, to = math.Min(from, p.axis.x(c.PlaceFrom)), math.Max(to, p.axis.x(c.PlaceUntil))
	}
	p.earth(p.axis.w, p.ground+2, from, to)
	end := p.axis.w
	if at := p.unknown(); !at.IsZero() {
		end = p.axis.x(at)
		p.raw(`<path class="g dash" d="M%s %sH%s"/>`, num(end), num(p.ground), num(p.axis.w))
	}
	p.raw(`<path class="g" d="M0 %sH%s"/>`, num(p.ground), num(end))
}

// manyArcs is from how many pads on the arcs would tangle, and are left out.
const manyArcs = 9

func (p *section) cast(c *Cast) {
	a, b, g := p.axis.x(c.PlaceFrom), p.axis.x(c.PlaceUntil), p.ground
	hatch := c.Hatch
	if hatch == "" {
		hatch = "soft"
	}
	p.rect(a, g, b-a, p.deep, `class="sh"`)
	p.rect(a, g, b-a, p.deep, `fill="url(#`+hatch+`)"`)
	p.raw(`<path class="m" d="M%s %sv%sH%sV%s"/>`, num(a), num(g), num(p.deep), num(b), num(g))
	if wide := wordsWidth(c.Name) + 4; p.fits(c) {
		p.rect((a+b)/2-wide/2, g+p.deep/2-11, wide, 22, `class="sh"`)
		p.text((a+b)/2, g+p.deep/2+6, "middle", `class="b"`, c.Name)
	}
	if c.FinishFrom.IsZero() || c.Finished {
		return
	}
	fa, fb := p.axis.x(c.FinishFrom), math.Max(p.axis.x(c.FinishUntil), p.axis.x(c.FinishFrom)+3)
	p.raw(`<path class="m" d="M%s %sv-10H%sv10"/>`, num(fa), num(g-2), num(fb))
	if len(p.Pads) >= manyArcs {
		return
	}
	from, to := (a+b)/2, (fa+fb)/2
	p.raw(`<path class="arc" d="M%s %sA%s %s 0 0 1 %s %s"/>`, num(from), num(g), num((to-from)/2),
		num(math.Min(g-p.top-14, (to-from)*0.38)), num(to), num(g-12))
}

func (p *section) fits(c *Cast) bool {
	return wordsWidth(c.Name)+6 < p.axis.x(c.PlaceUntil)-p.axis.x(c.PlaceFrom)
}

// below writes what stands under the slabs into s, and returns where the hours begin.
func (p *section) below(s *svg) float64 {
	y := p.ground + p.deep + 28
	if len(p.Pads) == 0 {
		return y - 14
	}
	y = p.names(s, y)
	first, last := p.Pads[0], p.Pads[len(p.Pads)-1]
	var finishFrom, finishUntil, set time.Time
	for _, c := range p.Pads {
		if !c.FinishFrom.IsZero() && (finishFrom.IsZero() || c.FinishFrom.Before(finishFrom)) {
			finishFrom = c.FinishFrom
		}
		finishUntil, set = latest(finishUntil, c.FinishUntil), latest(set, c.Set)
	}
	x, r := p.axis.x, p.Reader
	said := func(long, short message.Code, from, to time.Time) []string {
		return []string{r.Say(message.New(long, message.Duration("took", to.Sub(from)))), r.Label(short)}
	}
	s.dimension(x(first.PlaceFrom), x(last.PlaceUntil), y, p.axis.w,
		said(SectionPlaceTook, SectionPlace, first.PlaceFrom, last.PlaceUntil)...)
	if !finishFrom.IsZero() {
		if x(finishFrom)-x(last.PlaceUntil) < 0 || !p.wide { // or the words of one would lie on the other
			y += 34
		}
		s.dimension(x(finishFrom), x(finishUntil), y, p.axis.w,
			said(SectionFinishTook, SectionFinish, finishFrom, finishUntil)...)
	}
	if !set.IsZero() && set.Before(p.axis.to) {
		y += 34
		s.dimension(x(first.PlaceFrom), x(set), y, p.axis.w,
			r.Say(message.New(SectionSoftUntil, message.At("set", set))), r.Label(SectionSoft))
	}
	return y + 26
}

// names writes the names of the first and the last slab above them, where a slab is too
// narrow for its own, and returns where the drawing goes on.
func (p *section) names(s *svg, y float64) float64 {
	all := true
	for i := range p.Pads {
		all = all && p.fits(&p.Pads[i])
	}
	if all {
		return y
	}
	first, last := p.Pads[0], p.Pads[len(p.Pads)-1]
	a, b := p.axis.x(first.PlaceFrom), p.axis.x(last.PlaceUntil)
	name, end := cut(first.Name, p.axis.w/3), cut(last.Name, p.axis.w/3)
	if len(p.Pads) == 1 {
		s.text(math.Max(wordsWidth(name)/2, (a+b)/2), y-4, "middle", `class="b"`, name)
		return y + 26
	}
	s.text(a, y-4, "start", `class="b"`, name)
	s.text(math.Max(b, a+wordsWidth(name)+wordsWidth(end)+40), y-4, "end", `class="b"`, end)
	return y + 26
}

// cut shortens a name to a width; it stands whole in the page's words.
func cut(name string, w float64) string {
	if most := int(w / letter); len([]rune(name)) > most {
		return string([]rune(name)[:max(most-1, 1)]) + "…"
	}
	return name
}

func latest(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}

// Describe says in words what the section draws.
func (p *section) Describe() string {
	from, to, wettest := p.gap()
	var said []message.Message
	if to.Sub(from) >= time.Hour {
		said = append(said, message.New(SectionDryWords, message.At("from", from), message.At("until", to)))
	}
	if wettest.Chance != nil {
		said = append(said, message.New(SectionWetWords, message.Chance("", *wettest.Chance),
			message.At("", wettest.Time)))
	}
	if n := len(p.Pads); n > 0 {
		said = append(said, message.New(SectionPadWords, message.Count("count", n),
			message.At("from", p.Pads[0].PlaceFrom), message.At("until", p.Pads[n-1].PlaceUntil)))
	}
	return p.Reader.SayAll(said)
}

// Patterns defines the hatches of pads, once for a page.
func Patterns() template.HTML {
	dot := func(x, y, r string) string { return fmt.Sprintf(`<circle cx="%s" cy="%s" r="%s"/>`, x, y, r) }
	return template.HTML(`<svg width="0" height="0" style="position:absolute" aria-hidden="true"><defs>` +
		`<pattern id="soft" width="11" height="11" patternUnits="userSpaceOnUse"><g class="f">` +
		dot("2", "2.4", "1.1") + dot("7.6", "4.6", ".8") + dot("4.4", "8.4", "1.2") +
		`<path d="M8 8.4l1.8 2.4H6.6z"/></g></pattern>` +
		`<pattern id="broom" width="13" height="7" patternUnits="userSpaceOnUse">` +
		`<path d="M0 1.5H10M3 5H13M0 5H.5" stroke="var(--ink)" stroke-width="1"/></pattern>` +
		`<pattern id="edge" width="10" height="10" patternUnits="userSpaceOnUse">` +
		//nolint:gosec // no text of others
		`<path d="M5 2V8M2 5H8" stroke="var(--ink)" stroke-width="1.2"/></pattern></defs></svg>`)
}

// Strip draws a day's rain small, over a ground line, with the stretch of its pour.
func Strip(hours []RainHour, pourFrom, pourUntil time.Time) template.HTML {
	s := &svg{}
	s.raw(`<svg viewBox="0 0 116 40" aria-hidden="true">`)
	if len(hours) > 1 {
		a := axis{hours[0].Time, hours[len(hours)-1].Time.Add(time.Hour), 116}
		if most := a.from.Add(18 * time.Hour); a.to.After(most) {
			a.to = most
		}
		s.rain(a, 2, 26, hours, hatchOf{rows: 1, dense: 0.34, length: 22})
		if pourUntil.After(pourFrom) {
			s.rect(a.x(pourFrom), 28, math.Max(a.x(pourUntil)-a.x(pourFrom), 3), 9, `class="f"`)
		}
	}
	s.raw(`<path class="m" d="M0 28H116"/>`)
	return s.close()
}
