package history

import (
	"slices"
	"time"

	"dryslot/internal/message"
	"dryslot/internal/pour"
	"dryslot/internal/takeoff"
	"dryslot/internal/unit"
)

func (w *walk) sameDate(a, b time.Time) bool { return unit.DateOf(a, w.Zone) == unit.DateOf(b, w.Zone) }

// contradicted reports whether the log says that a planned step was not done
// when it was planned: work of the same kind or before it was logged for later,
// the pad or the morning was called off, a placing of it was undone since, or
// it rained and the crew will have waited.
func (w *walk) contradicted(s Step, ordered []event) bool {
	raining := false
	for _, e := range ordered {
		x := e.entry
		if w.void(e) {
			if x.Kind == s.Kind && slices.Contains(x.Names(), s.Pad) && w.sameDate(s.At, x.At) &&
				!w.undoneAt(x.ID).Before(s.At) {
				return true
			}
			continue
		}
		before := !x.At.After(s.At)
		switch x.Kind {
		case pour.EntryRainBegan:
			raining = raining || before
		case pour.EntryRainEnded:
			raining = raining && !before
		}
		if !w.sameDate(s.At, x.At) {
			continue
		}
		names := x.Names()
		switch {
		case x.Kind == pour.EntrySkipped && (len(names) == 0 || slices.Contains(names, s.Pad)):
			return true
		case x.Kind == pour.EntryStarted && !before:
			return true // nothing was done before the crew began
		case !slices.Contains(names, s.Pad) || before:
		case s.Kind == pour.EntryPlaced:
			if x.Kind == pour.EntryPlaced || x.Kind == pour.EntryPlacing || x.Kind == pour.EntryFormed {
				return true
			}
		case x.Kind == s.Kind:
			return true
		}
	}
	return raining
}

// undoneAt is when an entry was voided: by the undo that counts.
func (w *walk) undoneAt(id string) time.Time {
	by := w.voids[id]
	for i := range w.Log {
		if w.Log[i].ID == by {
			return w.Log[i].At
		}
	}
	return time.Time{}
}

// assume takes a planned step as done.
func (w *walk) assume(s Step) {
	p := w.index[s.Pad]
	switch {
	case p == nil:
	case s.Kind == pour.EntryPlaced && !p.placed():
		if p.rec.LostAt != nil && w.sameDate(*p.rec.LostAt, s.At) {
			return // what was planned before the loss
		}
		w.place(p, s.At, "", nil, nil)
		p.assumed[WasPlaced] = s.At
	case s.Kind == pour.EntryFinished && p.placed() && p.rec.FinishedAt == nil && p.rec.StrippedAt == nil:
		at := s.At
		p.rec.FinishedAt, p.rec.State = &at, pour.Finished
		p.assumed[WasFinished] = at
	}
}

// share is what an entry says of one of its pads: totals are shared by the
// volume of the pads.
func (w *walk) share(e *pour.LogEntry, name string) pour.LogEntry {
	out := *e
	out.Pad, out.Pads = name, []string{name}
	names := e.Names()
	if len(names) < 2 {
		return out
	}
	all, mine := 0.0, 0.0
	for _, p := range w.Spec.Pads {
		if slices.Contains(names, p.Name) {
			v := takeoff.PadVolumeL(w.Spec, p)
			all += v
			if p.Name == name {
				mine = v
			}
		}
	}
	if all <= 0 {
		return out
	}
	part := func(v *float64) *float64 {
		if v == nil {
			return nil
		}
		x := *v * mine / all
		return &x
	}
	out.Bags, out.WaterL, out.Minutes = part(e.Bags), part(e.WaterL), part(e.Minutes)
	return out
}

// state is what is true of a pad now.
func (p *pad) state(w *walk) Pad {
	if p.placed() && w.CuredAt != nil {
		if at := w.CuredAt(p.name, *p.rec.PlacedAt); !at.IsZero() && !at.After(w.Now) {
			p.rec.CuredAt, p.rec.State = &at, pour.Cured
		}
	}
	if !p.placed() && p.rec.LostAt == nil && p.formed != nil {
		p.rec.State = pour.Formed
	}
	out := Pad{PadRecord: p.rec, Phase: p.phase(w.Now), Inspect: p.inspect, Assumed: len(p.assumed) > 0,
		FormedAt: p.formed, PlacingAt: p.placing, Result: p.result, RatedAt: p.rated, Ratings: p.ratings}
	if p.cover != nil {
		out.Covered, out.Cover, out.CoveredAt = true, p.cover.kind, &p.cover.from
	}
	if p.rec.StrippedAt != nil || p.rec.CuredAt != nil {
		// Set long ago: when it was matters no more.
	} else if initial, ok := p.initialSet(); ok {
		final, _ := p.finalSet()
		out.InitialSet, out.FinalSet, out.SetKnown = &initial, &final, p.set.Known
	}
	p.pending(w)
	return out
}

// phase is how far the pad's concrete has come. One whose setting is not known
// counts as soft.
func (p *pad) phase(now time.Time) Phase {
	switch {
	case p.rec.State == pour.Cured:
		return Cured
	case p.rec.StrippedAt != nil:
		return Stripped
	case p.placed():
		initial, ok := p.initialSet()
		final, _ := p.finalSet()
		switch {
		case !ok || now.Before(initial):
			return Soft
		case now.Before(final):
			return Setting
		}
		return Hard
	case p.placing != nil:
		return Placing
	case p.rec.LostAt != nil && p.formed == nil:
		return Lost
	case p.formed != nil:
		return Formed
	}
	return Waiting
}

// pending asks what the pad leaves open.
func (p *pad) pending(w *walk) {
	for _, code := range []message.Code{WasPlaced, WasFinished} {
		at, ok := p.assumed[code]
		if !ok {
			continue
		}
		q := Question{Ask: code, Pads: []string{p.name}, At: at}
		if code == WasPlaced && p.placedBy != "" {
			q.Entries = []string{p.placedBy}
		}
		w.ask(q)
	}
	for _, q := range p.asks {
		w.ask(q)
	}
}
