package concrete

import (
	"math"
	"testing"

	"dryslot/internal/checkedtest"
)

const (
	planeWall   = "plane wall with convection, series solution (Incropera ch. 5), computed"
	planeTable  = "Incropera table 5.1, from memory, computed"
	semiSolid   = "semi-infinite solid with convection (Carslaw and Jaeger), computed"
	incropera   = "Incropera worked examples, from memory"
	cengel      = "Cengel worked examples, from memory (chart readings)"
	exactFormal = "Incropera and Cengel examples by the exact solution, computed"
)

// wall is a plain conductor with one face in moving air and the other closed.
type wall struct {
	column
	air  surroundings
	face float64
	none [maxNodes]float64
}

func newWall(film, air, from float64, layers ...layer) *wall {
	w := &wall{air: surroundings{air: air, film: film}, face: from}
	w.build(layers...)
	for i := range w.n {
		w.temp[i] = from
	}
	return w
}

// run goes on for some seconds in steps of about the length given and returns
// the heat that came in.
func (w *wall) run(seconds, step float64) float64 {
	n := math.Max(1, math.Ceil(seconds/step-1e-9))
	w.factor(seconds / n)
	sum := 0.0
	for range int(n) {
		sum += w.advance(&w.none, &w.air, &w.air, &w.face)
	}
	return sum
}

// at is the temperature at a depth, linear between nodes.
func (w *wall) at(depth float64) float64 {
	i := 0
	for i < w.n-2 && w.column.depth[i+1] < depth {
		i++
	}
	return along(w.temp[i], w.temp[i+1], (depth-w.column.depth[i])/(w.column.depth[i+1]-w.column.depth[i]))
}

func TestPlaneWall(t *testing.T) {
	for _, r := range checkedtest.Rows(t, "handbook/plane_wall_convective_calc.csv") {
		thick := r.Float("insulated_to_surface_thickness_m")
		w := newWall(20, 0, 20, layer{thick, 1.5, 2350e3, 40, 1})
		w.run(3600*r.Float("t_h"), 60)
		got := w.at(thick * (1 - r.Float("x_over_L (0=insulated face/midplane,1=surface)")))
		// 40 cells and steps of a minute are good to 0.005 K.
		checkedtest.Near(t, planeWall, "temperature", got,
			r.Float("T_C_calc (Ti=20,Tinf=0,h=20,k=1.5,rho=2350,cp=1000)"), 0.005)
	}
}

// A wall's late cooling gives back the first root and its coefficient.
func TestPlaneWallFirstTerm(t *testing.T) {
	for _, r := range checkedtest.Rows(t, "handbook/plane_wall_first_term_calc.csv") {
		bi := r.Float("Bi")
		const thick, conduct, heat = 0.1, 1.5, 2350e3
		w := newWall(bi*conduct/thick, 0, 1, layer{thick, conduct, heat, 60, 1})
		fo := thick * thick * heat / conduct // seconds to a Fourier number of 1
		w.run(1.5*fo, fo/1000)               // by then the second term is below 1e-5 of the first
		first := w.temp[w.n-1]
		w.run(fo, fo/4000)
		second := w.temp[w.n-1]
		zeta2 := math.Log(first / second)
		// Printed to four decimals; the grid is good to about 1e-4 of it.
		checkedtest.Near(t, planeTable, "first root at Bi "+r.Text("Bi"), math.Sqrt(zeta2), r.Float("zeta1_rad"), 4e-4)
		checkedtest.Near(t, planeTable, "coefficient at Bi "+r.Text("Bi"), second*math.Exp(2.5*zeta2), r.Float("C1"),
			6e-4)
	}
}

func TestSemiInfiniteSolid(t *testing.T) {
	for _, r := range checkedtest.Rows(t, "handbook/semi_infinite_convective_calc.csv") {
		w := newWall(r.Float("h_W_m2K"), 0, 20, layer{0.2, 1.5, 2350e3, 40, 1}, layer{2.5, 1.5, 2350e3, 20, 1.2})
		w.run(3600*r.Float("t_h"), 60)
		checkedtest.Near(t, semiSolid, "temperature at "+r.Text("x_m")+" m, "+r.Text("t_h")+" h", w.at(r.Float("x_m")),
			r.Float("T_C_calc (Ti=20,Tinf=0,k=1.5,rho=2350,cp=1000)"), 0.01)
	}
}

// The ground of the solver itself, as coarse as it is, under a slab of no
// effect: its surface must follow the exact solution.
func TestCoarseGroundAgainstTheSemiInfiniteSolid(t *testing.T) {
	w := newWall(20, 0, 20, layer{0.0125, 1.5, 2350e3, 1, 1}, layer{groundDepth, 1.5, 2350e3, groundCells, groundGrows})
	gone := 0.0
	for _, c := range []struct{ hours, want float64 }{{1, 11.0151}, {6, 6.2234}, {12, 4.6862}, {24, 3.4426}} {
		w.run(3600*(c.hours-gone), 600)
		gone = c.hours
		checkedtest.Near(t, semiSolid, "surface with 9 cells", w.temp[0], c.want, 0.08)
	}
}

