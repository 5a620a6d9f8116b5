// Package backtest owns the measuring of policies: a reference job run to its
// end from many start dates under real hourly weather, with emulated forecasts
// and nowcasts (package emulate), by rules of thumb, by the planner and by
// perfect foresight. In one table all of them have the same crew, slabs, harm,
// nowcast and covers. Who decides from hour to hour is a player: before setting
// up, before each pad and at each whole hour of waiting it is asked to place,
// to wait or to stop, and whether to lay sheets over the soft pads.
//
// Everything in it is measured on emulated forecasts, and says so.
//
//	lessons := backtest.Learn(region)
//	outcomes, err := backtest.RunRegion(ctx, region, lessons, backtest.Tables(), 80, 2)
package backtest
