package draw

import (
	"fmt"
	"html/template"
	"math"
	"time"

	"dryslot/internal/message"
	"dryslot/internal/planner/job"
	"dryslot/internal/say"
	"dryslot/internal/unit"
)

// Size is the room that a picture is drawn for. The page shows the one that
// fits, so that words in the picture keep a size that can be read.
type Size struct {
	Name   string
	W      float64 // width in CSS pixels
	Left   float64 // room for the scales
	Font   float64
	EveryH int // hours between labels of the time axis
}

// The sizes drawn.
func Phone() Size { return Size{Name: "phone", W: 358, Left: 34, Font: 14, EveryH: 4} }

// Desk is the size for a wide screen and for paper.
func Desk() Size { return Size{Name: "desk", W: 1000, Left: 56, Font: 16, EveryH: 2} }

// Strip says how to draw a day.
type Strip struct {
	Reader say.Reader // with the zone of the axis
	Now    time.Time  // drawn where it lies on the axis
	Size   Size
}

// Limits drawn as lines: frost on young concrete, and evaporation at which
// precautions are due (ACI 305R: 1.0 kg/m2/h).
const (
	frostLimitC  = 0.0
	evapLimitKg  = 1.0
	laneHeight   = 20.0
	panelHeight  = 80.0
	kgM2ToLbFt2  = 0.204816 // from NIST SP 811 factors
	axisHeight   = 32.0
	panelCaption = 30.0
)

// DayStrip draws one morning on one time axis: rain above, the work on the
// axis, the concrete's temperature and evaporation below.
func DayStrip(m job.Morning, o Strip) template.HTML {
	if m.Chart == nil || len(m.Chart.Hours) < 2 {
		return ""
	}
	d := &strip{m: m, o: o, id: "strip-" + o.Size.Name + "-" + m.Date.String()}
	hs := m.Chart.Hours
	d.from, d.to = hs[0].Time, hs[len(hs)-1].Time.Add(time.Hour)
	lanes := float64(len(m.Pads)) * laneHeight
	d.rainTop = panelCaption
	d.axisTop = d.rainTop + panelHeight
	d.laneTop = d.axisTop + axisHeight + panelCaption
	d.tempTop = d.laneTop + lanes + panelCaption + 6
	d.evapTop = d.tempTop + panelHeight + panelCaption
	d.bottom = d.evapTop + panelHeight
	d.draw()
	return d.s.close()
}

type strip struct {
	s        svg
	m        job.Morning
	o        Strip
	id       string
	from, to time.Time

	rainTop, axisTop, laneTop, tempTop, evapTop, bottom float64
}

func (d *strip) x(t time.Time) float64 {
	w := d.o.Size.W - d.o.Size.Left - 6
	f := float64(t.Sub(d.from)) / float64(d.to.Sub(d.from))
	return d.o.Size.Left + w*math.Min(1, math.Max(0, f))
}

func (d *strip) draw() {
	title := d.o.Reader.Say(message.New(StripTitle, message.Date("", d.m.Date)))
	d.s.open("img", d.o.Size.W, d.bottom+8, d.id, title, d.o.Reader.Label(StripDesc))
	d.s.patterns(d.id)
	d.s.raw(`<g font-size="%s" fill="var(--ink)">`, num(d.o.Size.Font))
	d.night()
	d.rain()
	d.axis()
	d.lanes()
	d.temperature()
	d.evaporation()
	d.now()
	d.s.raw(`</g>`)
}

// night shades what lies outside first and last light.
func (d *strip) night() {
	fill := fmt.Sprintf(`fill="url(#%s-night)"`, d.id)
	h := d.bottom - d.rainTop
	l := d.m.Daylight
	if l.FirstLight != nil && l.FirstLight.After(d.from) {
		d.s.rect(d.x(d.from), d.rainTop, d.x(*l.FirstLight)-d.x(d.from), h, fill)
	}
	if l.LastLight != nil && l.LastLight.Before(d.to) {
		d.s.rect(d.x(*l.LastLight), d.rainTop, d.x(d.to)-d.x(*l.LastLight), h, fill)
	}
}

