package planner

import (
	"fmt"
	"slices"
	"time"

	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

// tellStart is how far a start must move before it is worth telling (judgement).
const tellStart = 15 * time.Minute

// Changes says in a builder's words what changed from an old plan to a new
// one: pads whose date moved, pours that start at another time, pads taken in
// or dropped, and another finish. Pads that are poured meanwhile are no change.
// It is empty when there is nothing to tell, and never nil.
func Changes(old, new pour.Plan, zone *time.Location) []string {
	out := []string{}
	was := dates(&old)
	type move struct{ from, to unit.Date }
	moved := map[move][]string{}
	var moves []move
	note := func(pad string, m move) {
		if moved[m] == nil {
			moves = append(moves, m)
		}
		moved[m] = append(moved[m], pad)
	}
	for _, p := range new.Pours {
		for _, pad := range p.Pads {
			if from, ok := was[pad]; !ok || from != p.Date {
				note(pad, move{from, p.Date})
			}
		}
	}
	for _, u := range new.Unplaced {
		if from, ok := was[u.Pad]; ok {
			note(u.Pad, move{from: from})
		}
	}
	for _, m := range moves {
		pads := moved[m]
		switch {
		case m.from.IsZero():
			out = append(out, fmt.Sprintf("%s %s now planned for %s.", list(pads), be(pads), day(m.to)))
		case m.to.IsZero():
			out = append(out, fmt.Sprintf("%s %s no longer planned for %s: %s.", list(pads), be(pads), day(m.from), whyOf(&new, pads[0])))
		default:
			out = append(out, fmt.Sprintf("%s %s from %s to %s.", list(pads), word(len(pads), "moves", "move"), day(m.from), day(m.to)))
		}
	}
	for _, p := range new.Pours {
		i := slices.IndexFunc(old.Pours, func(q pour.Pour) bool { return q.Date == p.Date })
		if i >= 0 && p.Start.Sub(old.Pours[i].Start).Abs() >= tellStart {
			out = append(out, fmt.Sprintf("On %s start at %s instead of %s.", day(p.Date), p.Start.In(zone).Format("15:04"), old.Pours[i].Start.In(zone).Format("15:04")))
		}
	}
	if old.State != pour.Done && new.State == pour.Done {
		out = append(out, "No pad is left to pour.")
	} else if a, b := old.Finish.Likely, new.Finish.Likely; a != nil && b != nil && *a != *b {
		out = append(out, fmt.Sprintf("The last pad is likely placed on %s instead of %s.", day(*b), day(*a)))
	}
	return out
}

func dates(p *pour.Plan) map[string]unit.Date {
	out := map[string]unit.Date{}
	for _, x := range p.Pours {
		for _, pad := range x.Pads {
			out[pad] = x.Date
		}
	}
	return out
}

func whyOf(p *pour.Plan, pad string) string {
	for _, u := range p.Unplaced {
		if u.Pad == pad {
			return u.Why
		}
	}
	return "no reason kept"
}

func be(pads []string) string { return word(len(pads), "is", "are") }

func word(n int, one, many string) string {
	if n == 1 {
		return one
	}
	return many
}
