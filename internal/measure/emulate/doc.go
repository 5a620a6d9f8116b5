// Package emulate owns forecasts made from station records: what a forecast of
// a stated skill would have said on a day whose weather is known. No open
// archive pairs hourly forecasts with gauges, so whatever is measured with it
// is measured on emulated forecasts, and says so.
//
// A day is described by its rain in five blocks of hours. The signal for a
// target date is that description plus noise, one random walk per date that
// shrinks as the date nears. Members are days of the same station and season,
// drawn by how near their description lies to the signal.
//
//	regions, err := emulate.Load(folder, zoneOf)
//	sc, ok := station.Issue(&region.Noise, at, emulate.Extent{Days: 10, Members: 31})
package emulate
