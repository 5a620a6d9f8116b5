package history

import (
	"slices"
	"time"

	"dryslot/internal/pour"
)

// Answer is what follows from one more entry.
type Answer struct {
	State     State     // with the entry
	Refused   []Refusal // why it can't be true; nothing else counts then
	Effects   []Effect  // that are new, or other than before
	Assumed   []Assumed // that are new
	Questions []Question
}

// Assumed is a step that was not logged and is taken to have been done.
type Assumed struct {
	Pad  string
	Kind pour.EntryKind
	At   time.Time
}

// Candidate is the id of an entry that has none yet: after those of its instant.
const Candidate = "~"

// Check returns what follows from an entry when it is added to a log that does not
// hold it yet. Refused says why it can't be true, or what it would make untrue
// that is logged already. An entry that is refused now may be taken later, when
// the ones that it lacks have come.
func Check(g Given, e pour.LogEntry) Answer {
	if e.ID == "" {
		e.ID = Candidate
	}
	before := Replay(g)
	g.Log = append(slices.Clone(g.Log), e)
	a := Answer{State: Replay(g)}
	last := len(g.Log) - 1
	if o := a.State.Outcomes[last]; o.Fate == Contradicts {
		a.Refused = append(a.Refused, o.Refused...)
	}
	for i, o := range a.State.Outcomes[:last] {
		if o.Fate == Contradicts && before.Outcomes[i].Fate != Contradicts && e.Kind != pour.EntryUndone {
			for _, r := range o.Refused {
				r.Entry, r.At = g.Log[i].ID, g.Log[i].At // the one that stands
				a.Refused = append(a.Refused, r)
			}
		}
	}
	for _, f := range a.State.Effects {
		if !slices.ContainsFunc(before.Effects, f.same) {
			a.Effects = append(a.Effects, f)
		}
	}
	for _, x := range assumed(a.State) {
		if !slices.Contains(assumed(before), x) {
			a.Assumed = append(a.Assumed, x)
		}
	}
	a.Questions = a.State.Questions
	return a
}

// same reports whether two effects conclude the same of the same.
func (f Effect) same(o Effect) bool {
	return f.Entry == o.Entry && f.Pad == o.Pad && f.Code == o.Code && f.Stored.Why == o.Stored.Why
}

func assumed(s State) []Assumed {
	var out []Assumed
	for _, e := range s.Proposed() {
		out = append(out, Assumed{Pad: e.Pad, Kind: e.Kind, At: e.At})
	}
	return out
}
