package harm

import (
	"math"
	"slices"
	"testing"
)

func TestRainLosesFromItsLimitOn(t *testing.T) {
	own := 1.0
	for _, c := range []struct {
		limit *float64
		mm    float64
		want  float64
	}{
		{nil, 0, 0}, {nil, 0.24, 0}, {nil, 0.25, LightLoses}, {nil, 2.49, LightLoses}, {nil, 2.5, 1}, {nil, math.NaN(), 1},
		{&own, 0.99, 0}, {&own, 1, 1}, {&own, 7, 1}, {&own, math.NaN(), 1},
	} {
		if got := Rain(c.limit).Lost(c.mm); got != c.want {
			t.Errorf("%v mm under a limit of %v: lost with chance %v, not %v", c.mm, c.limit, got, c.want)
		}
	}
	if !Marks(7.6) || Marks(7.5) || LosesCovered(7.6) || !LosesCovered(7.7) || !Touches(0.25) || Touches(0.2) {
		t.Error("the limits of light or heavy rain lie elsewhere")
	}
	if nan := math.NaN(); !Marks(nan) || !LosesCovered(nan) || !Touches(nan) {
		t.Error("unknown rain does no harm")
	}
}

func TestFrozenBase(t *testing.T) {
	hours := func(runs ...[2]float64) []float64 { // how many, and at what temperature
		var out []float64
		for _, r := range runs {
			out = append(out, slices.Repeat([]float64{r[1]}, int(r[0]))...)
		}
		return out
	}
	for _, c := range []struct {
		name string
		air  []float64
		want bool
	}{
		{"never below 0", hours([2]float64{48, 1}), false},
		{"frost an hour ago", hours([2]float64{30, 5}, [2]float64{1, -1}, [2]float64{1, 3}), true},
		{"thawed for five hours", hours([2]float64{30, -2}, [2]float64{5, 3}), true},
		{"thawed for six hours", hours([2]float64{30, -2}, [2]float64{6, 3}), false},
		{"at 0 for long after frost", hours([2]float64{5, -2}, [2]float64{10, 0}), true},
		{"frost 25 hours ago", hours([2]float64{5, -2}, [2]float64{25, 0}), false},
		{"unknown", hours([2]float64{10, 5}, [2]float64{1, math.NaN()}), true},
		{"nothing known", nil, false},
	} {
		if got := FrozenBase(c.air); got != c.want {
			t.Errorf("%s: frozen %v", c.name, got)
		}
	}
}
