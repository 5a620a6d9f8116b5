package learn

import (
	"fmt"
	"math"
)

// ratios gathers observations as logarithms of their ratio to the value given
// in advance: half and double lie equally far off.
type ratios struct {
	sum float64
	n   int
}

// add takes one observation; one that is not a positive number says nothing.
func (r *ratios) add(observed, handbook float64) {
	x := observed / handbook
	if !(x > 0) || math.IsInf(x, 0) {
		return
	}
	r.sum += math.Log(math.Max(1/most, math.Min(most, x)))
	r.n++
}

// correct draws the value: the mean of the observations and of Handbook times
// the value given in advance.
func (r *ratios) correct(name string, handbook float64) Correction {
	c := Correction{Name: name, Handbook: handbook, Observed: handbook, Value: handbook, Entries: r.n}
	if r.n == 0 {
		return c
	}
	c.Observed = handbook * math.Exp(r.sum/float64(r.n))
	c.Value = handbook * math.Exp(r.sum/float64(r.n+Handbook))
	c.Text = fmt.Sprintf("%s: %s logged on %s against %s given in advance; planned with %s.",
		titles[name], short(c.Observed), pads(r.n), short(handbook), short(c.Value))
	return c
}

// titles are the corrections in a builder's words.
var titles = map[string]string{
	"bags_per_hour":     "Bags an hour by one person",
	"finish_min_per_m2": "Minutes of finishing to a square metre",
	"water_l_per_bag":   "Litres of water a bag",
	"set_factor":        "Setting time over the handbook's",
	"finish_lag":        "Wait before finishing over the predicted",
}

func short(v float64) string { return fmt.Sprintf("%.2f", v) }

func pads(n int) string {
	if n == 1 {
		return "1 pad"
	}
	return fmt.Sprintf("%d pads", n)
}
