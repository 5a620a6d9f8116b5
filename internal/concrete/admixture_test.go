package concrete

import (
	"testing"
	"time"

	"dryslot/internal/checkedtest"
)

func TestAdmixtures(t *testing.T) {
	const c494 = "ASTM C494, from memory"
	plain, err := SetTimes(labelC, "general", 0.5, "broom")
	if err != nil {
		t.Fatal(err)
	}
	for kind, moves := range map[Admixture][2]float64{Retarder: {1, 3.5}, Accelerator: {-3.5, -1}, Plain: {0, 0}} {
		set, age := AdmixtureFactors(kind)
		checkedtest.Between(t, c494, string(kind)+", h", (set-1)*plain.InitialH, moves[0], moves[1])
		// Strength at 3 days over that of plain concrete.
		r := ACI209Gain(4, 0.85, 3*age) / ACI209Gain(4, 0.85, 3)
		want := map[Admixture][2]float64{Retarder: {0.895, 0.95}, Accelerator: {1.1, 1.25}, Plain: {1, 1}}[kind]
		checkedtest.Between(t, c494, string(kind)+", strength at 3 days", r, want[0], want[1])
	}
}

// A label's own time comes out again at the label's temperature.
func TestLabelsOwnTimes(t *testing.T) {
	c := casting(steady(100, 22, 60, 1, 100, 0), 22)
	c.Mix.SetFactor = LabelSetFactor("general", c.Mix.WaterCement, 45)
	c.Mix.AgeFactor = LabelAgeFactor(3)
	b := Behave(c)
	checkedtest.Near(t, "label: initial set at 45 min", "min", b.InitialSet.Minutes(), 45, 6)
	if !(b.WalkFrom >= 2*time.Hour && b.WalkFrom < 8*time.Hour) {
		t.Errorf("label: walked on after 3 h; %v", b.WalkFrom)
	}
	if LabelSetFactor("general", 0.5, 0) != 1 || LabelAgeFactor(0) != 1 || LabelAgeFactor(48) != 1 {
		t.Error("a label without times changes them")
	}
}

func TestSlumpWater(t *testing.T) {
	// A gallon in a cubic yard for an inch: 4.95 L in a m3 for 25.4 mm.
	checkedtest.Near(t, "trade rule, from memory", "L a bag", SlumpWater(50, 150, 17), 4*5*0.017, 1e-9)
}
