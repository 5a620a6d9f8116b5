package concrete

import (
	"fmt"

	"dryslot/internal/unit"
)

// Sources of the hot-weather rules.
const (
	aci305Discharge = "ACI 305.1-14, 3.3, and ACI 301-20: 35 C at most as placed"
	manySpecs       = "many specifications (from memory): 32 C at most as placed; ASTM C94 notes difficulty near it"
	aci305Hot       = "ACI 305.1-06, 1.3: air of 27 C or more and evaporation above 1 kg/m2/h"
	nhbcHot         = "NHBC Standards, 3.1.15: hot is air above 30 C"
	aci305Evap      = "ACI 305R: 0.2 lb/ft2/h (1.0 kg/m2/h), half for mixes that bleed little; the estimate is good to plus or minus 40 % (Hover, ACI SP-338, 2020)"
)

// Hot-weather limits in degrees Celsius.
const (
	HotMixMostC  = 35.0 // ACI 305.1-14, 3.3
	HotMixWatchC = 32.0 // many specifications, from memory
	hotAirC      = 27.0 // ACI 305.1-06, 1.3
	hotAirNHBC   = 30.0 // NHBC Standards 3.1.15
)

// HotInput is what the hot-weather rules look at. Unknown values leave their
// rules out.
type HotInput struct {
	MixC     unit.Opt // as mixed
	AirMaxC  unit.Opt // from placing to final set
	EvapPeak unit.Opt // kg/m2/h, from placing to initial set
	Bag      *BagWater
}

// HotRules returns the hot-weather and drying rules that a pour touches, most
// pressing first.
func HotRules(in HotInput) []Rule {
	var rules []Rule
	if m := in.MixC; m.Known && m.V > HotMixWatchC {
		r := Rule{ID: "hot-mix", Severity: Watch, Source: manySpecs, Figure: figure("mix_c", m.V, HotMixWatchC),
			Text: "The mix comes to " + both(unit.Celsius(m.V)) + " and sets fast."}
		if m.V > HotMixMostC {
			r.Severity, r.Source, r.Figure = Act, aci305Discharge, figure("mix_c", m.V, HotMixMostC)
		}
		text, water := coolerWater(in.Bag)
		r.Text += text
		r.WaterC = water
		rules = append(rules, r)
	}
	if e := in.EvapPeak; e.Known && e.V >= EvaporationWatch {
		rules = append(rules, EvaporationRule(e.V))
	}
	if a := in.AirMaxC; a.Known {
		switch {
		case a.V >= hotAirC && in.EvapPeak.Known && in.EvapPeak.V > EvaporationAct:
			rules = append(rules, Rule{ID: "hot-weather", Severity: Watch, Source: aci305Hot, Figure: figure("air_max_c", a.V, hotAirC),
				Text: "Hot, drying weather: damp the base, shade bags and water, start early, finish and cure without a pause."})
		case a.V > hotAirNHBC:
			rules = append(rules, Rule{ID: "hot-weather", Severity: Watch, Source: nhbcHot, Figure: figure("air_max_c", a.V, hotAirNHBC),
				Text: "The air passes " + both(hotAirNHBC) + ": keep clear of midday, damp the base, shade bags and water."})
		}
	}
	return rules
}

// EvaporationRule speaks of a rate of EvaporationWatch or more.
func EvaporationRule(rate float64) Rule {
	r := Rule{ID: "drying", Severity: Watch, Source: aci305Evap, Figure: figure("evap_peak_kg_m2_h", rate, EvaporationWatch),
		Text: fmt.Sprintf("The surface dries at about %.2f kg/m2/h (%.2f lb/ft2/h, plus or minus 40 %%): have film and a fogger at hand.", rate, rate/kgM2PerLbFt2)}
	if rate >= EvaporationAct {
		r.Severity, r.Figure = Act, figure("evap_peak_kg_m2_h", rate, EvaporationAct)
		r.Text = fmt.Sprintf("The surface dries at about %.2f kg/m2/h (%.2f lb/ft2/h, plus or minus 40 %%) and may crack before it sets: break the wind, shade it, lay film between strike-off and finishing, or start at a cooler, calmer hour.", rate, rate/kgM2PerLbFt2)
	}
	return r
}

const kgM2PerLbFt2 = unit.KilogramsPerPound / (unit.MetresPerFoot * unit.MetresPerFoot)

// coolerWater says what water would bring a mix down to the limit.
func coolerWater(b *BagWater) (string, unit.Opt) {
	const otherwise = " Cool the water with ice, keep bags in the shade, start before dawn."
	if b == nil {
		return otherwise, unit.Opt{}
	}
	e, err := WaterFor(HotMixWatchC, b.BagC, b.BagKg, b.WaterL, 0)
	if err != nil || !e.Allowed {
		return otherwise, unit.Opt{}
	}
	return " Water at " + both(e.WaterC) + " brings it to " + both(HotMixWatchC) + "; keep bags in the shade.", unit.Some(float64(e.WaterC))
}
