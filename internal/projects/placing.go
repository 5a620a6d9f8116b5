package projects

import (
	"slices"
	"time"

	"dryslot/internal/pour"
	"dryslot/internal/takeoff"
	"dryslot/internal/unit"
)

// mostPlacing is the longest that one pad is taken to have been in placing
// (judgement): a tap that lies further back was not about this placing.
const mostPlacing = 6 * time.Hour

// placedFrom is when the placing of a pad began that was placed, struck off and
// floated, at an instant: as planned where it is taken to have gone as planned, else as
// logged, else by how long it takes the whole crew. All
// times of a pad count from then on, in a plan as in the log: its first batch is
// the first to set.
func (st *knowledge) placedFrom(p pour.Pad, placed time.Time) time.Time {
	for _, x := range st.steps {
		if x.Pad == p.Name && x.PlaceUntil.Equal(placed) { // taken to be placed as planned
			return x.PlaceFrom
		}
	}
	took := minutes(takeoff.PlacingMin(st.project.Spec, p) / float64(max(1, st.project.Crew.People)))
	for _, e := range st.counted {
		if e.Pad != p.Name {
			continue
		}
		switch {
		case e.Kind == pour.EntryPlacing && !e.At.After(placed) && placed.Sub(e.At) < mostPlacing:
			took = placed.Sub(e.At)
		case e.Kind == pour.EntryPlaced && e.At.Equal(placed) && e.Minutes != nil && *e.Minutes > 0:
			took = minutes(*e.Minutes)
		}
	}
	return placed.Add(-min(took, mostPlacing))
}

// middle is the track by which a plan states the times of a pad.
func (st *knowledge) middle(w *weather, placed time.Time) int {
	return w.scenarios.MiddleTrack(unit.DateOf(placed, st.zone), st.zone)
}

// planned are the pads' records as a plan reads them: placed when placing began.
func (st *knowledge) planned() []pour.PadRecord {
	out := slices.Clone(st.records)
	for i, r := range out {
		if k := padIndex(st.project.Spec, r.Pad); r.PlacedAt != nil && k >= 0 {
			at := st.placedFrom(st.project.Pads[k], *r.PlacedAt)
			out[i].PlacedAt = &at
		}
	}
	return out
}
