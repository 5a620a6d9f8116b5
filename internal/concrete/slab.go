package concrete

import "math"

// The heat of a slab and the ground under it is one-dimensional conduction,
//
//	C dT/dt = d/dz(k dT/dz) + heat of hydration,
//
// on nodes that stand at the surface, through the slab and, ever wider apart,
// down the ground. It is taken forward by SDIRK2 (Alexander, SIAM J. Numer.
// Anal. 14, 1977): second order, L-stable and stiffly accurate. L-stable,
// because cold ground meets warm concrete at the start and Crank-Nicolson
// would ring; SDIRK rather than TR-BDF2, whose stability function is the same,
// because it never evaluates that first jump, and both of its stages solve
// with one matrix.
//
// Nodes are eliminated from the ground upwards, so the surface, the only node
// whose law is not linear, is left with one scalar equation: it is solved by
// Newton's method to the last digit, and one factorisation serves as long as
// the step length stays. Hydration is slow beside conduction and stands on
// the explicit side: the equivalent age of each node is foreseen by the
// second-order Adams-Bashforth formula and corrected by the trapezoidal rule,
// and a step's heat is the difference of the degree of hydration over it, so
// that no heat is lost or made.
//
// Left out: edges and corners, which run colder than the middle of a pad that
// this is about; the heat of freezing water, which would hold frost up; rain.

const (
	maxNodes = 64
	gamma    = 1 - math.Sqrt2/2 // diagonal of SDIRK2
	kappa    = (1 - gamma) / gamma
)

// layer is a slice of the column: concrete, insulation or ground.
type layer struct {
	thick   float64 // m
	conduct float64 // W/(m K)
	heat    float64 // J/(m3 K)
	cells   int
	stretch float64 // each cell's thickness over the one above; 1: even
}

// column is slab and ground, cut into nodes. Node 0 is the surface; below the
// last no heat flows.
type column struct {
	n     int               // nodes
	slab  int               // node at the slab's underside
	depth [maxNodes]float64 // m below the surface
	heat  [maxNodes]float64 // J/(m2 K)
	share [maxNodes]float64 // m of slab that a node stands for
	cond  [maxNodes]float64 // W/(m2 K) from a node to the next
	temp  [maxNodes]float64 // C

	stepS float64           // s that the factors are for; 0: none
	cap   [maxNodes]float64 // heat/(gamma step)
	pivot [maxNodes]float64 // 1/diagonal after elimination
	carry [maxNodes]float64 // cond times the pivot below

	rhs, next [maxNodes]float64
}

// build lays the nodes through the layers; the first layer is the slab. Where
// cells grow, each shares its heat between its two nodes as 1 to the square root of
// the growth: a geometric grid with such volumes answers for ground far better
// than one cut in halves (Ingerman, Druskin and Knizhnerman, Comm. Pure Appl.
// Math. 53, 2000; from memory).
func (c *column) build(layers ...layer) {
	c.n, c.slab, c.stepS = 1, layers[0].cells, 0
	c.depth[0], c.heat[0], c.share[0] = 0, 0, 0
	for k, l := range layers {
		width, total := 1.0, 0.0
		for range l.cells {
			total += width
			width *= l.stretch
		}
		width = l.thick / total
		up := 1 / (1 + math.Sqrt(l.stretch))
		for range l.cells {
			i := c.n
			c.depth[i] = c.depth[i-1] + width
			c.cond[i-1] = l.conduct / width
			c.heat[i-1] += l.heat * width * up
			c.heat[i] = l.heat * width * (1 - up)
			c.share[i] = 0
			if k == 0 {
				c.share[i-1] += width / 2
				c.share[i] = width / 2
			}
			c.n++
			width *= l.stretch
		}
	}
}

// factor prepares the elimination for a step length, unless it is the last
// one's but for rounding.
func (c *column) factor(stepS float64) {
	if math.Abs(stepS-c.stepS) < 1e-9*stepS {
		return
	}
	c.stepS = stepS
	inv := 1 / (gamma * stepS)
	last := c.n - 1
	for i := range c.n {
		c.cap[i] = c.heat[i] * inv
	}
	c.pivot[last] = 1 / (c.cap[last] + c.cond[last-1])
	for i := last - 1; i >= 0; i-- {
		c.carry[i] = c.cond[i] * c.pivot[i+1]
		d := c.cap[i] + c.cond[i] - c.cond[i]*c.carry[i]
		if i > 0 {
			d += c.cond[i-1]
		}
		c.pivot[i] = 1 / d
	}
}

// advance takes the column one factored step on. The source is in W/m2 at
// each slab node; first and second are the surroundings at the two stages,
// gamma and all of the step on; face is the outer face's temperature, kept
// for the next start of Newton's method. It returns the heat that came in
// through the surface, J/m2.
func (c *column) advance(source *[maxNodes]float64, first, second *surroundings, face *float64) float64 {
	n := c.n
	rhs, next, temp, capa := c.rhs[:n], c.next[:n], c.temp[:n], c.cap[:n]
	carry, pivot := c.carry[:n], c.pivot[:n]
	for i := range rhs {
		rhs[i] = capa[i] * temp[i]
	}
	for i := range source[:c.slab+1] {
		rhs[i] += source[i]
	}
	q1 := c.stage(rhs, next, carry, pivot, first, face)
	for i := range rhs {
		rhs[i] = capa[i] * (temp[i] + kappa*(next[i]-temp[i]))
	}
	for i := range source[:c.slab+1] {
		rhs[i] += source[i]
	}
	q2 := c.stage(rhs, next, carry, pivot, second, face)
	copy(temp, next)
	return c.stepS * ((1-gamma)*q1 + gamma*q2)
}

// stage solves one implicit stage and returns the flux into the surface.
func (c *column) stage(rhs, next, carry, pivot []float64, s *surroundings, face *float64) float64 {
	n := len(rhs)
	r := rhs[n-1]
	for i := n - 2; i >= 0; i-- {
		r = math.FMA(carry[i], r, rhs[i])
		rhs[i] = r
	}
	free, give := pivot[0]*r, pivot[0]
	q := s.solve(free, give+s.resist, face)
	x := free + give*q
	next[0] = x
	for i := 1; i < n; i++ {
		x = math.FMA(carry[i-1], x, pivot[i]*rhs[i])
		next[i] = x
	}
	return q
}

// coldest returns the temperature of the slab's coldest node.
func (c *column) coldest() float64 {
	low := c.temp[0]
	for _, t := range c.temp[1 : c.slab+1] {
		low = min(low, t)
	}
	return low
}
