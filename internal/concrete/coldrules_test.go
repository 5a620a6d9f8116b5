package concrete

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"dryslot/internal/checkedtest"
	"dryslot/internal/unit"
)

const (
	mem306Table = "from memory: ACI 306R-88 table 3.1 (306R-16 table 5.1)"
	mem306Days  = "from memory: ACI 306R-88 table 5.3"
	def306R16   = "ACI 306R-16, definition of cold weather (concrete.org)"
	def306R88   = "ACI 306R-88, definition of cold weather (concrete.org, ACI 308.1-11)"
	groundRule  = "judgement of the planning rules: frozen base"
)

func TestColdTemperatureTable(t *testing.T) {
	in := func(v float64) unit.Metres { return unit.Metres(v * unit.MetresPerInch) }
	// The document gives F; its metric columns are rounded to whole degrees.
	for _, c := range []struct {
		least                             unit.Metres
		placed, mild, cold, bitter, dropF float64
	}{{in(3), 55, 60, 65, 70, 50}, {in(11.9), 55, 60, 65, 70, 50}, {in(12), 50, 55, 60, 65, 40}, {in(24), 50, 55, 60,
		65, 40},
		{in(40), 45, 50, 55, 60, 30}, {in(80), 40, 45, 50, 55, 20}} {
		checkedtest.Near(t, mem306Table, "as placed, F", ColdPlacedC(c.least).Fahrenheit(), c.placed, 1.0)
		checkedtest.Near(t, mem306Table, "as mixed above 30 F", ColdMixedC(c.least,
			unit.FromFahrenheit(31)).Fahrenheit(), c.mild, 1.0)
		checkedtest.Near(t, mem306Table, "as mixed, 0 to 30 F", ColdMixedC(c.least,
			unit.FromFahrenheit(15)).Fahrenheit(), c.cold, 1.0)
		checkedtest.Near(t, mem306Table, "as mixed below 0 F", ColdMixedC(c.least,
			unit.FromFahrenheit(-1)).Fahrenheit(), c.bitter, 1.0)
		// A drop is a difference: 50 F is 27.8 K, not 10.
		checkedtest.Near(t, mem306Table, "drop, K", float64(DropLimit(c.least)), c.dropF*5/9, 0.6)
	}
	checkedtest.Near(t, mem306Table, "above the least, K", float64(ColdAboveK), 20*5.0/9, 0.2)
}

func TestProtectionDays(t *testing.T) {
	for s, want := range map[Service][2]int{Sheltered: {2, 1}, Exposed: {3, 2}, PartlyLoaded: {6, 4}} {
		a, ok := ProtectionDays(s, false)
		b, ok2 := ProtectionDays(s, true)
		checkedtest.That(t, mem306Days, ok && ok2 && a == want[0] && b == want[1], "%s: %d and %d days, not %v", s, a,
			b, want)
	}
	if _, ok := ProtectionDays(FullyLoaded, false); ok {
		t.Error("a full load goes by strength, not by days")
	}
}

func day(lo, hi float64) []float64 {
	h := make([]float64, 24)
	for i := range h {
		h[i] = lo
		if i >= 10 && i < 16 {
			h[i] = hi
		}
	}
	return h
}

func TestTwoDefinitionsOfColdWeather(t *testing.T) {
	checkedtest.That(t, def306R16, ColdExpected(unit.FromFahrenheit(39.9)) && !ColdExpected(unit.FromFahrenheit(40)),
		"40 F is the border")

	// One frosty night: cold by the newer, not by the older.
	week := [][]float64{day(8, 14), day(-3, 6), day(8, 14)}
	checkedtest.That(t, def306R88, !slices.Contains(ColdSpell(week), true), "one cold day is no spell")
	// Three cold days are not yet more than three.
	three := [][]float64{day(0, 6), day(0, 6), day(0, 6), day(8, 14)}
	checkedtest.That(t, def306R88, !slices.Contains(ColdSpell(three), true), "three days are no spell")
	// Four are, from the first of them on; a day of 11 hours above 10 C does
	// not end the spell, half a day and more does.
	four := [][]float64{day(8, 14), day(0, 6), day(0, 6), day(0, 6), day(0, 6), day(6, 14), day(12, 14), day(3, 9)}
	got := ColdSpell(four)
	checkedtest.That(t, def306R88, slices.Equal(got, []bool{false, true, true, true, true, true, true, false}),
		"got %v", got)
	// Mild by day, and the mean of the extremes is what counts: (-6+14)/2 = 4.
	swing := [][]float64{day(-6, 14), day(-6, 14), day(-6, 14), day(-6, 14)}
	checkedtest.That(t, def306R88, !slices.Contains(ColdSpell(swing), false), "the mean of the extremes counts")

	unknown := make([]float64, 24)
	for i := range unknown {
		unknown[i] = math.NaN()
	}
	if got := ColdSpell([][]float64{day(0, 6), day(0, 6), unknown, day(0, 6), day(0, 6)}); slices.Contains(got, true) {
		t.Errorf("an unknown day is not a cold one: %v", got)
	}
}