func (d *strip) caption(top float64, code message.Code) {
	d.s.text(d.o.Size.Left, top-6, "start", `font-weight="600"`, d.o.Reader.Label(code))
}

func (d *strip) rain() {
	d.caption(d.rainTop, StripRain)
	base := d.axisTop
	d.s.line(d.o.Size.Left, base, d.o.Size.W-6, base, `stroke="var(--ink)" stroke-width="2"`)
	for _, p := range []float64{0.5, 1} {
		y := base - p*panelHeight
		d.s.line(d.o.Size.Left, y, d.o.Size.W-6, y, `stroke="var(--ink)" stroke-width="0.5" stroke-dasharray="1 4"`)
		d.s.text(d.o.Size.Left-3, y+5, "end", "", fmt.Sprintf("%.0f", p*100))
	}
	d.s.text(d.o.Size.Left-3, base, "end", "", d.o.Reader.Chance(0))
	for _, h := range d.m.Chart.Hours {
		x, w := d.x(h.Time), d.x(h.Time.Add(time.Hour))-d.x(h.Time)
		if h.RainChance == nil {
			d.s.text(x+w/2, base-4, "middle", "", "?")
			continue
		}
		y := *h.RainChance * panelHeight
		d.s.rect(x+0.5, base-y, w-1, y, `fill="var(--accent)"`)
	}
}

func (d *strip) axis() {
	for t := d.from; !t.After(d.to); t = t.Add(time.Hour) {
		local := t.In(d.o.Reader.Zone)
		x := d.x(t)
		if local.Hour()%d.o.Size.EveryH != 0 {
			d.s.line(x, d.axisTop, x, d.axisTop+4, `stroke="var(--ink)" stroke-width="1"`)
			continue
		}
		d.s.line(x, d.axisTop, x, d.axisTop+8, `stroke="var(--ink)" stroke-width="2"`)
		if x < d.o.Size.W-d.o.Size.Font*1.4 && x > d.o.Size.Left+d.o.Size.Font*0.6 {
			d.s.text(x, d.axisTop+axisHeight-2, "middle", "", d.o.Reader.Hour(t, d.o.Size.W < 500))
		}
	}
}

// lanes draws each pad's work under the axis, one just below the other, each
// with its name where its work ends.
func (d *strip) lanes() {
	if len(d.m.Pads) == 0 {
		return
	}
	d.caption(d.laneTop, StripWork)
	for i, p := range d.m.Pads {
		y := d.laneTop + float64(i)*laneHeight + 2
		h := laneHeight - 5
		edge := ` stroke="var(--ink)" stroke-width="1.2"`
		bar := func(from, to time.Time, fill string) {
			d.s.rect(d.x(from), y, d.x(to)-d.x(from), h, `fill="`+fill+`"`+edge)
		}
		if p.PlaceEnd.After(p.PlaceStart) {
			bar(p.PlaceStart, p.PlaceEnd, "var(--ink)")
		} else {
			d.s.rect(d.x(p.PlaceStart)-3, y, 3, h, `fill="var(--ink)"`) // logged: how long it took is not known
		}
		end := p.PlaceEnd
		if !p.FinishStart.IsZero() {
			bar(p.PlaceEnd, p.FinishStart, "var(--paper)")
			bar(p.FinishStart, p.FinishEnd, "url(#"+d.id+"-slant)")
			end = p.FinishEnd
		}
		if p.FinalSet != nil && p.FinalSet.After(end) {
			bar(end, *p.FinalSet, "url(#"+d.id+"-stipple)")
			end = *p.FinalSet
		}
		name := []rune(p.Pad)
		if len(name) > 14 {
			name = append(name[:13:13], '…') // it stands whole in the list
		}
		if x := d.x(end) + 4; x < d.o.Size.W-textWidth(string(name), d.o.Size.Font) {
			d.s.text(x, y+h-2, "start", "", string(name))
		} else {
			d.s.text(d.x(p.PlaceStart)-4, y+h-2, "end", "", string(name))
		}
	}
}

