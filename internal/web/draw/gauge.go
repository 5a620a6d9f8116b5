package draw

import (
	"html/template"
	"math"
	"time"

	"dryslot/internal/message"
	"dryslot/internal/say"
)

// Gauge is the wait for one step, to scale: now, when it can be done, and by when
// it must be.
type Gauge struct {
	ID                string
	Now, Ready, Until time.Time
	Reader            say.Reader
}

// Draw draws it with the string at now, and a bracket over the time to work in.
func (g Gauge) Draw(wide bool) template.HTML {
	class, w := "narrow", 358.0
	if wide {
		class, w = "wide", 560
	}
	s := &svg{}
	from := g.Now
	if g.Ready.Before(from) {
		from = g.Ready
	}
	a := axis{from, g.Until, w - 60}
	x := func(t time.Time) float64 { return 30 + a.x(t) }
	clock := func(code message.Code, t time.Time) string { return g.Reader.Say(message.New(code, message.At("", t))) }
	ready, until := clock(GaugeReady, g.Ready), clock(GaugeBy, g.Until)
	s.raw(`<svg class="%s" viewBox="0 0 %s 104" role="img" aria-label="%s">`, class, num(w),
		esc(clock(GaugeNow, g.Now)+", "+ready+", "+until))
	s.raw(`<path class="m" d="M%s 44V16H%sV44"/>`, num(x(g.Ready)), num(x(g.Until)))
	s.raw(`<path class="t" d="M%s 44H%s"/>`, num(x(from)), num(x(g.Until)))
	s.raw(`<path class="m" d="M%s 51l14-14M%s 51l14-14"/>`, num(x(g.Ready)-7), num(x(g.Until)-7))
	s.plumb(x(g.Now), 0, 50)
	s.text(w, 92, "end", `class="b"`, until)
	at := math.Max(x(g.Ready), wordsWidth(ready)/2)
	if at+wordsWidth(ready)/2 < w-wordsWidth(until)-14 {
		s.text(at, 92, "middle", `class="b"`, ready)
	} else {
		s.text(0, 92, "start", `class="b"`, ready)
	}
	return s.close()
}