func TestColdSpellOfADate(t *testing.T) {
	zone := time.FixedZone("UTC-5", -5*3600)
	first := unit.Date{Year: 2026, Month: 11, Day: 20}
	w := Hourly{Start: first.At(0, zone)}
	for _, d := range [][]float64{day(8, 14), day(0, 6), day(0, 6), day(0, 6), day(0, 6), day(12, 14)} {
		w.AirC = append(w.AirC, d...)
	}
	for i, want := range []bool{false, true, true, true, true, true} {
		if got := ColdSpellOn(w, first.AddDays(i), zone); got != want {
			t.Errorf("day %d: %v", i, got)
		}
	}
	if ColdSpellOn(w, first.AddDays(6), zone) || ColdSpellOn(w, first.AddDays(-1), zone) {
		t.Error("a date outside the weather")
	}
}

func ids(rules []Rule) (s string) {
	for _, r := range rules {
		s += r.ID + ":" + string(r.Severity) + " "
	}
	return strings.TrimSpace(s)
}

func TestColdRules(t *testing.T) {
	bag := &BagWater{BagC: 5, BagKg: 36.3, WaterL: 2.8}
	for _, c := range []struct {
		name, want string
		in         ColdInput
	}{
		{"mild", "", ColdInput{Thickness: 0.075, MixC: unit.Some(12), AirC: unit.Some(9), AirMinC: unit.Some(6),
			SlabMinC: unit.Some(7), UncoverDropK: unit.Some(10)}},
		{"nothing known", "", ColdInput{Thickness: 0.075}},
		{"a frosty night", "cold-overnight:act cold-mix:act cold-expected:watch",
			ColdInput{Thickness: 0.075, MixC: unit.Some(8), AirC: unit.Some(6), AirMinC: unit.Some(-2),
				SlabMinC: unit.Some(1.2), Bag: bag}},
		{"warm enough if placed at once", "cold-mix:watch cold-expected:watch",
			ColdInput{Thickness: 0.075, MixC: unit.Some(14), AirC: unit.Some(6), AirMinC: unit.Some(2)}},
		{"too warm", "cold-mix-too-warm:note cold-expected:watch",
			ColdInput{Thickness: 0.075, MixC: unit.Some(28), AirC: unit.Some(6), AirMinC: unit.Some(2)}},
		{"a spell", "cold-spell:watch", ColdInput{Thickness: 0.075, Spell: true}},
		{"uncovered too soon", "uncover-drop:act", ColdInput{Thickness: 0.4, UncoverDropK: unit.Some(23)}},
		{"a thin slab stands the same drop", "", ColdInput{Thickness: 0.1, UncoverDropK: unit.Some(23)}},
		{"frozen base", "frozen-ground:act", ColdInput{Thickness: 0.1, GroundFrozen: true}},
	} {
		got := ColdRules(c.in)
		if ids(got) != c.want {
			t.Errorf("%s: %s, not %s", c.name, ids(got), c.want)
		}
		for _, r := range got {
			if len(r.Data) == 0 || r.SourceData.IsZero() || r.Hold != (r.ID == "frozen-ground") {
				t.Errorf("%s: %+v", c.name, r)
			}
			if r.ID == "cold-mix" && c.in.Bag != nil {
				// 36.3 kg at 5 C reach 16 C with water at about 47 C.
				checkedtest.Near(t, bagBalance, "water that helps", r.WaterC.V, 47, 1)
			}
		}
	}
	r := ColdRules(ColdInput{Thickness: 0.075, MixC: unit.Some(0.5), AirC: unit.Some(-5), AirMinC: unit.Some(-9),
		Bag: &BagWater{BagC: -4, BagKg: 36.3, WaterL: 2.8}})
	if len(r) == 0 || r[0].ID != "cold-mix" || r[0].WaterC.Known || r[0].Data[1].Code != RuleWaterTooLittle {
		t.Errorf("water can't help: %+v", r)
	}
}