func TestWorkedConductionExamples(t *testing.T) {
	// A pipeline's wall: L 0.04 m, k 63.9, a 18.8e-6, h 500, -20 C in 60 C, 480 s.
	w := newWall(500, 60, -20, layer{0.04, 63.9, 63.9 / 18.8e-6, 40, 1})
	w.run(480, 1)
	checkedtest.Near(t, incropera, "pipeline, outside", w.temp[w.n-1], 42.9, 0.3)
	checkedtest.Near(t, incropera, "pipeline, inside", w.temp[0], 45.2, 0.3)
	checkedtest.Near(t, exactFormal, "pipeline, outside", w.temp[w.n-1], 43.02, 0.02)
	checkedtest.Near(t, exactFormal, "pipeline, inside", w.temp[0], 45.36, 0.02)

	// A brass plate in an oven: L 0.02 m, h 120, k 110, a 33.9e-6, 20 C in 500 C, 7 min.
	w = newWall(120, 500, 20, layer{0.02, 110, 110 / 33.9e-6, 40, 1})
	w.run(420, 1)
	checkedtest.Near(t, cengel, "brass plate", w.temp[0], 282, 3)
	checkedtest.Near(t, exactFormal, "brass plate", w.temp[0], 279.6, 0.15)

	// The depth that frost reaches below a surface held cold.
	frost := func(from, air, days, diffusivity float64) float64 {
		w := newWall(1e6, air, from, layer{1.2, 1, 1 / diffusivity, 40, 1}, layer{6, 1, 1 / diffusivity, 20, 1.15})
		w.run(86400*days, 3600)
		low, high := 0.0, 2.0
		for range 40 {
			if mid := (low + high) / 2; w.at(mid) < 0 {
				low = mid
			} else {
				high = mid
			}
		}
		return low
	}
	incr := frost(20, -15, 60, 0.138e-6)
	checkedtest.Near(t, incropera, "water main", incr, 0.68, 0.01)
	checkedtest.Near(t, exactFormal, "water main", incr, 0.677, 0.002)
	ceng := frost(15, -10, 90, 0.15e-6)
	checkedtest.Near(t, cengel, "water pipe, chart", ceng, 0.77, 0.04)
	checkedtest.Near(t, exactFormal, "water pipe", ceng, 0.801, 0.002)
}

// insulatedFace is the series solution at a wall's closed face: Biot and
// Fourier number, start 1, air 0.
func insulatedFace(bi, fo float64) float64 {
	sum := 0.0
	for k := range 20 {
		low, high := float64(k)*math.Pi, (float64(k)+0.5)*math.Pi
		for range 80 {
			if mid := (low + high) / 2; mid*math.Tan(mid) < bi {
				low = mid
			} else {
				high = mid
			}
		}
		sum += 4 * math.Sin(low) / (2*low + math.Sin(2*low)) * math.Exp(-low*low*fo)
	}
	return sum
}

// Halving the cells of an even grid quarters the error.
func TestSecondOrderInSpace(t *testing.T) {
	const seconds = 6 * 3600
	exact := 20 * insulatedFace(20*0.1/1.5, seconds*1.5/2350e3/0.01)
	checkedtest.Near(t, planeWall, "series", exact, 6.5695, 0.6e-4)
	var off []float64
	for _, cells := range []int{4, 8, 16, 32} {
		w := newWall(20, 0, 20, layer{0.1, 1.5, 2350e3, cells, 1})
		w.run(seconds, 5)
		off = append(off, math.Abs(w.temp[w.n-1]-exact))
	}
	for i := range off[1:] {
		checkedtest.Between(t, planeWall, "order in space", math.Log2(off[i]/off[i+1]), 1.9, 2.1)
	}
}

// Halving the step quarters the error, for conduction alone.
func TestSecondOrderInTime(t *testing.T) {
	end := func(steps int) float64 {
		w := newWall(20, 0, 20, layer{0.1, 1.5, 2350e3, 16, 1})
		w.run(6*3600, 6*3600/float64(steps))
		return w.temp[w.n-1]
	}
	exact := end(8192)
	var off []float64
	for _, n := range []int{12, 24, 48, 96} {
		off = append(off, math.Abs(end(n)-exact))
	}
	for i := range off[1:] {
		if order := math.Log2(off[i] / off[i+1]); !(order > 1.85 && order < 2.15) {
			t.Errorf("order in time %.3f, errors %v", order, off)
		}
	}
}

// L-stable: one step of a century leaves nothing of the start, and a jump is not
// rung out by steps far beyond the nodes' own times.
func TestLongStepsDampTheJump(t *testing.T) {
	w := newWall(20, 0, 20, layer{0.1, 1.5, 2350e3, 16, 1})
	w.run(3.15e9, 3.15e9)
	for i := range w.n {
		if math.Abs(w.temp[i]) > 1e-3 {
			t.Errorf("after a century in one step node %d stands at %v C", i, w.temp[i])
		}
	}
	w = newWall(1e5, 0, 20, layer{0.1, 1.5, 2350e3, 40, 1})
	signs := 0
	for last := 20.0; last > 1e-6; {
		w.run(3600, 3600)
		if w.temp[0] < -1e-3 {
			signs++
		}
		last = w.temp[w.n-1]
	}
	if signs > 1 {
		t.Errorf("the surface swung below the air's temperature %d times", signs)
	}
}
