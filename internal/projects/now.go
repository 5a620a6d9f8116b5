package projects

import (
	"context"
	"fmt"
	"slices"
	"time"

	"dryslot/internal/concrete"
	"dryslot/internal/daylight"
	"dryslot/internal/forecast"
	"dryslot/internal/forecast/belief"
	"dryslot/internal/planner/policy"
	"dryslot/internal/planner/slabs"
	"dryslot/internal/pour"
	"dryslot/internal/today"
	"dryslot/internal/unit"
)

// Today answers for this minute: what to do, what comes next and by when.
func (s *Service) Today(ctx context.Context, p pour.Project) (today.Now, error) {
	known, err := s.Snapshot(ctx, p)
	if err != nil {
		return today.Now{}, err
	}
	return known.Now(ctx)
}

// Now answers for the minute of a snapshot.
func (s *Snapshot) Now(ctx context.Context) (today.Now, error) {
	return s.service.nowOf(ctx, s.known, true)
}

// nowOf answers from what is known. Where the weather can't be drawn, it says
// what can be said without. What to do with soft pads and with those not begun is
// decided where it is asked for.
func (s *Service) nowOf(ctx context.Context, st *knowledge, decide bool) (today.Now, error) {
	g := today.Given{Spec: st.project.Spec, State: st.state, Now: st.now, Zone: st.zone, Steps: st.steps,
		Nowcast: belief.Short(st.short, st.now)}
	light, err := daylight.Quick(st.today(), st.project.Latitude, st.project.Longitude, st.zone)
	if err != nil {
		return today.Now{}, fmt.Errorf("projects: light: %w", err)
	}
	g.LastLight = light.LastLight
	g.Air, g.ThunderFrom = st.air(), policy.ThunderShare
	g.Slab = func(pad string, placed time.Time) (today.Slab, bool) { return st.slabOf(ctx, pad, placed) }
	if decide && st.forecast != nil {
		d, err := s.workdays.of(ctx, st)
		if err != nil {
			s.log().ErrorContext(ctx, "no day to decide on", "project", st.project.ID, "error", err)
		}
		if d != nil {
			g.Decider = d
		}
	}
	if err := ctx.Err(); err != nil {
		return today.Now{}, fmt.Errorf("projects: now: %w", err)
	}
	now, err := today.Of(ctx, g)
	if err != nil {
		return today.Now{}, fmt.Errorf("projects: now: %w", err)
	}
	return now, nil
}

// slabOf is how a pad placed at an instant behaves, by the weather held: the
// times of the middle track, the chance of freezing over all looked at.
func (st *knowledge) slabOf(ctx context.Context, pad string, placed time.Time) (today.Slab, bool) {
	w, _, err := st.corrected(ctx)
	i := padIndex(st.project.Spec, pad)
	if err != nil || w == nil || i < 0 || ctx.Err() != nil {
		return today.Slab{}, false
	}
	from := st.placedFrom(st.project.Pads[i], placed)
	if st.now.Sub(placed) > weatherHeld || from.Before(w.scenarios.Start) {
		return today.Slab{}, false
	}
	kind := slabs.KindOf(st.project.Spec, st.project.Pads[i])
	if p := &st.state.Pads[i]; p.Covered && p.Cover == pour.Blanket {
		kind.Cover, kind.CoverR = pour.Blanket, slabs.CoverResistance(st.project.Stock, pour.Blanket)
	}
	freezes, looked, middle := 0, 0, st.middle(w, from)
	var b *concrete.Behaviour
	for k := 0; k < w.scenarios.Tracks; k += max(1, w.scenarios.Tracks/forecast.DefaultTracks) {
		x := slabs.Between(w.slabs, slabs.Query{Track: k, Kind: kind, Placed: from})
		if x.Unknown || x.InitialSet == concrete.Never {
			return today.Slab{}, false
		}
		looked++
		if x.Freezes {
			freezes++
		}
		if k == middle {
			b = x
		}
	}
	if b == nil { // of an ensemble's many, some are looked at
		b = slabs.Between(w.slabs, slabs.Query{Track: middle, Kind: kind, Placed: from})
		if b.Unknown || b.InitialSet == concrete.Never {
			return today.Slab{}, false
		}
	}
	after := func(d time.Duration) time.Time {
		if d == concrete.Never {
			return time.Time{}
		}
		return from.Add(d).Truncate(time.Minute)
	}
	return today.Slab{PlacedFrom: from, InitialSet: after(b.InitialSet), FinalSet: after(b.FinalSet),
		FinishFrom: after(b.FinishFrom), FinishUntil: after(b.FinishUntil), StripFrom: after(b.StripFrom),
		CuredBy: after(b.CuredBy), FrostSafe: after(b.FrostSafe), UncoverFrom: after(b.UncoverFrom),
		Freezes: float64(freezes) / float64(looked), Evaporation: b.EvapRate}, true
}

