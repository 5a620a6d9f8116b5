package concrete

import (
	"errors"
	"math/rand/v2"
	"testing"

	"dryslot/internal/checkedtest"
	"dryslot/internal/fault"
)

const (
	schindler2004 = "Schindler, RILEM 2004 and ACI Mater. J. 101(1), from memory, computed"
	settingTable  = "from memory: handbook setting-time table of uncertain origin"
	oneThird      = "setting lengthens by a third per 10 F (concreteconstruction.net)"
)

// The handbook's table is a band, not a truth: no activation energy fits all of
// it. Each row must lie between initial and final set, or no more than 10 %
// outside; 20 F has no row, since there concrete freezes.
func TestSettingTable(t *testing.T) {
	for _, r := range checkedtest.Rows(t, "handbook/setting_time.csv") {
		c, at := r.Float("concrete_C"), r.Text("F")+" F"
		s, err := SetTimes(celsius(c), "general", 0.50, "broom")
		if err != nil {
			t.Fatal(err)
		}
		checkedtest.Between(t, settingTable, at, r.Float("handbook_table_h_FROM_MEMORY"), 0.9*s.InitialH, 1.1*s.FinalH)
		// The table's temperatures are rounded to 0.1 C.
		checkedtest.Near(t, schindler2004, "initial set at "+at, s.InitialH, r.Float("Schindler_initial_h_calc"),
			0.005+0.005*s.InitialH)
		checkedtest.Near(t, schindler2004, "final set at "+at, s.FinalH, r.Float("Schindler_final_h_calc"),
			0.005+0.005*s.FinalH)
		checkedtest.Near(t, "Arrhenius, 33.5 kJ/mol, computed", at, 6/Arrhenius(celsius(c), 33.5e3/gasConstant, 21.1),
			r.Float("Arrhenius33.5kJ_from_6h_calc"), 0.03)
		// The rule of a third per 10 F, from 6 h at 70 F, lies within a third of final set's time and initial set's.
		checkedtest.Between(t, oneThird, at, r.Float("one_third_per_10F_from_6h_calc"), 0.9*s.InitialH, 1.1*s.FinalH)
	}
}

func TestSetAtThreeTemperatures(t *testing.T) {
	for _, c := range []struct{ at, initial, final float64 }{{21, 4.4, 6.6}, {10, 9.2, 13.9}, {32, 2.2, 3.3}} {
		s, err := SetTimes(celsius(c.at), "general", 0.50, "broom")
		if err != nil {
			t.Fatal(err)
		}
		checkedtest.Near(t, schindler2004, "initial", s.InitialH, c.initial, 0.06)
		checkedtest.Near(t, schindler2004, "final", s.FinalH, c.final, 0.08)
	}
}

func TestFinishingBeginsAsTheStatementHasIt(t *testing.T) {
	const statement = "American Society of Concrete Contractors, position statement 15 (times quoted)"
	for _, c := range []struct{ f, hours float64 }{{50, 4.25}, {70, 2.75}, {90, 1.75}} {
		s, err := SetTimes(celsius((c.f-32)*5/9), "general", 0.50, "broom")
		if err != nil {
			t.Fatal(err)
		}
		checkedtest.Near(t, statement, "hours from placing to finishing", s.FinishFromH, c.hours, 0.1)
	}
}

func TestHotterNeverSetsLaterAtASteadyTemperature(t *testing.T) {
	rnd := rand.New(rand.NewPCG(9, 10))
	for range 2000 {
		kind := []string{"general", "rapid", "slow"}[rnd.IntN(3)]
		finish := []string{"broom", "trowel"}[rnd.IntN(2)]
		c, wc := rnd.Float64()*46-2, 0.3+0.7*rnd.Float64()
		a, err := SetTimes(celsius(c), kind, wc, finish)
		if err != nil {
			t.Fatal(err)
		}
		b, err := SetTimes(celsius(c+rnd.Float64()*(45-c)), kind, wc, finish)
		if err != nil {
			t.Fatal(err)
		}
		if b.InitialH > a.InitialH || b.FinalH > a.FinalH || b.FinishFromH > a.FinishFromH ||
			b.FinishUntilH > a.FinishUntilH {
			t.Fatalf("%s %v: %+v, hotter %+v", kind, wc, a, b)
		}
		if !(0 < a.FinishFromH && a.FinishFromH < a.InitialH && a.InitialH <= a.FinishUntilH &&
			a.FinishUntilH <= a.FinalH+1e-9) {
			t.Fatalf("out of order: %+v", a)
		}
		wetter, err := SetTimes(celsius(c), kind, min(1, wc+0.1), finish)
		if err != nil {
			t.Fatal(err)
		}
		if wetter.InitialH < a.InitialH {
			t.Fatalf("wetter concrete sets sooner: %+v, %+v", a, wetter)
		}
	}
}

func TestSlowerCementSetsLater(t *testing.T) {
	var h [3]float64
	for i, kind := range []string{"rapid", "general", "slow"} {
		s, err := SetTimes(20, kind, 0.5, "broom")
		if err != nil {
			t.Fatal(err)
		}
		h[i] = s.InitialH
	}
	if !(h[0] < h[1] && h[1] < h[2]) {
		t.Errorf("initial set of rapid, general and slow cement: %v h", h)
	}
}

func TestSetTimesRefusesWhatItCannotKnow(t *testing.T) {
	nan := []struct {
		c, wc          float64
		cement, finish string
		fields         int
	}{{-10, 0.5, "general", "broom", 1}, {20, 2, "general", "broom", 1}, {20, 0.5, "lime", "broom", 1}, {20, 0.5,
		"general", "polish", 1}, {60, 0, "", "", 4}}
	for _, c := range nan {
		_, err := SetTimes(celsius(c.c), c.cement, c.wc, c.finish)
		var f *fault.Error
		if !errors.As(err, &f) || !errors.Is(err, fault.Invalid) || len(f.Fields) != c.fields {
			t.Errorf("%+v: %v", c, err)
		}
	}
}
