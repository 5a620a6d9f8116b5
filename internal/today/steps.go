package today

import (
	"slices"
	"time"

	"dryslot/internal/history"
	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

// drift is how much later a plan may have a pad placed for no other reason than
// that time has passed without an entry: the pad in hand counts as not begun, and
// starts lie half an hour apart (judgement).
const drift = 90 * time.Minute

// Begun reports whether a crew that goes by its steps sets up by now, or has, on
// the date of now.
func Begun(steps []Step, now time.Time, zone *time.Location, setUp time.Duration) bool {
	return slices.ContainsFunc(steps, func(s Step) bool {
		return sameDate(s.PlaceFrom, now, zone) && !s.PlaceFrom.Add(-setUp).After(now)
	})
}

// Follow returns the steps to go by when a new plan is made: those of before
// whose placing has begun by now, and what the new plan says of the rest. Once
// the crew has begun a day, setUp before its first placing, a plan that nobody's
// entry has caused, and that has a pad placed later by less than drift, follows
// the clock only: the crew goes by the steps that it has seen, and the step of before
// stays. An entry shows how far the work has come, and moves everything that is
// not done.
func Follow(before, plan []Step, now time.Time, zone *time.Location, setUp time.Duration, byEntry bool) []Step {
	var out []Step
	begun := map[unit.Date]bool{}
	for _, s := range before {
		if !s.PlaceFrom.Add(-setUp).After(now) {
			begun[unit.DateOf(s.PlaceFrom, zone)] = true
		}
		if !s.PlaceFrom.After(now) && (!byEntry || !s.PlaceUntil.After(now)) {
			out = append(out, s)
		}
	}
	for _, s := range plan {
		if slices.ContainsFunc(out, func(b Step) bool { return b.Pad == s.Pad && b.PlaceUntil.After(now) }) {
			continue // it is in hand, whatever day the plan has it on
		}
		date := unit.DateOf(s.PlaceFrom, zone)
		i := slices.IndexFunc(before, func(b Step) bool {
			return b.Pad == s.Pad && unit.DateOf(b.PlaceFrom, zone) == date
		})
		if i >= 0 && !byEntry && begun[date] {
			was := before[i]
			if slices.Contains(out, was) {
				continue
			}
			if later := s.PlaceFrom.Sub(was.PlaceFrom); later >= 0 && later < drift {
				s = was
			}
		}
		out = append(out, s)
	}
	slices.SortStableFunc(out, func(a, b Step) int { return a.PlaceFrom.Compare(b.PlaceFrom) })
	return out
}

// HoldBack returns steps as a crew that does what was advised goes by them: advised to
// wait, to begin later or to stop, it begins none of the date's other pads before it
// gets new advice, and all that follows comes as much later. What would come on
// another date is left to the next plan. In rain that is seen the log says so, and
// the steps stay.
func HoldBack(steps []Step, n Now, zone *time.Location, setUp time.Duration) []Step {
	until := n.Advice.Until
	switch {
	case n.Rain.Seen:
		return steps
	case n.Advice.Do == StartLater:
		until = until.Add(setUp)
	case n.Advice.Do == Stop:
		until = n.Advice.RecheckAt
	case n.Advice.Do != Wait:
		return steps
	}
	until = until.Add(recheckSoon) // new advice takes the crew a while
	var out []Step
	late, first := time.Duration(0), true
	for _, s := range steps {
		if !s.PlaceFrom.After(n.At) || !sameDate(s.PlaceFrom, n.At, zone) || !n.open(s.Pad) {
			out = append(out, s)
			continue
		}
		if first {
			late, first = max(0, until.Sub(s.PlaceFrom)), false
		}
		if s = s.later(late); sameDate(s.PlaceFrom, n.At, zone) {
			out = append(out, s)
		}
	}
	return out
}

// open reports whether the placing of a pad has not begun.
func (n Now) open(pad string) bool {
	return slices.ContainsFunc(n.Pads, func(p history.Pad) bool {
		return p.Pad == pad && p.PlacedAt == nil && p.Phase != history.Placing
	})
}

// later returns a step so much later.
func (s Step) later(by time.Duration) Step {
	for _, at := range [...]*time.Time{&s.PlaceFrom, &s.PlaceUntil, &s.FinishFrom, &s.FinishUntil, &s.Opens} {
		if !at.IsZero() {
			*at = at.Add(by)
		}
	}
	return s
}

// Assumed returns steps as the log's replay takes them: placed when placing
// was to end, finished when finishing was.
func Assumed(steps []Step) []history.Step {
	var out []history.Step
	for _, s := range steps {
		out = append(out, history.Step{Pad: s.Pad, Kind: pour.EntryPlaced, At: s.PlaceUntil})
		if !s.FinishUntil.IsZero() {
			out = append(out, history.Step{Pad: s.Pad, Kind: pour.EntryFinished, At: s.FinishUntil})
		}
	}
	return out
}
