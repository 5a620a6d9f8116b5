package concrete

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"dryslot/internal/checkedtest"
	"dryslot/internal/fault"
	"dryslot/internal/message"
	"dryslot/internal/unit"
)

const (
	bagBalance = "heat balance of a bag (CSA/CAC chapter 17 form), computed"
	eb001Mix   = "from memory: PCA EB001 chapter 13, worked mix temperature"
	siteSheet  = "published site sheet: 375 kg cement, 180 kg water, 2000 kg aggregate, 40.1 C"
)

func TestBagMixTable(t *testing.T) {
	for _, r := range checkedtest.Rows(t, "handbook/bag_mix_temperature_calc.csv") {
		e, err := BagMix(unit.Celsius(r.Float("dry_mix_C")), unit.Celsius(r.Float("water_C")),
			unit.Kilograms(r.Float("dry_mix_kg")), r.Float("water_kg"), 0)
		if err != nil {
			t.Fatal(err)
		}
		checkedtest.Near(t, bagBalance, "mix of "+r.Text("dry_mix_C")+" and "+r.Text("water_C")+" C", float64(e.MixC),
			r.Float("mixed_C_calc"), 0.006)
	}
}

func pounds(v float64) unit.Kilograms { return unit.Kilograms(v * unit.KilogramsPerPound) }

func TestMixWorkedExamples(t *testing.T) {
	solids := func(cementF float64) []Portion {
		return []Portion{{pounds(564), unit.FromFahrenheit(cementF)}, {pounds(3100), unit.FromFahrenheit(80)}}
	}
	plain := Batch{Solids: solids(150), WaterKg: pounds(282), WaterC: unit.FromFahrenheit(80)}
	checkedtest.Near(t, eb001Mix, "without ice, F", plain.Temperature().Fahrenheit(), 88.0, 0.05)
	iced := Batch{Solids: solids(150), WaterKg: pounds(207), WaterC: unit.FromFahrenheit(80), IceKg: pounds(75)}
	checkedtest.Near(t, eb001Mix, "with ice, F", iced.Temperature().Fahrenheit(), 74.7, 0.1)
	si := Batch{Solids: []Portion{{335, 66}, {1839, 27}}, WaterKg: 123, WaterC: 27, IceKg: 44}
	checkedtest.Near(t, bagBalance, "with ice, SI", float64(si.Temperature()), 24.2, 0.05)

	// One Fahrenheit degree of mix needs 8.8 of cement, 3.9 of water, 1.6 of aggregate.
	base := plain.Temperature().Fahrenheit()
	hotter := plain
	hotter.Solids = solids(151)
	checkedtest.Near(t, eb001Mix, "cement per degree", 1/(hotter.Temperature().Fahrenheit()-base), 8.8, 0.06)
	hotter = plain
	hotter.WaterC = unit.FromFahrenheit(81)
	checkedtest.Near(t, eb001Mix, "water per degree", 1/(hotter.Temperature().Fahrenheit()-base), 3.9, 0.06)
	hotter = plain
	hotter.Solids = []Portion{plain.Solids[0], {pounds(3100), unit.FromFahrenheit(81)}}
	checkedtest.Near(t, eb001Mix, "aggregate per degree", 1/(hotter.Temperature().Fahrenheit()-base), 1.6, 0.06)

	sheet := Batch{Solids: []Portion{{375, 46.2}, {2000, 41}}, WaterKg: 180, WaterC: 35}
	checkedtest.Near(t, siteSheet, "C", float64(sheet.Temperature()), 40.1, 0.05)
}

func TestWaterFor(t *testing.T) {
	for _, c := range []struct {
		wanted, bag, water float64
		allowed            bool
	}{{13, 0, 50, true}, {16, -5, 76, false}} {
		e, err := WaterFor(unit.Celsius(c.wanted), unit.Celsius(c.bag), 36.3, 2.8, 0)
		if err != nil {
			t.Fatal(err)
		}
		checkedtest.Near(t, bagBalance, "water wanted", float64(e.WaterC), c.water, 0.5)
		if e.Allowed != c.allowed {
			t.Errorf("%v: %+v", c, e)
		}
	}
	cold, err := WaterFor(10, 35, 36.3, 2.8, 0)
	if err != nil || cold.Allowed || !has(cold, MixWaterFrozen) {
		t.Errorf("below freezing: %+v, %v", cold, err)
	}
}

func has(e MixEstimate, code message.Code) bool {
	return slices.ContainsFunc(e.Cautions, func(m message.Message) bool { return m.Code == code })
}

func TestMixCautions(t *testing.T) {
	for _, c := range []struct {
		bag, water, ice float64
		allowed         bool
		says            message.Code
	}{
		{10, 61, 0, false, MixWaterFlash}, {10, 85, 0, false, MixWaterTooHot}, {10, 55, 0, true, MixWaterScalds},
		{38, 40, 0, true, MixHot}, {-5, 2, 0, false, MixFreezes}, {-2, 50, 0, true, MixBagsFrozen},
		{30, 20, 1, true, MixIceCrushed}, {40, 20, 9, false, MixIceTooMuch},
	} {
		e, err := BagMix(unit.Celsius(c.bag), unit.Celsius(c.water), 36.3, 2.8, unit.Kilograms(c.ice))
		if err != nil || e.Allowed != c.allowed || !has(e, c.says) {
			t.Errorf("%+v: %+v, %v", c, e, err)
		}
	}
	if e, err := BagMix(15, 15, 36.3, 2.8, 0); err != nil || len(e.Cautions) > 0 || !e.Allowed {
		t.Errorf("a mild mix: %+v, %v", e, err)
	}
}

func TestMixIsInvertedExactly(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	for range 2000 {
		bag, water := unit.Celsius(r.Float64()*60-15), unit.Celsius(r.Float64()*80)
		kg, l := unit.Kilograms(10+r.Float64()*40), 1+r.Float64()*5
		mixed, err := BagMix(bag, water, kg, l, 0)
		if err != nil {
			t.Fatal(err)
		}
		if mixed.MixC >= 0 && mixed.MixC <= 50 {
			back, err := WaterFor(mixed.MixC, bag, kg, l, 0)
			if err != nil || math.Abs(float64(back.WaterC-water)) > 1e-9 {
				t.Fatalf("%v became %v, %v", water, back.WaterC, err)
			}
		}
		// A mix lies between what goes into it, and ice never warms it.
		if lo, hi := min(bag, water), max(bag, water); mixed.MixC < lo-1e-9 || mixed.MixC > hi+1e-9 {
			t.Fatalf("%v and %v make %v", bag, water, mixed.MixC)
		}
	}
}

func TestMixRefusesBadInput(t *testing.T) {
	_, err := BagMix(unit.Celsius(math.NaN()), 101, 0, -1, -1)
	var fe *fault.Error
	if !errors.As(err, &fe) || fe.Kind != fault.Invalid || len(fe.Fields) != 5 {
		t.Errorf("got %v", err)
	}
	if _, err := WaterFor(60, 0, 36.3, 2.8, 0); !errors.Is(err, fault.Invalid) {
		t.Errorf("got %v", err)
	}
}
