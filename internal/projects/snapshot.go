package projects

import (
	"context"
	"time"

	"dryslot/internal/concrete"
	"dryslot/internal/learn"
	"dryslot/internal/planner/job"
	"dryslot/internal/pour"
)

// PadTimes gives, for every pad that is placed and not yet cured, when it can be
// finished, sets, may be stripped and walked on, from its logged placing and
// the weather held: FinishStart and FinishEnd are its finishing window. A pad
// whose weather is not held any more, or can't be drawn, is left out.
func (s *Snapshot) PadTimes(ctx context.Context) ([]job.PadTimes, error) {
	st := s.known
	w, _, err := st.corrected(ctx)
	if err != nil {
		s.service.log().ErrorContext(ctx, "no weather to time pads by", "project", st.project.ID, "error", err)
	}
	if err != nil || w == nil {
		return nil, nil
	}
	var out []job.PadTimes
	for _, r := range st.records {
		if r.PlacedAt == nil || r.State == pour.Cured || r.State == pour.Lost {
			continue
		}
		b, ok := st.behaveUnder(ctx, w, r.Pad, *r.PlacedAt)
		if !ok {
			continue
		}
		after := func(d time.Duration) *time.Time {
			if d == concrete.Never {
				return nil
			}
			t := r.PlacedAt.Add(d).In(st.zone)
			return &t
		}
		from := st.placedFrom(st.project.Pads[padIndex(st.project.Spec, r.Pad)], *r.PlacedAt)
		t := job.PadTimes{Pad: r.Pad, PlaceStart: from.In(st.zone), PlaceEnd: r.PlacedAt.In(st.zone),
			InitialSet: after(b.InitialSet), FinalSet: after(b.FinalSet), StripFrom: after(b.StripFrom),
			WalkFrom: after(b.WalkFrom), CuredBy: after(b.CuredBy)}
		if from, until := after(b.FinishFrom), after(b.FinishUntil); from != nil && until != nil {
			t.FinishStart, t.FinishEnd = *from, *until
		}
		out = append(out, t)
	}
	job.StripTogether(&st.project.Spec, out, st.zone)
	return out, ctx.Err()
}

// Learned is what the project's log says against the values given in advance.
func (s *Snapshot) Learned(ctx context.Context) learn.Corrections {
	return learn.FromLog(s.known.project.Spec, s.known.counted, s.known.predicted(ctx))
}
