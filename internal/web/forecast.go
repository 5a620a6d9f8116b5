package web

import (
	"context"

	"dryslot/internal/fault"
	"dryslot/internal/forecast"
	"dryslot/internal/place"
)

// HeldAgainst says what chances of rain were compared with, wherever the scores are shown.
const HeldAgainst = "the feed's own later account of past hours, which is an analysis and not a gauge, " +
	"and rain that builders logged"

// Planned returns the forecast that the current plan was made from, or the
// cell's newest when that is kept no more, and how many equally likely
// weathers the plan drew from it. Before the first plan there is none: a
// forecast appears together with its plan.
func Planned(ctx context.Context, tx Tx, project string, cell place.Cell) (kept forecast.Kept, members int, err error) {
	plan, err := tx.CurrentPlan(ctx, project)
	if err != nil {
		return kept, 0, err
	}
	if kept, err = tx.ForecastByID(ctx, plan.ForecastID); fault.KindOf(err) == fault.NotFound {
		kept, err = tx.Forecast(ctx, cell)
	}
	members = max(1, len(kept.Forecast.Members))
	if len(plan.Mornings) > 0 && plan.Mornings[0].Forecast != nil {
		members = plan.Mornings[0].Forecast.Members
	}
	return kept, members, err
}
