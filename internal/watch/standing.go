package watch

import (
	"context"
	"time"

	"dryslot/internal/concrete"
	"dryslot/internal/planner/job"
	"dryslot/internal/pour"
)

// Standing tells of every pad that is placed and not yet cured when it can be
// finished, sets, may be stripped and walked on, from its logged placing and
// the weather held: FinishStart and FinishEnd are its finishing window. A pad
// whose weather is not held any more, or can't be drawn, is left out.
func (s *Service) Standing(ctx context.Context, tx Tx, p pour.Project) ([]job.PadTimes, error) {
	st, err := s.stand(ctx, tx, p)
	if err != nil {
		return nil, err
	}
	w, _, err := st.corrected(ctx)
	if err != nil {
		s.log().Error("no weather to time pads by", "project", p.ID, "error", err)
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
		t := job.PadTimes{Pad: r.Pad, PlaceStart: r.PlacedAt.In(st.zone), PlaceEnd: r.PlacedAt.In(st.zone), InitialSet: after(b.InitialSet),
			FinalSet: after(b.FinalSet), StripFrom: after(b.StripFrom), WalkFrom: after(b.WalkFrom), CuredBy: after(b.CuredBy)}
		if from, until := after(b.FinishFrom), after(b.FinishUntil); from != nil && until != nil {
			t.FinishStart, t.FinishEnd = *from, *until
		}
		out = append(out, t)
	}
	return out, ctx.Err()
}
