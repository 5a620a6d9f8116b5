package today

import (
	"slices"
	"time"

	"dryslot/internal/history"
	"dryslot/internal/pour"
)

// drift is how much later a plan may have a pad placed for no other reason than
// that time has passed without an entry: starts lie half an hour apart, and
// another plan of the day may have moved it before (judgement).
const drift = time.Hour

// Follow returns the steps of a day when a new plan of it is made: those of
// before whose placing has begun by now, and what the new plan says of the rest.
// A plan that nobody's entry has caused, and that has a pad placed later by less
// than an hour, follows the clock only: the builder goes by what they were told,
// and the step of before stays. An entry shows how far the work has come, and
// moves everything that has not been begun.
func Follow(before, plan []Step, now time.Time, byEntry bool) []Step {
	var out []Step
	for _, s := range before {
		if !s.PlaceFrom.After(now) && (!byEntry || !s.PlaceUntil.After(now)) {
			out = append(out, s)
		}
	}
	begun := len(out) > 0
	for _, s := range plan {
		i := slices.IndexFunc(before, func(b Step) bool { return b.Pad == s.Pad })
		if i >= 0 && !byEntry && begun {
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
