// Package policy decides which pads to pour on which morning, by the expected
// loss over the mornings of the forecast, and from hour to hour within a day
// (Workday). A job is prepared once (Prepare): pads, mornings and scenario
// members become numbers and indexes. A Model then weighs the ways to pour on
// each morning. Work is counted and the context is watched (budget); there is
// no clock and no I/O.
package policy
