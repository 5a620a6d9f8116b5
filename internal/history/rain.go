package history

import (
	"math"
	"slices"
	"time"

	"dryslot/internal/message"
	"dryslot/internal/pour"
)

// rain is a spell of rain as it is logged.
type rain struct {
	Spell
	pads    []string // empty: every pad
	covered *bool    // as the entry says; nil: as the log shows
	stored  []pour.Effect
}

// spells are the spells of rain in a log in order, as events of the moment when
// each was over: by then everything that was done against it has been replayed.
// rain_began and rain_ended make a spell between them; one that is not over
// lasts until now.
func (w *walk) spells(ordered []event) []event {
	var out []event
	var begun *event
	for i := range ordered {
		e := ordered[i]
		if w.void(e) {
			continue
		}
		switch e.entry.Kind {
		case pour.EntryRainBegan:
			if begun == nil {
				begun = &ordered[i]
			}
		case pour.EntryRainEnded:
			e.rain, begun = ended(e, begun), nil
			out = append(out, e)
		case pour.EntryRainedOn:
			e.rain = w.rainedOn(e)
			e.at = e.rain.To
			out = append(out, e)
		}
	}
	if begun != nil {
		e := *begun
		e.rain = &rain{Spell: Spell{Entry: e.id, From: e.at, To: w.Now, Open: true}}
		e.at = w.Now
		out = append(out, e)
	}
	return out
}

// ended is the spell that ends with an entry; begun is nil where nobody logged
// that it began.
func ended(e event, begun *event) *rain {
	r := &rain{Spell: Spell{Entry: e.id, From: e.at, To: e.at, RainMM: e.entry.RainMM}}
	if begun == nil {
		return r
	}
	r.From = begun.at
	min := e.at.Sub(begun.at).Minutes()
	r.Minutes = &min
	if r.RainMM == nil {
		r.RainMM = begun.entry.RainMM
	}
	return r
}

// rainedOn is the spell that one entry reports as a whole. It does not lie in the future.
func (w *walk) rainedOn(e event) *rain {
	r := &rain{Spell: Spell{Entry: e.id, From: e.at, To: e.at, Minutes: e.entry.Minutes, RainMM: e.entry.RainMM},
		pads: e.entry.Names(), covered: e.entry.Covered}
	if e.entry.Minutes != nil {
		r.To = e.at.Add(time.Duration(*e.entry.Minutes * float64(time.Minute)))
	}
	if r.To.After(w.Now) {
		r.To = w.Now
	}
	if len(e.entry.Effects) > 0 && e.entry.Effects[0].Code == "" {
		r.stored = e.entry.Effects
	}
	return r
}

// rained concludes what a spell did to the pads that it reached.
func (w *walk) rained(r rain) {
	w.out.Rain = append(w.out.Rain, r.Spell)
	if w.today(r.To) || w.today(r.From) {
		w.out.Day.Rain = append(w.out.Day.Rain, r.Spell)
		if r.Open {
			since := r.From
			w.out.Day.RainSince = &since
		}
	}
	for _, f := range r.stored {
		if p := w.index[f.Pad]; p != nil {
			w.suffer(p, Effect{Entry: r.Entry, Pad: f.Pad, Code: message.StoredText, Lost: f.State == pour.Lost,
				Inspect: f.Inspect != "", Stored: f, Figures: Figures{At: r.From, RainMM: r.RainMM}}, false)
		}
	}
	if len(r.stored) > 0 {
		return
	}
	for _, p := range w.pads {
		named := slices.Contains(r.pads, p.name)
		if len(r.pads) > 0 && !named {
			continue
		}
		if f, ok := w.rainOn(p, r, named); ok {
			w.suffer(p, f, r.Open)
		}
	}
}

// suffer applies an effect to a pad. While it still rains nothing is asked.
func (w *walk) suffer(p *pad, f Effect, open bool) {
	w.out.Effects = append(w.out.Effects, f)
	switch {
	case f.Lost && p.placed():
		was := *p
		p.lose(f.Figures.At, f.Entry)
		p.washed, p.washedBy = &was, &f
	case f.Inspect && (p.placed() || f.Code == RainHalfPlaced):
		p.inspect = &f
		if !open {
			p.asks = append(p.asks, openIn(f)...)
		}
	}
}

