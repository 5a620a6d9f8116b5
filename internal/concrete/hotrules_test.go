package concrete

import (
	"testing"

	"dryslot/internal/checkedtest"
	"dryslot/internal/unit"
)

func TestHotRules(t *testing.T) {
	for _, c := range []struct {
		name, source, want string
		in                 HotInput
	}{
		{"mild", "ACI 305.1-14, 3.3", "", HotInput{MixC: unit.Some(25), AirMaxC: unit.Some(26),
			EvapPeak: unit.Some(0.3)}},
		{"nothing known", "ACI 305.1-14, 3.3", "", HotInput{}},
		{"at the limit", "ACI 305.1-14, 3.3", "hot-mix:watch", HotInput{MixC: unit.Some(35)}},
		{"past the limit", "ACI 305.1-14, 3.3", "hot-mix:act", HotInput{MixC: unit.Some(35.1)}},
		{"near it", "from memory: many specifications, 32 C", "hot-mix:watch", HotInput{MixC: unit.Some(33)}},
		{"hot and drying", "ACI 305.1-06, 1.3", "drying:act hot-weather:watch", HotInput{AirMaxC: unit.Some(27),
			EvapPeak: unit.Some(1.01)}},
		{"hot and still", "ACI 305.1-06, 1.3", "", HotInput{AirMaxC: unit.Some(29), EvapPeak: unit.Some(0.4)}},
		{"hot by the other rule", "NHBC Standards 3.1.15", "hot-weather:watch", HotInput{AirMaxC: unit.Some(31)}},
		{"half the rate", "silicafume.org notes on ACI 305R-91", "drying:watch", HotInput{EvapPeak: unit.Some(0.5)}},
	} {
		got := HotRules(c.in)
		checkedtest.That(t, c.source, ids(got) == c.want, "%s: %s, not %s", c.name, ids(got), c.want)
	}
	// 0.2 lb/ft2/h and 1.0 kg/m2/h are not the same.
	const lbFt2 = unit.KilogramsPerPound / (unit.MetresPerFoot * unit.MetresPerFoot)
	checkedtest.Near(t, "NIST SP 811", "1 kg/m2/h in lb/ft2/h", 1/lbFt2, 0.2048, 0.0001)
	r := HotRules(HotInput{MixC: unit.Some(36), Bag: &BagWater{BagC: 38, BagKg: 36.3, WaterL: 2.8}})
	if !r[0].WaterC.Known || r[0].WaterC.V > 25 || r[0].Data[1].Code != RuleCoolWater {
		t.Errorf("cooler water: %+v", r)
	}
}
