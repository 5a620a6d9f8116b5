package harm

import (
	"math"
	"testing"
)

func TestRainLosesFromItsLimitOn(t *testing.T) {
	own := 1.0
	for _, c := range []struct {
		limit *float64
		mm    float64
		want  float64
	}{
		{nil, 0, 0}, {nil, 0.24, 0}, {nil, 0.25, LightLoses}, {nil, 2.49, LightLoses}, {nil, 2.5, 1}, {nil,
			math.NaN(), 1},
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