// air is what is forecast of the hours from the one at hand on, besides rain: by
// the short-range product where it gives them, else by the forecast.
func (st *knowledge) air() []today.Air {
	if st.forecast == nil {
		return nil
	}
	var out []today.Air
	for i := range st.forecast.Forecast.Hours {
		h := &st.forecast.Forecast.Hours[i]
		if end := h.Start.Add(time.Hour); !end.After(st.now) || h.Start.After(st.now.Add(today.Ahead)) {
			continue
		}
		a := today.Air{Start: h.Start, GustMS: h.Get(forecast.GustMS), Thunder: h.Get(forecast.ThunderChance)}
		if g, ok := gustWithin(st.short, h.Start, st.now); ok {
			a.GustMS = unit.Some(g)
		}
		out = append(out, a)
	}
	return out
}

// gustWithin is the greatest gust that a product which serves now gives for
// an hour; false where it gives none.
func gustWithin(s *forecast.ShortRange, hour, now time.Time) (most float64, ok bool) {
	if s == nil || s.CheckAhead(now) != nil {
		return 0, false
	}
	for _, x := range s.Steps {
		if x.GustMS.Known && !x.Start.Before(hour) && x.Start.Before(hour.Add(time.Hour)) {
			most, ok = max(most, x.GustMS.V), true
		}
	}
	return most, ok
}

// keepSteps keeps the steps that the crew follows from a plan on: of today and
// tomorrow as planned, and those of yesterday, until the log or a plan of a new
// day says otherwise.
func (st *knowledge) keepSteps(ctx context.Context, tx Tx, k KeptPlan, by cause) error {
	yesterday := st.today().AddDays(-1)
	var before, plan []today.Step
	for _, x := range st.steps {
		if !unit.DateOf(x.PlaceFrom, st.zone).Before(yesterday) {
			before = append(before, x)
		}
	}
	for _, m := range k.Mornings {
		p := k.Plan.On(m.Date)
		if p == nil || m.Date.DaysSince(st.today()) > 1 || m.Date.Before(st.today()) {
			continue
		}
		for _, t := range m.Pads {
			if slices.Contains(p.Pads, t.Pad) {
				step := today.Step{Pad: t.Pad, PlaceFrom: t.PlaceStart.UTC(), PlaceUntil: t.PlaceEnd.UTC(),
					FinishFrom: t.FinishStart.UTC(), FinishUntil: t.FinishEnd.UTC()}
				if t.FinishFrom != nil {
					step.Opens = t.FinishFrom.UTC()
				}
				plan = append(plan, step)
			}
		}
	}
	setUp := minutes(st.project.Crew.SetUpMin)
	return st.goBy(ctx, tx, today.Follow(before, plan, st.now, st.zone, setUp, by == byBuilder))
}

// holdBack has the crew begin nothing that it was just advised to wait with.
func (st *knowledge) holdBack(ctx context.Context, tx Tx, now *today.Now) error {
	if now == nil {
		return nil
	}
	steps := today.HoldBack(st.steps, *now, st.zone, minutes(st.project.Crew.SetUpMin))
	if slices.Equal(steps, st.steps) {
		return nil
	}
	return st.goBy(ctx, tx, steps)
}

// goBy keeps the steps that the crew goes by from now on.
func (st *knowledge) goBy(ctx context.Context, tx Tx, steps []today.Step) error {
	st.steps = steps
	if err := tx.KeepDaySteps(ctx, st.project.ID, steps); err != nil {
		return fmt.Errorf("projects: keep the steps of the day: %w", err)
	}
	return nil
}

func minutes(n float64) time.Duration { return time.Duration(n * float64(time.Minute)) }
