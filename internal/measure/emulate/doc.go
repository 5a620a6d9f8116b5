// Package emulate owns forecasts made from station records: what a forecast of
// a stated skill would have said on a day whose weather is known. No open
// archive pairs hourly forecasts with gauges, so whatever is measured with it
// is measured on emulated forecasts, and says so.
//
// A day is described by its rain in five blocks of hours. The signal for a
// target date is that description, displaced by some hours, plus noise that
// neighbouring stations mostly share and that is greater on showery afternoons;
// both are one random walk per date that shrinks as the date nears and through
// the day. Members are days of the same station and season, or of its neighbours
// where these are few, drawn by how near their description lies to the signal.
// Nowcasts have a stated reliability (see Ordinary).
//
//	regions, err := emulate.Load(folder, zoneOf)
//	sc, ok := station.Issue(&region.Noise, at, emulate.Extent{Days: 10, Members: 31})
package emulate
