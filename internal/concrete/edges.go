package concrete

import (
	"math"
	"sync"
)

// Edges and corners lose heat through the forms as well as through the top. As
// an allowance, the product of one-dimensional solutions is taken (Newman
// 1936; Incropera, multidimensional conduction, from memory): what is left of
// the difference between slab and air is multiplied at an edge by the surface
// value of a half space that loses heat through a form board, at a corner by
// its square.
const (
	edgeLossWM2K = 2.5  // W/(m2 K) through 38 mm of wood and the air at it (common practice)
	edgeHoursH   = 12.0 // of cooling that count: a night (judgement)
	edgeTableH   = 4    // entries an hour
)

var edgeTable = sync.OnceValue(func() *[int(edgeHoursH)*edgeTableH + 1]float64 {
	var v [int(edgeHoursH)*edgeTableH + 1]float64
	for i := range v {
		seconds := float64(i) * 3600 / edgeTableH
		x := edgeLossWM2K * math.Sqrt(concreteConduct/concreteHeat*seconds) / concreteConduct
		v[i] = math.Exp(x*x) * math.Erfc(x)
	}
	return &v
})

// EdgeShare returns the share of the difference between a slab's middle and
// the air that an edge keeps, hours after placing: 1 at placing, about 0.75
// after a night. A corner keeps its square.
func EdgeShare(hours float64) float64 {
	x := min(edgeHoursH, max(0, hours)) * edgeTableH
	i := min(int(x), int(edgeHoursH)*edgeTableH-1)
	t := edgeTable()
	return t[i] + (x-float64(i))*(t[i+1]-t[i])
}
