package concrete

import "math"

// Concrete as a conductor (NISTIR 6551, Bentz 2000, table 1).
const (
	concreteConduct = 1.5         // W/(m K)
	concreteHeat    = 2350 * 1000 // J/(m3 K)
)

// ground is what lies under a slab.
type ground struct{ conduct, heat float64 }

// groundOf returns a subgrade's conductivity and heat capacity: moist ground
// as it is found under a levelled bed (orders of magnitude as in VDI 4640,
// from memory; NISTIR 6551 has 0.3 and 1.28e6 for dry soil). An insulated bed
// is soil below 50 mm of foam board.
func groundOf(subgrade string) ground {
	switch subgrade {
	case "sand":
		return ground{1.4, 2.0e6}
	case "gravel":
		return ground{0.8, 1.6e6}
	case "clay":
		return ground{1.5, 2.6e6}
	}
	return ground{1.0, 2.0e6} // soil, and soil below insulation
}

// The column (chosen so that the slab is within 0.05 K of a grid four times
// as fine; see the refinement test).
const (
	slabCellM   = 0.0125 // cells in the slab are at most this thick
	slabCells   = 8
	groundDepth = 1.2 // m; the daily wave is down to a 5000th there
	groundCells = 8
	groundGrows = 1.75
	foamM       = 0.05
	foamConduct = 0.035 // W/(m K), expanded or extruded polystyrene, common practice
	foamHeat    = 4.5e4 // J/(m3 K): 30 kg/m3 of 1500 J/(kg K), common practice
)

// lay builds the column of a slab on its bed; finer divides every cell.
func (c *column) lay(thickness float64, subgrade string, finer int) {
	cells := max(slabCells, int(math.Ceil(thickness/slabCellM-1e-9)))
	f := float64(finer)
	cells = min(cells*finer, maxNodes-1-(groundCells+2)*finer)
	slab := layer{thickness, concreteConduct, concreteHeat, cells, 1}
	g := groundOf(subgrade)
	bed := layer{groundDepth, g.conduct, g.heat, groundCells * finer, math.Pow(groundGrows, 1/f)}
	if subgrade == "insulated" {
		c.build(slab, layer{foamM, foamConduct, foamHeat, 2 * finer, 1}, bed)
		return
	}
	c.build(slab, bed)
}