func (d *strip) temperature() {
	codes, conv := [2]message.Code{StripTempC, StripTempCShort}, func(c float64) float64 { return c }
	if d.o.Reader.US {
		codes, conv = [2]message.Code{StripTempF, StripTempFShort}, func(c float64) float64 { return unit.Celsius(c).Fahrenheit() }
	}
	name := codes[0]
	if d.o.Size.W < 500 {
		name = codes[1]
	}
	d.caption(d.tempTop, name)
	var slab, air []*float64
	lo, hi := conv(frostLimitC), conv(15)
	for _, h := range d.m.Chart.Hours {
		slab, air = append(slab, h.SlabC), append(air, h.AirC)
		for _, v := range []*float64{h.SlabC, h.AirC} {
			if v != nil {
				lo, hi = math.Min(lo, conv(*v)), math.Max(hi, conv(*v))
			}
		}
	}
	p := panel{top: d.tempTop, lo: math.Floor(lo/5) * 5, hi: math.Ceil(hi/5) * 5, conv: conv}
	d.scale(p, p.lo, p.hi)
	d.limit(p, conv(frostLimitC), StripFrost)
	d.curve(p, air, `stroke-dasharray="5 4" stroke-width="1.5"`)
	d.curve(p, slab, `stroke-width="2.5"`)
}

func (d *strip) evaporation() {
	name, k := StripEvapSi, 1.0
	if d.o.Reader.US {
		name, k = StripEvapUs, kgM2ToLbFt2
	}
	d.caption(d.evapTop, name)
	var rate []*float64
	hi := 1.2 * k
	for _, h := range d.m.Chart.Hours {
		rate = append(rate, h.EvapKgM2H)
		if h.EvapKgM2H != nil {
			hi = math.Max(hi, *h.EvapKgM2H*k)
		}
	}
	p := panel{top: d.evapTop, lo: 0, hi: hi, conv: func(v float64) float64 { return v * k }}
	d.scale(p, 0, evapLimitKg*k)
	d.limit(p, evapLimitKg*k, StripLimit)
	d.curve(p, rate, `stroke-width="2.5"`)
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

func (d *strip) scale(p panel, values ...float64) {
	d.s.rect(d.o.Size.Left, p.top, d.o.Size.W-6-d.o.Size.Left, panelHeight, `fill="none" stroke="var(--ink)" stroke-width="0.75"`)
	for _, v := range values {
		d.s.text(d.o.Size.Left-3, math.Min(p.y(v)+5, p.top+panelHeight), "end", "", trim(v))
	}
}

func (d *strip) limit(p panel, v float64, name message.Code) {
	y := p.y(v)
	d.s.line(d.o.Size.Left, y, d.o.Size.W-6, y, `stroke="var(--ink)" stroke-width="1.5" stroke-dasharray="2 3"`)
	at := y - 3
	if at-d.o.Size.Font < p.top {
		at = y + d.o.Size.Font // under the line, where it would stand on the frame
	}
	d.s.text(d.o.Size.W-8, at, "end", "", d.o.Reader.Label(name))
}

func (d *strip) curve(p panel, values []*float64, attrs string) {
	path, pen := "", false
	for i, v := range values {
		if v == nil {
			pen = false
			continue
		}
		cmd := "L"
		if !pen {
			cmd, pen = "M", true
		}
		path += fmt.Sprintf("%s%s %s", cmd, num(d.x(d.m.Chart.Hours[i].Time)), num(p.y(p.conv(*v))))
	}
	if path != "" {
		d.s.raw(`<path d="%s" fill="none" stroke="var(--ink)" %s/>`, path, attrs)
	}
}

// now draws the present as a line from top to bottom.
func (d *strip) now() {
	if d.o.Now.Before(d.from) || d.o.Now.After(d.to) {
		return
	}
	x := d.x(d.o.Now)
	d.s.line(x, d.rainTop, x, d.bottom, `stroke="var(--ink)" stroke-width="3"`)
	d.s.text(x, d.bottom+8, "middle", "", d.o.Reader.Label(StripNow))
}

func trim(v float64) string {
	if v == math.Trunc(v) {
		return fmt.Sprintf("%.0f", v)
	}
	return fmt.Sprintf("%.1f", v)
}
