package projects

import (
	"slices"
	"time"

	"dryslot/internal/concrete"
	"dryslot/internal/planner/slabs"
	"dryslot/internal/pour"
	"dryslot/internal/takeoff"
	"dryslot/internal/unit"
)

// mostPlacing is the longest that one pad is taken to have been in placing
// (judgement): a tap that lies further back was not about this placing.
const mostPlacing = 6 * time.Hour

// placedFrom is when the placing of a pad began that was placed, struck off and
// floated, at an instant: as logged, else by how long it takes the whole crew. All
// times of a pad count from then on, in a plan as in the log: its first batch is
// the first to set.
func (st *knowledge) placedFrom(p pour.Pad, placed time.Time) time.Time {
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

// middle is the track that a plan tells the times of a pad by.
func (st *knowledge) middle(w *weather, placed time.Time) int {
	return w.scenarios.MiddleTrack(unit.DateOf(placed, st.zone), st.zone)
}

// behave is how a slab behaves whose placing begins at an instant: between those of
// the whole hours beside it, as a plan has it. Durations count from later.
func (w *weather) behave(q slabs.Query, later time.Time) *concrete.Behaviour {
	from := q.Placed
	q.Placed = from.Truncate(time.Hour)
	share := from.Sub(q.Placed).Hours()
	out := *w.slabs.Behave(q)
	next := &out
	if share > 0 {
		q.Placed = q.Placed.Add(time.Hour)
		next = w.slabs.Behave(q)
	}
	out.Unknown, out.Freezes = out.Unknown || next.Unknown, out.Freezes || next.Freezes
	for _, d := range [...]struct {
		at   *time.Duration
		then time.Duration
	}{{&out.InitialSet, next.InitialSet}, {&out.FinalSet, next.FinalSet}, {&out.FinishFrom, next.FinishFrom},
		{&out.FinishUntil, next.FinishUntil}, {&out.StripFrom, next.StripFrom}, {&out.FrostSafe, next.FrostSafe},
		{&out.WalkFrom, next.WalkFrom}, {&out.CuredBy, next.CuredBy}} {
		if *d.at == concrete.Never || d.then == concrete.Never {
			*d.at = concrete.Never
			continue
		}
		at := *d.at + time.Duration(share*float64(d.then-*d.at))
		*d.at = max(0, at-later.Sub(from))
	}
	return &out
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
