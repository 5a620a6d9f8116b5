// Package plannertest gives tests of the service a planner by a rule of thumb,
// some thousand times quicker than the real one: all pads that are left are
// poured on the first dry morning, from the first half hour on after which it
// stays dry long enough. It knows nothing of heat, frost, forms or stock.
//
//	svc.Plan = plannertest.Plan
package plannertest

import (
	"context"
	"time"

	"dryslot/internal/planner"
	"dryslot/internal/planner/job"
	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

// What the rule of thumb counts on.
const (
	softFor = 5 * time.Hour // placed pads until they have set
	padTime = 40 * time.Minute
	spoils  = 2.5 // mm in an hour
	score   = 90
)

// Plan plans by the rule of thumb. An error is the context's.
func Plan(ctx context.Context, in job.Job) (*job.Result, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	if in.Weather == nil {
		return planner.Make(ctx, in) // what awaits a forecast takes no time
	}
	left := padsLeft(in)
	res := &job.Result{Plan: pour.Plan{MadeAt: in.Now, BecauseData: in.Because, State: pour.Open, Pours: []pour.Pour{},
		Unplaced: []pour.Unplaced{}, Solver: pour.Solver{Method: "a rule of thumb"}}}
	if len(left) == 0 {
		res.Plan.State = pour.Done
	}
	for _, day := range in.Days[:len(in.Days)-1] {
		m := morning(in, day.Date)
		pads := min(len(left), 8)
		start, dry := startOn(in, day.Date, pads)
		if dry {
			end := start.Add(time.Duration(pads)*padTime + softFor)
			m.Verdict, m.Reason, m.PadsPossible = job.VerdictPour, "it stays dry", pads
			m.Window = &job.Window{Start: start, LatestStart: latest(in, day.Date),
				LastPlaced: start.Add(time.Duration(pads) * padTime), End: end}
			if pads > 0 {
				res.Plan.Pours = append(res.Plan.Pours, pour.Pour{Date: day.Date, Start: start, End: end,
					Pads: left[:pads:pads], ChanceUnharmed: 1,
					Covers: []string{}, Why: m.Reason})
				left = left[pads:]
			}
		}
		res.Mornings = append(res.Mornings, m)
	}
	for _, pad := range left {
		res.Plan.Unplaced = append(res.Plan.Unplaced, pour.Unplaced{Pad: pad, Why: "no dry morning is in sight"})
	}
	return res, nil
}

// padsLeft are the pads without concrete, in the project's order.
func padsLeft(in job.Job) []string {
	var left []string
	for _, r := range in.Records {
		if r.PlacedAt == nil {
			left = append(left, r.Pad)
		}
	}
	return left
}

func morning(in job.Job, date unit.Date) job.Morning {
	figure, none := score, 0.0
	t := in.Trust
	return job.Morning{Date: date, Verdict: job.VerdictHold, Reason: "rain", Score: &figure, Pads: []job.PadTimes{},
		Cautions: []job.Caution{}, Remedies: []job.Remedy{},
		Parts: job.Parts{Rain: job.RainPart{ChanceUnharmed: &none}},
		Forecast: &job.ForecastNote{Feed: t.Feed, IssuedAt: t.IssuedAt, FetchedAt: t.FetchedAt,
			AgeMin:  int(t.Age / time.Minute),
			Members: t.Members, Attribution: t.Attribution}}
}

// latest is when a pour can be begun at the latest so that it sets while the
// crew is there.
func latest(in job.Job, date unit.Date) time.Time {
	return date.At(in.Spec.Crew.LatestFinish, in.Zone).Add(-softFor)
}

// startOn returns the first half hour from which on it stays dry until the pads
// have set; false: there is none.
func startOn(in job.Job, date unit.Date, pads int) (time.Time, bool) {
	for _, s := range in.Skipped {
		if s.Date == date && s.Pad == "" {
			return time.Time{}, false
		}
	}
	start, end := date.At(in.Spec.Crew.EarliestStart, in.Zone), latest(in, date)
	for ; !start.After(end); start = start.Add(30 * time.Minute) {
		if start.Before(in.Now) {
			continue
		}
		until := start.Add(time.Duration(pads)*padTime + softFor)
		if in.Weather.WindowReaching(start, until, spoils) < 0.5 {
			return start, true
		}
	}
	return time.Time{}, false
}