// openIn are the questions that an effect leaves open.
func openIn(f Effect) []Question {
	q := Question{Pads: []string{f.Pad}, Entries: []string{f.Entry}, At: f.Figures.At}
	var out []Question
	add := func(code message.Code) {
		q.Ask = code
		out = append(out, q)
	}
	switch f.Code {
	case RainHalfPlaced:
		add(HalfPlaced)
	case RainSoftUnsure, RainSettingAsked:
		if f.Figures.RainMM == nil || f.Figures.LeastMM == nil {
			add(HowMuchRain)
		}
		if f.Figures.Covered == Unknown {
			add(WasCovered)
		}
	}
	return out
}

// rainOn concludes what a spell did to one pad: lost only where it is known
// that enough fell within an hour and that nothing covered the pad, and
// otherwise to be inspected. Light rain costs a soft pad with a small chance
// only, and so does any rain under a cover: both are to be looked at.
func (w *walk) rainOn(p *pad, r rain, named bool) (Effect, bool) {
	f := Effect{Entry: r.Entry, Pad: p.name, Figures: Figures{At: r.From, RainMM: r.RainMM}}
	if !p.placed() {
		if p.placing != nil && p.rec.LostAt == nil && !r.To.Before(*p.placing) {
			f.Code, f.Inspect = RainHalfPlaced, true
			return f, true
		}
		return f, false
	}
	from := *p.rec.PlacedAt
	if p.placing != nil && p.placing.Before(from) {
		from = *p.placing
	}
	if r.To.Before(from) {
		return f, false // before it was there
	}
	x := &f.Figures
	x.PlacedAt, x.Finished = *p.rec.PlacedAt, p.rec.FinishedAt != nil && !p.rec.FinishedAt.After(r.From)
	least, most := r.worstHour()
	x.LeastMM, x.MostMM = known(least), known(most)
	x.Covered = w.coveredIn(p, r)
	initial, ok := p.initialSet()
	if ok {
		final, _ := p.finalSet()
		x.InitialSet, x.FinalSet, x.SetKnown = initial, final, p.set.Known
		switch {
		case r.From.Before(initial):
		case r.From.Before(final):
			return w.onSetting(f, most), true
		default:
			f.Code = RainAfterSet
			return f, named
		}
	}
	return w.onSoft(f, least, most), true
}

func (w *walk) onSoft(f Effect, least, most float64) Effect {
	x := &f.Figures
	x.LimitMM = w.Rain.SpoilsMM
	f.Inspect = true
	switch {
	case most < w.Rain.TellsMM:
		f.Code, f.Inspect = RainTooLittle, false
	case x.Covered == Yes:
		f.Code = RainSoftCovered
	case math.IsNaN(most):
		f.Code = RainSoftUnsure
	case least >= w.Rain.SpoilsMM && x.Covered == No:
		f.Code, f.Lost, f.Inspect = RainLost, true, false
	case most >= w.Rain.SpoilsMM:
		f.Code = RainSoftUnsure
	default:
		f.Code = RainSoft
	}
	return f
}

func (w *walk) onSetting(f Effect, most float64) Effect {
	f.Figures.LimitMM = w.Rain.MarksMM
	switch {
	case math.IsNaN(most):
		f.Code, f.Inspect = RainSettingAsked, f.Figures.Covered != Yes
	case most >= w.Rain.MarksMM:
		f.Code, f.Inspect = RainSetting, true
	case most < w.Rain.TellsMM:
		f.Code = RainTooLittle
	default:
		f.Code = RainAfterSet
	}
	return f
}

// worstHour returns what fell within the worst hour, in mm, at the least and at
// the most; NaN where it is not known. Rain of an hour or less is its hour's; of
// more, the worst hour had its mean or more, and all of it at the most. How long
// it took is needed to know that enough fell within an hour.
func (r rain) worstHour() (least, most float64) {
	if r.RainMM == nil {
		return math.NaN(), math.NaN()
	}
	least, most = math.NaN(), *r.RainMM
	if r.Minutes != nil {
		least = most
		if *r.Minutes > 60 {
			least = most * 60 / *r.Minutes
		}
	}
	return least, most
}

func known(v float64) *float64 {
	if math.IsNaN(v) {
		return nil
	}
	return &v
}

// coveredIn reports whether a pad lay covered when a spell began. A cover that
// was laid during it counts as one: the pad is inspected, not lost. Where the
// log shows none, a project that owns covers may have used one, and nobody
// said so.
func (w *walk) coveredIn(p *pad, r rain) Known {
	if r.covered != nil {
		if *r.covered {
			return Yes
		}
		return No
	}
	for _, s := range p.covers {
		if !s.from.After(r.To) && s.to.After(r.From) {
			return Yes
		}
	}
	if p.cover != nil && !p.cover.from.After(r.To) {
		return Yes
	}
	if w.own {
		return Unknown
	}
	return No
}
