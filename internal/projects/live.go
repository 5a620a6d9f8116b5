package projects

import (
	"context"
	"fmt"
	"slices"
	"time"

	"dryslot/internal/history"
	"dryslot/internal/pour"
	"dryslot/internal/today"
	"dryslot/internal/unit"
)

// liveFor is how long a project counts as live after a look that found it so:
// longer than the time to the next look, so that only an outage ends it.
const liveFor = 40 * time.Minute

// look is the day as it is at one look.
type look struct {
	now       *today.Now // nil: nothing is planned soon and no pad asks for anything
	liveUntil time.Time  // zero: no crew is at work, and nothing is soft
	next      time.Time  // when to look again, forecasts and entries aside; zero: never
}

// look answers for this minute, as far as the day asks for something, and says
// when to look again: soon while a crew is at work or concrete is soft, else when
// the next thing is to be done.
func (s *Service) look(ctx context.Context, st *knowledge) (look, error) {
	var out look
	begins := st.begins()
	near := !begins.IsZero() && !begins.After(st.now)
	live := near || st.soft() || st.state.Day.StartedAt != nil
	if !near {
		out.next = sooner(out.next, begins)
	}
	if !live && !st.aging() {
		return out, nil
	}
	now, err := s.nowOf(ctx, st, live)
	switch {
	case ctx.Err() != nil:
		return look{}, fmt.Errorf("projects: look at the day: %w", ctx.Err())
	case err != nil: // the plan and its alerts are kept all the same
		s.log().ErrorContext(ctx, "no look at the day", "project", st.project.ID, "error", err)
		out.next = sooner(out.next, st.now.Add(lookAgain))
		return out, nil
	}
	out.now = &now
	if now.Day == today.UnderWay || now.Day == today.Planned && near || st.soft() {
		out.liveUntil = st.now.Add(liveFor)
		if at := now.Advice.RecheckAt; at.After(st.now) {
			out.next = sooner(out.next, at)
		}
	}
	for _, x := range now.Next {
		// an hour before: what has to be done before dark
		for _, at := range [...]time.Time{x.From, x.Until.Add(-time.Hour)} {
			if at.After(st.now) {
				out.next = sooner(out.next, at)
			}
		}
	}
	if first := st.today().AddDays(1).At(st.project.Crew.EarliestStart, st.zone); st.aging() {
		out.next = sooner(out.next, first)
	}
	return out, nil
}

// begins is from when on the next planned day is looked at closely: when the
// morning's alert is due, or an hour before it sets up. Zero: no day is
// planned, or all of it is done.
func (st *knowledge) begins() time.Time {
	lead := time.Duration(max(st.project.Alerts.LeadMin, 60)) * time.Minute
	first := time.Time{}
	for _, x := range st.steps {
		if unit.DateOf(x.PlaceFrom, st.zone).Before(st.today()) || st.state.Day.Skipped &&
			unit.DateOf(x.PlaceFrom, st.zone) == st.today() {
			continue
		}
		if i := padIndex(st.project.Spec, x.Pad); i < 0 || st.state.Pads[i].PlacedAt != nil {
			continue
		}
		first = sooner(first, x.PlaceFrom.Add(-minutes(st.project.Crew.SetUpMin)-lead))
	}
	return first
}

// soft reports whether concrete has not set, or is being placed.
func (st *knowledge) soft() bool {
	return slices.ContainsFunc(st.state.Pads, func(p history.Pad) bool {
		return p.Phase == history.Soft ||
			p.Phase == history.Placing
	})
}

// aging reports whether a pad is placed and not cured: it may have to be covered,
// kept damp or stripped.
func (st *knowledge) aging() bool {
	return slices.ContainsFunc(st.state.Pads, func(p history.Pad) bool {
		return p.PlacedAt != nil && p.Phase != history.Cured && p.State != pour.Lost
	})
}

// sooner returns the earlier of two times, of which the zero time is never.
func sooner(a, b time.Time) time.Time {
	if a.IsZero() || !b.IsZero() && b.Before(a) {
		return b
	}
	return a
}
