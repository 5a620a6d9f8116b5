package history

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

// ranks order what happened at one instant as a day goes.
var ranks = map[pour.EntryKind]int{
	pour.EntryUndone: 0, pour.EntryStarted: 1, pour.EntryRainBegan: 2, pour.EntryFormed: 3, pour.EntryPlacing: 4,
	pour.EntryPlaced: 5, pour.EntryCovered: 6, pour.EntryFinished: 7, pour.EntryRainedOn: 8, pour.EntryRainEnded: 9,
	pour.EntryUncovered: 10, pour.EntryInspected: 11, pour.EntryStripped: 12, pour.EntryLost: 13, pour.EntrySkipped: 14,
	pour.EntryRated: 15, pour.EntryNote: 16,
}

// event is one thing that happens in the replay: an entry, a planned step, or
// a spell of rain that ends.
type event struct {
	at    time.Time
	rank  int
	id    string
	entry *pour.LogEntry // nil: of a step
	index int            // in Given.Log
	step  *Step
	rain  *rain
}

func (a event) compare(b event) int {
	return cmp.Or(a.at.Compare(b.at), cmp.Compare(a.rank, b.rank), strings.Compare(a.id, b.id))
}

// walk is a replay under way.
type walk struct {
	Given
	pads  []*pad
	index map[string]*pad
	voids map[string]string // id of an entry to that of the entry that voids it
	out   State
	own   bool // the project owns a cover
}

// Replay reduces the log to the state at Given.Now. It takes any log at all:
// what can't be true beside the rest changes nothing, and its outcome says so.
func Replay(g Given) State {
	w := &walk{Given: g, index: make(map[string]*pad, len(g.Spec.Pads)), voids: map[string]string{},
		own: len(g.Spec.Stock.Covers) > 0}
	if w.Zone == nil {
		w.Zone = time.UTC
	}
	for _, p := range g.Spec.Pads {
		x := &pad{name: p.Name}
		x.reset()
		w.pads = append(w.pads, x)
		w.index[p.Name] = x
	}
	w.out.Outcomes = make([]Outcome, len(g.Log))
	w.out.Day.Date = unit.DateOf(g.Now, w.Zone)
	for _, e := range w.events() {
		w.happen(e)
	}
	w.close()
	return w.out
}

// events puts everything that happened by now in order.
func (w *walk) events() []event {
	undos := map[string]bool{}
	for i := range w.Log {
		undos[w.Log[i].ID] = w.Log[i].Kind == pour.EntryUndone
	}
	var all []event
	for i := range w.Log {
		e := &w.Log[i]
		if e.At.After(w.Now) {
			w.out.Outcomes[i].Fate = Later
			continue
		}
		w.out.Outcomes[i].Fate = Counts
		if e.Kind == pour.EntryUndone {
			if undos[e.Entry] {
				w.out.Outcomes[i] = Outcome{Contradicts,
					[]Refusal{{Code: UndoOfUndo, Kind: e.Kind, Entry: e.Entry, At: e.At}}}
				continue
			}
			if by, ok := w.voids[e.Entry]; !ok || e.ID < by { // the same one, whichever came first
				w.voids[e.Entry] = e.ID
			}
		}
		all = append(all, event{at: e.At, rank: ranks[e.Kind], id: e.ID, entry: e, index: i})
	}
	slices.SortStableFunc(all, event.compare)
	entries := all
	all = append(entries[:len(entries):len(entries)], w.spells(entries)...)
	for i := range w.Steps {
		if s := &w.Steps[i]; !s.At.After(w.Now) && !w.contradicted(*s, entries) {
			// after entries of the instant
			all = append(all, event{at: s.At, rank: ranks[s.Kind], id: "~" + s.Pad, step: s})
		}
	}
	slices.SortStableFunc(all, event.compare)
	return all
}

func (w *walk) void(e event) bool {
	if e.entry == nil || e.entry.ID == "" {
		return false
	}
	_, ok := w.voids[e.entry.ID]
	return ok
}

