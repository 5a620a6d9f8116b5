// Package backtest owns the measuring of policies: a reference job run to its
// end from many start dates under real hourly weather, with emulated forecasts
// (package emulate), by rules of thumb, by the planner and by perfect
// foresight. All of them have the same crew, the same slabs and the same harm;
// nobody uses covers.
//
// Everything in it is measured on emulated forecasts, and says so.
//
//	site, err := backtest.NewSite(station, emulate.NewService(region, 2))
//	tally, err := site.Run(policy, starts)
package backtest
