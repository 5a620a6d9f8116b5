package advise

import (
	"slices"
	"time"

	"dryslot/internal/message"
	"dryslot/internal/planner/job"
	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

// tellStart is how far a start must move before it is worth telling (judgement).
const tellStart = 15 * time.Minute

// Changes says what changed from an old plan to a new
// one: pads whose date moved, pours that start at another time, pads taken in
// or dropped, and another finish. Pads that are poured meanwhile are no change.
// It is empty when nothing has changed, and never nil.
func Changes(old, new pour.Plan) []message.Message {
	out := []message.Message{}
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
		pads := message.Names("pads", moved[m])
		switch {
		case m.from.IsZero():
			out = append(out, message.New(job.ChangePlanned, pads, message.Date("", m.to)))
		case m.to.IsZero():
			out = append(out, message.New(job.ChangeDropped, pads, message.Date("", m.from),
				message.Within("why", whyOf(&new, moved[m][0]))))
		default:
			out = append(out, message.New(job.ChangeMoved, pads, message.Date("from", m.from), message.Date("to",
				m.to)))
		}
	}
	for _, p := range new.Pours {
		i := slices.IndexFunc(old.Pours, func(q pour.Pour) bool { return q.Date == p.Date })
		if i >= 0 && p.Start.Sub(old.Pours[i].Start).Abs() >= tellStart {
			out = append(out, message.New(job.ChangeStart, message.Date("", p.Date), message.At("start", p.Start),
				message.At("was", old.Pours[i].Start)))
		}
	}
	if old.State != pour.Done && new.State == pour.Done {
		out = append(out, message.New(job.ChangeDone))
	} else if a, b := old.Finish.Likely, new.Finish.Likely; a != nil && b != nil && *a != *b {
		out = append(out, message.New(job.ChangeLast, message.Date("to", *b), message.Date("from", *a)))
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

func whyOf(p *pour.Plan, pad string) message.Message {
	for _, u := range p.Unplaced {
		if u.Pad == pad {
			return message.OrStored(u.WhyData, u.Why)
		}
	}
	return message.New(job.ChangeNotKept)
}
