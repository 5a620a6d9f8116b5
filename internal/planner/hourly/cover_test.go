package hourly

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"dryslot/internal/forecast/belief"
	"dryslot/internal/planner/harm"
)

func TestCoversMakeRainBearable(t *testing.T) {
	rnd := rand.New(rand.NewPCG(11, 4))
	better := 0
	for range 40 {
		d := day(rnd, 60, 4, 6)
		without := decided(t, d)
		d.Covers = Covers{Pads: 4, MinutesPad: 5}
		with := decided(t, d)
		// Light rain on a pad covered late is a little worse than on an open one.
		if with.Loss > without.Loss+0.1 {
			t.Errorf("loss %g with covers, %g without", with.Loss, without.Loss)
		}
		if with.Loss < without.Loss-0.05 {
			better++
		}
	}
	if better < 20 {
		t.Errorf("covers help in %d of 40 cases", better)
	}
}

func TestSoftPadsAreCoveredBeforeRainAndLeftInTheDry(t *testing.T) {
	for _, c := range []struct {
		name string
		rain func(h int) float64
		want bool
	}{
		{"dry", func(int) float64 { return 0 }, false},
		{"heavy rain this hour", func(h int) float64 {
			if h == 8 {
				return 5
			}
			return 0
		}, true},
		{"heavy rain after it has set", func(h int) float64 {
			if h >= 11 {
				return 5
			}
			return 0
		}, false},
	} {
		d := plain(c.rain)
		d.Covers = Covers{Pads: 1, MinutesPad: 5}
		d.Soft = []Soft{{Set: 10 * 60}, {Set: 10.5 * 60}, {Set: 10 * 60, Covered: false}}
		got, err := Cover(context.Background(), d)
		if err != nil {
			t.Fatal(err)
		}
		n := 0
		for _, x := range got {
			if x.Cover {
				n++
			}
		}
		if (n == 1) != c.want || n > 1 {
			t.Errorf("%s: %d of 3 pads are covered with one cover: %+v", c.name, n, got)
		}
	}
}

func TestPadsAreCoveredWhenHeavyRainHasBegun(t *testing.T) {
	d := plain(func(h int) float64 {
		if h == 8 {
			return 4
		}
		return 0
	})
	d.Seen.Raining = true
	d.Covers = Covers{Pads: 6, MinutesPad: 5}
	d.Soft = []Soft{{Set: 10 * 60}}
	got, err := Cover(context.Background(), d)
	if err != nil {
		t.Fatal(err)
	}
	// Open it is lost, covered in the rain in half the cases.
	if x := got[0]; !x.Cover || math.Abs(x.Lost-1) > 1e-9 || math.Abs(x.Spared-0.5) > 1e-9 {
		t.Errorf("%+v", x)
	}
}

// Whoever has no nowcast covers a pad once rain begins. That cover holds against
// the heavier rain of the next hours; an open pad is lost to it.
func TestACoverLaidInTheFirstRainHoldsAgainstTheNext(t *testing.T) {
	none := belief.NoNowcast()
	d := plain(func(int) float64 { return 0 })
	d.Channel, d.Covers = &none, Covers{Pads: 1, MinutesPad: 5}
	first := caught*d.Harm.Lost(harm.Light, harm.CoveredLate) + (1-caught)*d.Harm.Lost(harm.Light, harm.Open)
	for _, c := range []struct {
		name       string
		rain       [3]float64 // of hours 8 to 10
		under, out float64    // chance that it is lost, with a cover and without
	}{
		{"dry", [3]float64{}, 0, 0},
		{"light", [3]float64{0, 1, 0}, first, harm.LightLoses},
		{"light, then enough to spoil it", [3]float64{1, 3, 0},
			max(first, d.Harm.Lost(harm.Moderate, harm.CoveredInTime)), 1},
		{"enough to spoil it at once", [3]float64{0, 3, 0}, caught*d.Harm.Lost(harm.Moderate, harm.CoveredLate) + 1 -
			caught, 1},
		{"light, then what no cover holds", [3]float64{1, 9, 0}, 1, 1},
	} {
		rain := make([]float64, 24)
		copy(rain[8:], c.rain[:])
		for covers, want := range map[bool]float64{true: c.under, false: c.out} {
			if got := d.fateIn(rain, 8*60+10, 11*60, covers).lost; math.Abs(got-want) > 1e-12 {
				t.Errorf("%s, covers %v: lost with chance %v, want %v", c.name, covers, got, want)
			}
		}
	}
}

// A nowcast that cries wolf has dry pads covered: work, and marks.
func TestACoverForNothingCosts(t *testing.T) {
	d := plain(func(int) float64 { return 0 })
	d.Covers = Covers{Pads: 1, MinutesPad: 5}
	x := d.fateIn(make([]float64, 24), 8*60, 12*60, true)
	if !(x.lost == 0 && x.inspect > 0 && x.inspect < harm.MarkedByCover && x.work > 0) {
		t.Errorf("%+v", x)
	}
}
