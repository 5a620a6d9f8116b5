package history

import (
	"time"

	"dryslot/internal/message"
	"dryslot/internal/pour"
)

// pad is one pad during a replay.
type pad struct {
	name     string
	rec      pour.PadRecord
	formed   *time.Time
	placing  *time.Time
	placedBy string // the entry that said so, or implied it; empty: planned only
	finished string
	stripped string
	lostBy   string
	// what was not logged, and when it is taken to have been
	assumed map[message.Code]time.Time
	set     *pour.SetTime // nil: not known
	// asked once, when it matters; nil: asked, or kept
	findSet                           func(pad string, placed time.Time) pour.SetTime
	cover                             *span  // nil: open
	covers                            []span // that were taken off
	inspect                           *Effect
	washed                            *pad       // as it was before rain that spoils it; nil: not lost so
	washedBy                          *Effect    // that rain
	asks                              []Question // that stay until the pad was inspected
	result                            string
	rated                             *time.Time
	ratings                           []pour.Ratings
	voidPlaced, voidLost, voidCovered string // undone entries of this casting
}

// span is a time under a cover.
type span struct {
	from, to time.Time // to is zero while it lies
	kind     string
}

// reset takes the pad back to before it was formed; losses, castings and
// ratings stay.
func (p *pad) reset() {
	rec := pour.PadRecord{Pad: p.name, State: pour.Waiting, Losses: p.rec.Losses, Castings: p.rec.Castings}
	*p = pad{name: p.name, rec: rec, assumed: map[message.Code]time.Time{}, ratings: p.ratings, rated: p.rated}
}

func (p *pad) placed() bool { return p.rec.PlacedAt != nil }

// open reports whether it lies open and may want a cover.
func (p *pad) open() bool { return p.placed() && p.rec.StrippedAt == nil && p.cover == nil }

// place begins a casting.
func (w *walk) place(p *pad, at time.Time, by string, kept []pour.SetTime, bags *float64) {
	placing := p.placing
	formed := p.formed
	p.reset()
	p.formed, p.placing = formed, placing
	p.rec.State, p.rec.PlacedAt, p.placedBy = pour.Placed, &at, by
	p.rec.Castings = append(p.rec.Castings[:len(p.rec.Castings):len(p.rec.Castings)], pour.Casting{At: at, Bags: bags})
	for i := range kept {
		if kept[i].Pad == p.name {
			p.set = &kept[i]
		}
	}
	if p.set == nil {
		p.findSet = w.SetTime
	}
}

// lose takes a placed pad back: it is to be broken out and placed again.
func (p *pad) lose(at time.Time, by string) {
	p.rec.Losses++
	p.reset()
	p.rec.State, p.rec.LostAt, p.lostBy = pour.Lost, &at, by
}

func (p *pad) initialSet() (time.Time, bool) {
	return p.setAt(func(s *pour.SetTime) float64 { return s.InitialMin })
}
func (p *pad) finalSet() (time.Time, bool) {
	return p.setAt(func(s *pour.SetTime) float64 { return s.FinalMin })
}

func (p *pad) setAt(min func(*pour.SetTime) float64) (time.Time, bool) {
	if p.set == nil && p.findSet != nil && p.placed() {
		if s := p.findSet(p.name, *p.rec.PlacedAt); s.InitialMin > 0 {
			p.set = &s
		}
		p.findSet = nil
	}
	if p.set == nil || !p.placed() {
		return time.Time{}, false
	}
	return p.rec.PlacedAt.Add(time.Duration(min(p.set) * float64(time.Minute))), true
}

// apply does what an entry says of one pad.
func (w *walk) apply(p *pad, e event) {
	at := e.at
	switch e.entry.Kind {
	case pour.EntryFormed, pour.EntryPlacing:
		if p.placed() {
			w.refuse(p, e, AlreadyPlaced, p.placedBy, *p.rec.PlacedAt)
			return
		}
		if e.entry.Kind == pour.EntryFormed {
			first(&p.formed, at)
			return
		}
		first(&p.placing, at)
	case pour.EntryPlaced:
		switch {
		case p.placed() && p.voidLost != "":
			w.wait(p, e, p.voidLost)
			return
		case p.placed():
			w.refuse(p, e, AlreadyPlaced, p.placedBy, *p.rec.PlacedAt)
			return
		}
		share := w.share(e.entry, p.name)
		w.place(p, at, e.id, e.entry.SetTimes, share.Bags)
		w.out.Counted = append(w.out.Counted, share)
		return
	case pour.EntrySkipped:
		if p.placed() {
			w.refuse(p, e, AlreadyPlaced, p.placedBy, *p.rec.PlacedAt)
			return
		}
	case pour.EntryLost:
		if p.washed != nil { // as the rain let expect
			p.washed, p.lostBy = nil, e.id
			break
		}
		if !p.placed() && p.rec.LostAt != nil {
			w.refuse(p, e, AlreadyLost, p.lostBy, *p.rec.LostAt)
			return
		}
		if !w.need(p, e) {
			return
		}
		p.lose(at, e.id)
	default:
		if !w.need(p, e) || !w.further(p, e) {
			return
		}
	}
	w.out.Counted = append(w.out.Counted, w.share(e.entry, p.name))
}

