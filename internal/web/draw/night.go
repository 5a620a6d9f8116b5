package draw

import (
	"html/template"
	"time"

	"dryslot/internal/message"
	"dryslot/internal/say"
)

// Night is the evening and the night before a pour, with the two alerts that come
// in it: the plan in the evening, and the wake-up before the start.
type Night struct {
	Evening, WakeUp, Start time.Time
	Reader                 say.Reader
}

// Draw draws it to scale, with a flag at each alert and a plumb line at the start.
func (n Night) Draw(wide bool) template.HTML {
	class, w, every := "narrow", 390.0, 6
	if wide {
		class, w, every = "wide", 1216, 3
	}
	s := &svg{}
	a := axis{n.Evening.Add(-time.Hour).Truncate(time.Hour), n.Start.Add(3 * time.Hour), w}
	plan := n.Reader.Say(message.New(NightPlan, message.At("", n.Evening)))
	wake := n.Reader.Say(message.New(NightWakeUp, message.At("", n.WakeUp)))
	evening, up, start := a.x(n.Evening), a.x(n.WakeUp), a.x(n.Start)
	s.raw(`<svg class="%s" viewBox="0 0 %s 192" role="img" aria-label="%s">`, class, num(w), esc(plan+", "+wake))
	s.rect(0, 58, start, 44, `class="n"`)
	s.raw(`<path class="g" d="M0 102H%s"/>`, num(w))
	s.earth(w, 104, w, w)
	for _, x := range []float64{evening, up} {
		s.raw(`<path class="m" d="M%s 68v34"/><path class="f" d="M%s 68h14v12h-14z"/>`, num(x), num(x))
	}
	// On a phone the two stand one above the other.
	s.text(max(evening-14, 0), 20, "start", `class="b"`, plan)
	s.text(min(up+40, w), 46, "end", `class="b"`, wake)
	s.dimension(up, start, 132, w, n.Reader.Figure(message.Duration("", n.Start.Sub(n.WakeUp))))
	s.plumb(start, 54, 140)
	s.hours(a, 154, every, n.Reader, !wide)
	return s.close()
}
