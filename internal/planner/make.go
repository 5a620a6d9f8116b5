// Package planner makes plans: a job in, a plan and its scored mornings out. It
// puts policy, which decides, and advise, which explains, together. It has no
// clock and does no I/O; daylight, slab behaviour and scenarios are handed in.
//
//	res, err := planner.Make(ctx, job)
package planner

import (
	"context"

	"dryslot/internal/planner/advise"
	"dryslot/internal/planner/job"
	"dryslot/internal/planner/policy"
)

// Make plans a job. The same job gives the same result, byte for byte; the
// solver's time is left 0 for the caller to fill. Errors are fault.Invalid: a
// job without zone, days, pads or slabs; or the context's, wrapped, when it is
// done before the plan is: half a plan is never returned.
func Make(ctx context.Context, in job.Job) (res *job.Result, err error) {
	defer policy.Caught(&err)
	if err := policy.CheckJob(&in); err != nil {
		return nil, err
	}
	if in.Weather == nil {
		return advise.Awaiting(&in), nil
	}
	f, err := policy.Prepare(ctx, &in)
	if err != nil {
		return nil, err
	}
	return advise.Make(f), nil
}
