package draw

import (
	"fmt"
	"html/template"
	"math"
	"strings"
	"time"

	"dryslot/internal/say"
)

// axis lays a stretch of time out over a width.
type axis struct {
	from, to time.Time
	w        float64
}

func (a axis) x(t time.Time) float64 {
	f := float64(t.Sub(a.from)) / float64(a.to.Sub(a.from))
	return a.w * math.Min(1, math.Max(0, f))
}

// whole writes a coordinate without decimals, where a pixel does not matter.
func whole(v float64) string { return fmt.Sprintf("%.0f", v) }

// letter is the width of a letter in the drawings, in pixels: 18 px of the page's
// font, measured over the words that stand in them.
const letter = 9.2

func wordsWidth(words string) float64 { return letter * float64(len([]rune(words))) }

// hatchOf says how rain is hatched: so many rows of strokes for each tenth of an
// hour's chance, times dense, each about so long.
type hatchOf struct {
	rows   int
	dense  float64
	length float64
}

// rain is pencil hatching: strokes that lean, spread evenly in time and unevenly
// in height, so that no pattern shows. No other mark on the pages leans so.
func (s *svg) rain(a axis, top, bottom float64, hours []RainHour, o hatchOf) {
	const lean = 0.3
	var d strings.Builder
	seed, spread := uint32(11), 0.0
	random := func() float64 { // the same strokes at each drawing
		seed = seed*1664525 + 1013904223
		return float64(seed>>8) / (1 << 24)
	}
	high := bottom - top
	for _, h := range hours {
		if h.Chance == nil {
			continue
		}
		n := int(math.Round(*h.Chance*10*o.dense)) * o.rows
		for i := range n {
			_, spread = math.Modf(spread + 0.618 + random()*0.3)
			l := math.Min(high, o.length*(0.7+random()*0.5))
			y := top + (high-l)*spread
			part := (float64(i) + 0.5 + (random()-0.5)*0.3) / float64(n)
			x := a.x(h.Time) + part*(a.x(h.Time.Add(time.Hour))-a.x(h.Time)) + lean*l/2
			if x > a.w+3 || h.Time.Before(a.from.Add(-time.Hour)) || !h.Time.Before(a.to) {
				continue
			}
			fmt.Fprintf(&d, "M%s %sl%s %s", whole(x), whole(y), whole(-lean*l), whole(l))
		}
	}
	if d.Len() > 0 {
		s.raw(`<path class="r" d="%s"/>`, d.String())
	}
}

// earth is the draftsman's mark under a ground line, in threes, but for the
// stretch where pads are cast.
func (s *svg) earth(w, y, skipFrom, skipTo float64) {
	var d strings.Builder
	for x := 10.0; x < w-4; x += 46 {
		if x > skipFrom-22 && x < skipTo+8 {
			continue
		}
		fmt.Fprintf(&d, "M%s %sl-7 9M%s %sl-10 13M%s %sl-7 9", whole(x), whole(y), whole(x+6), whole(y), whole(x+12),
			whole(y))
	}
	if d.Len() > 0 {
		s.raw(`<path class="t" d="%s"/>`, d.String())
	}
}

// dimension draws a line between slashed ticks with words in its gap, the longest
// that fit; where none do, the last stands beside it.
func (s *svg) dimension(x1, x2, y, w float64, words ...string) {
	s.raw(`<path class="t" d="M%s %sH%sM%s %sv18M%s %sv18"/>`, num(x1), num(y), num(x2), num(x1), num(y-9), num(x2),
		num(y-9))
	tick := func(x float64) string {
		return fmt.Sprintf("M%s %sL%s %s", num(x-7), num(y+7), num(x+7), num(y-7))
	}
	s.raw(`<path class="m" d="%s%s"/>`, tick(x1), tick(x2))
	for _, t := range words {
		if wide := wordsWidth(t) + 12; wide < x2-x1-16 {
			mid := (x1 + x2) / 2
			s.rect(mid-wide/2, y-11, wide, 22, `class="pp"`)
			s.text(mid, y+6, "middle", "", t)
			return
		}
	}
	last := words[len(words)-1]
	if x2+14+wordsWidth(last) < w {
		s.text(x2+14, y+6, "start", `class="halo"`, last)
		return
	}
	s.text(x1-14, y+6, "end", `class="halo"`, last)
}

// plumb is the string with its bob: now, or the start.
func (s *svg) plumb(x, top, bottom float64) {
	s.raw(`<path class="st" d="M%s %sV%s"/><path class="sf" d="M%s %sl7 8-7 16-7-16z"/>`,
		num(x), num(top), num(bottom-8), num(x), num(bottom-10))
}

// hours writes the hours at the foot: a tick an hour, words every so many.
func (s *svg) hours(a axis, y float64, every int, r say.Reader, short bool) {
	var ticks strings.Builder
	first := a.from.Truncate(time.Hour)
	for t := first; !t.After(a.to); t = t.Add(time.Hour) {
		if t.Before(a.from) {
			continue
		}
		long := t.In(r.Zone).Hour()%every == 0 && t.In(r.Zone).Minute() == 0
		fmt.Fprintf(&ticks, "M%s %sv%s", num(a.x(t)), num(y), map[bool]string{true: "12", false: "6"}[long])
		words := r.Hour(t, short)
		half := wordsWidth(words) / 2
		if x := a.x(t); long && x > half && x < a.w-half {
			s.text(x, y+32, "middle", "", words)
		}
	}
	s.raw(`<path class="t" d="M0 %sH%s%s"/>`, num(y), num(a.w), ticks.String())
}

// Stacks draws bags in stacks, one for each trip, three bags wide, with how many
// each holds.
func Stacks(trips []int, label string) template.HTML {
	const each, wide, high = 88.0, 23.0, 15.0
	most := 0
	for _, n := range trips {
		most = max(most, n)
	}
	if most == 0 {
		return ""
	}
	rows := float64((most + 2) / 3)
	s := &svg{}
	s.raw(`<svg class="stacks" viewBox="-4 0 %s %s" style="max-width:%spx" role="img" aria-label="%s">`,
		num(each*float64(len(trips))), num(rows*17+44), num(each*float64(len(trips))), esc(label))
	for t, n := range trips {
		for i := range n {
			row := i / 3
			x := each*float64(t) + float64(i%3)*25 + float64(row%2)*4
			s.raw(`<rect class="m sh" rx="5" x="%s" y="%s" width="%s" height="%s"/>`, num(x),
				num((rows-float64(row)-1)*17+2), num(wide), num(high))
		}
		s.raw(`<path class="g" d="M%s %sh78"/>`, num(each*float64(t)-2), num(rows*17+4))
		s.text(each*float64(t)+37, rows*17+28, "middle", `class="b"`, fmt.Sprint(n))
	}
	return s.close()
}
