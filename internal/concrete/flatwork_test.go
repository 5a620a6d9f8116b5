package concrete

import (
	"testing"

	"dryslot/internal/checkedtest"
	"dryslot/internal/unit"
)

func TestFlatwork(t *testing.T) {
	const joints = "ACI 302.1R-80, 2.3.2 (concreteconstruction.net)"
	lo, hi := JointSpacing(unit.Metres(4 * unit.MetresPerInch))
	checkedtest.Near(t, joints, "4 in slab, ft", lo.Feet(), 8, 1e-9)
	checkedtest.Near(t, joints, "4 in slab, ft", hi.Feet(), 12, 1e-9)
	for _, c := range []struct {
		source, want string
		l, w, t      unit.Metres
	}{
		{joints, "", 2.4, 2.4, 0.1}, {joints, "panel-long:note", 2.6, 2.4, 0.1}, {joints, "panel-long:watch", 3.7,
			2.6, 0.1},
		{joints, "panel-narrow:note", 1.6, 1.0, 0.1}, {"CSA A23.1-94, 20.2", "panel-long:note panel-5m:note", 5.5, 5,
			0.2},
		{"ASTM C387-00, 1.1.2.1", "thin:watch", 1, 1, 0.045}, {"International Residential Code R506.1", "thin:note",
			1, 1, 0.075},
		{"International Residential Code R506.1", "", 1, 1, unit.Metres(3.5 * unit.MetresPerInch)},
	} {
		got := PanelRules(c.l, c.w, c.t)
		checkedtest.That(t, c.source, ids(got) == c.want, "%v: %s", c, ids(got))
	}
	if ids(FinishRules("trowel", true)) != "trowel-air:watch air-entrained:note" || FinishRules("broom", false) != nil {
		t.Error("finish rules")
	}
}

func TestExtraWater(t *testing.T) {
	// One US gallon in a cubic yard costs 150 to 200 psi; an 80 lb bag gives 0.6 ft3, 45 to the yard.
	const trade = "supplier's rule: 150 to 200 psi for a gallon in a cubic yard"
	lo, hi := ExtraWaterLoss(unit.LitresPerGallon/45, 27.0/45*28.316846592)
	checkedtest.Near(t, trade, "least, MPa", lo, 150*0.00689475729, 1e-6)
	checkedtest.Near(t, trade, "most, MPa", hi, 200*0.00689475729, 1e-6)
	// Half a quart a bag wetter than the label: 5.6 gallons in a cubic yard.
	lo, hi = ExtraWaterLoss(unit.LitresPerQuart/2, 17)
	checkedtest.Between(t, checkedtest.CommonPractice, "half a quart, least MPa", lo, 5.6, 6.0)
	checkedtest.Between(t, checkedtest.CommonPractice, "half a quart, most MPa", hi, 7.5, 8.0)
	if a, b := ExtraWaterLoss(-1, 17); a != 0 || b != 0 {
		t.Errorf("less water: %v, %v", a, b)
	}
}