// happen applies one event.
func (w *walk) happen(e event) {
	switch {
	case e.step != nil:
		w.assume(*e.step)
		return
	case w.void(e):
		if e.rain == nil {
			w.out.Outcomes[e.index].Fate = Undone
			w.remember(e)
		}
		return
	case e.rain != nil:
		w.rained(*e.rain)
		return
	}
	w.count(e)
	named := e.entry.Names()
	switch e.entry.Kind {
	case pour.EntryCovered:
		named = w.these(named, func(p *pad) bool { return p.open() })
	case pour.EntryUncovered:
		named = w.these(named, func(p *pad) bool { return p.cover != nil })
	case pour.EntryRainedOn, pour.EntryNote:
		return
	case pour.EntrySkipped:
		w.skip(e)
	}
	for _, name := range named {
		p := w.index[name]
		if p == nil {
			continue
		}
		w.apply(p, e)
	}
}

// these are the pads named, else all that something is true of.
func (w *walk) these(named []string, is func(*pad) bool) []string {
	if len(named) > 0 {
		return named
	}
	var out []string
	for _, p := range w.pads {
		if is(p) {
			out = append(out, p.name)
		}
	}
	return out
}

// count notes what an entry says of the day, and keeps its shares.
func (w *walk) count(e event) {
	if w.today(e.at) {
		switch e.entry.Kind {
		case pour.EntryStarted, pour.EntryPlacing, pour.EntryPlaced:
			if w.out.Day.StartedAt == nil {
				at := e.at
				w.out.Day.StartedAt = &at
			}
		}
	}
}

func (w *walk) today(t time.Time) bool { return unit.DateOf(t, w.Zone) == w.out.Day.Date }

func (w *walk) skip(e event) {
	if len(e.entry.Names()) == 0 {
		w.out.Day.Skipped = w.out.Day.Skipped || w.today(e.at)
		w.out.Counted = append(w.out.Counted, *e.entry)
	}
}

// remember notes an undone entry beside the pads that it spoke of, so that what
// was built on it can wait for it.
func (w *walk) remember(e event) {
	for _, name := range w.these(e.entry.Names(), func(*pad) bool { return true }) {
		p := w.index[name]
		if p == nil {
			continue
		}
		switch e.entry.Kind {
		case pour.EntryPlaced:
			p.voidPlaced = e.id
		case pour.EntryCovered:
			p.voidCovered = e.id
		case pour.EntryLost, pour.EntryRainedOn, pour.EntryRainEnded:
			p.voidLost = e.id
		case pour.EntryInspected:
			if e.entry.Result == pour.ResultLost {
				p.voidLost = e.id
			}
		}
	}
}

// refuse marks an entry that can't be true beside what came before it.
func (w *walk) refuse(p *pad, e event, code Code, by string, at time.Time) {
	o := &w.out.Outcomes[e.index]
	o.Fate = Contradicts
	o.Refused = append(o.Refused, Refusal{Code: code, Pad: p.name, Kind: e.entry.Kind, Entry: by, At: at})
}

// wait marks an entry that was built on an undone one.
func (w *walk) wait(p *pad, e event, undone string) {
	if w.out.Outcomes[e.index].Fate == Counts {
		w.out.Outcomes[e.index].Fate = Waits
	}
	w.ask(Question{Ask: BuiltOnUndone, Pads: []string{p.name}, Entries: []string{e.id}, Undone: undone})
}

// ask adds a question; one about the same entries takes its pads in.
func (w *walk) ask(q Question) {
	for i := range w.out.Questions {
		o := &w.out.Questions[i]
		if o.Ask == q.Ask && o.Undone == q.Undone && o.At.Equal(q.At) && slices.Equal(o.Entries, q.Entries) {
			for _, p := range q.Pads {
				if !slices.Contains(o.Pads, p) {
					o.Pads = append(o.Pads, p)
				}
			}
			return
		}
	}
	w.out.Questions = append(w.out.Questions, q)
}

// close settles what is true now.
func (w *walk) close() {
	for _, p := range w.pads {
		w.out.Pads = append(w.out.Pads, p.state(w))
	}
}
