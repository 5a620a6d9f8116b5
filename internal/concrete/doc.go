// Package concrete owns what fresh and young concrete does: evaporation, mix
// temperature, setting, bleeding, heat in a slab, maturity, strength, and the
// cold- and hot-weather rules. All functions are pure; every coefficient
// carries its source.
//
//	var s concrete.Solver
//	b := s.Behave(&casting)
//	b.InitialSet
package concrete