// further does what an entry says of a placed pad; false: it can't be true.
func (w *walk) further(p *pad, e event) bool {
	at := e.at
	switch e.entry.Kind {
	case pour.EntryFinished:
		switch {
		case p.rec.StrippedAt != nil:
			w.refuse(p, e, AlreadyStripped, p.stripped, *p.rec.StrippedAt)
			return false
		case p.rec.FinishedAt != nil:
			w.refuse(p, e, AlreadyFinished, p.finished, *p.rec.FinishedAt)
			return false
		}
		p.rec.FinishedAt, p.finished, p.rec.State = &at, e.id, pour.Finished
	case pour.EntryStripped:
		if p.rec.StrippedAt != nil {
			w.refuse(p, e, AlreadyStripped, p.stripped, *p.rec.StrippedAt)
			return false
		}
		if !w.hardEnough(p, e) {
			return false
		}
		p.rec.StrippedAt, p.stripped, p.rec.State = &at, e.id, pour.Stripped
	case pour.EntryCovered:
		if p.cover != nil && p.cover.kind != e.entry.Cover && e.entry.Cover != "" {
			p.covers = append(p.covers, span{p.cover.from, at, p.cover.kind})
			p.cover = nil
		}
		if p.cover == nil {
			p.cover = &span{from: at, kind: e.entry.Cover}
		}
	case pour.EntryUncovered:
		switch {
		case p.cover != nil:
			p.covers = append(p.covers, span{p.cover.from, at, p.cover.kind})
			p.cover = nil
		case p.voidCovered != "":
			w.wait(p, e, p.voidCovered)
			return false
		}
	case pour.EntryInspected:
		p.result, p.inspect, p.asks = e.entry.Result, nil, nil
		switch e.entry.Result {
		case pour.ResultLost:
			p.lose(at, e.id)
			p.result = pour.ResultLost
		case pour.ResultBlemished:
			w.out.Effects = append(w.out.Effects, Effect{Entry: e.id, Pad: p.name, Code: InspectedBad,
				Figures: Figures{At: at}})
		}
	case pour.EntryRated:
		p.rated = &at
		if e.entry.Ratings != nil {
			p.ratings = append(p.ratings[:len(p.ratings):len(p.ratings)], *e.entry.Ratings)
		}
	}
	return true
}

// hardEnough checks a stripping against the setting of the pad: before initial
// set nothing can be stripped; before final set it is unlikely and asked about.
// A guess, and a placing that is itself implied, refuses nothing.
func (w *walk) hardEnough(p *pad, e event) bool {
	initial, ok := p.initialSet()
	if _, guessed := p.assumed[WasPlaced]; !ok || guessed {
		return true
	}
	final, _ := p.finalSet()
	switch {
	case e.at.Before(initial) && p.set.Known:
		w.refuse(p, e, BeforeInitialSet, p.placedBy, initial)
		return false
	case e.at.Before(final):
		w.ask(Question{Ask: StrippedEarly, Pads: []string{p.name}, Entries: []string{e.id}, At: final})
	}
	return true
}

// need makes sure that a pad is placed before an entry that presupposes it. A
// placing that was undone is not implied again: the entry waits. One that was
// not heard of is taken to have been when it was planned, else as late as can
// be, so that the pad counts as soft for rather too long.
func (w *walk) need(p *pad, e event) bool {
	switch {
	case p.placed():
		return true
	case p.washed != nil:
		// Who goes on working on a pad that rain should have spoilt has kept it.
		f := *p.washedBy
		f.Lost, f.Inspect = false, true
		*p = *p.washed
		p.inspect = &f
		p.asks = append(p.asks, Question{Ask: WasLost, Pads: []string{p.name}, Entries: []string{f.Entry},
			At: f.Figures.At})
		return true
	case p.voidPlaced != "":
		w.wait(p, e, p.voidPlaced)
		return false
	}
	at := e.at
	for _, s := range w.Steps {
		if s.Pad == p.name && s.Kind == pour.EntryPlaced && !s.At.After(e.at) && w.sameDate(s.At, e.at) &&
			(p.rec.LostAt == nil || s.At.After(*p.rec.LostAt)) {
			at = s.At
		}
	}
	w.place(p, at, e.id, e.entry.SetTimes, nil)
	p.assumed[WasPlaced] = at
	return true
}

// first keeps the first of several tellings.
func first(kept **time.Time, at time.Time) {
	if *kept == nil {
		*kept = &at
	}
}
