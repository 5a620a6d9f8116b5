package concrete

import (
	"time"

	"dryslot/internal/message"
	"dryslot/internal/unit"
)

// Sources of the hot-weather rules.
const (
	aci305Discharge = "ACI 305.1-14, 3.3, and ACI 301-20: 35 C at most as placed"
	manySpecs       = "many specifications (from memory): 32 C at most as placed; ASTM C94 notes difficulty near it"
	aci305Hot       = "ACI 305.1-06, 1.3: air of 27 C or more and evaporation above 1 kg/m2/h"
	nhbcHot         = "NHBC Standards, 3.1.15: hot is air above 30 C"
	aci305Evap      = "ACI 305R: 0.2 lb/ft2/h (1.0 kg/m2/h), half for mixes that bleed little; " +
		"the estimate is good to plus or minus 40 % (Hover, ACI SP-338, 2020)"
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
			Data: says(message.New(RuleHotMix, message.Temperature("mix", unit.Celsius(m.V))))}
		if m.V > HotMixMostC {
			r.Severity, r.Source, r.Figure = Act, aci305Discharge, figure("mix_c", m.V, HotMixMostC)
		}
		how, water := coolerWater(in.Bag)
		r.Data, r.WaterC = append(r.Data, how), water
		rules = append(rules, r)
	}
	if e := in.EvapPeak; e.Known && e.V >= EvaporationWatch {
		rules = append(rules, EvaporationRule(e.V))
	}
	if a := in.AirMaxC; a.Known {
		switch {
		case a.V >= hotAirC && in.EvapPeak.Known && in.EvapPeak.V > EvaporationAct:
			rules = append(rules, Rule{ID: "hot-weather", Severity: Watch, Source: aci305Hot,
				Figure: figure("air_max_c", a.V, hotAirC),
				Data:   says(message.New(RuleHotDrying))})
		case a.V > hotAirNHBC:
			rules = append(rules, Rule{ID: "hot-weather", Severity: Watch, Source: nhbcHot,
				Figure: figure("air_max_c", a.V, hotAirNHBC),
				Data:   says(message.New(RuleHotAir, message.Temperature("limit", hotAirNHBC)))})
		}
	}
	return rules
}

// EvaporationRule speaks of a rate of EvaporationWatch or more.
func EvaporationRule(rate float64) Rule {
	told := message.Evaporation("rate", rate)
	if rate >= EvaporationAct {
		return Rule{ID: "drying", Severity: Act, Source: aci305Evap, Figure: figure("evap_peak_kg_m2_h", rate,
			EvaporationAct),
			Data: says(message.New(RuleDryingAct, told))}
	}
	return Rule{ID: "drying", Severity: Watch, Source: aci305Evap, Figure: figure("evap_peak_kg_m2_h", rate,
		EvaporationWatch),
		Data: says(message.New(RuleDryingWatch, told))}
}

// CrustRule speaks of a surface that stiffens while the concrete below is soft.
func CrustRule(risk float64, at time.Time) Rule {
	return Rule{ID: "crust", Severity: Watch,
		Source: "judgement on the accuracy of the evaporation estimate (Hover, ACI SP-338, 2020)",
		Figure: figure("crust_risk", risk, CrustWorthSaying), Data: says(message.New(RuleCrust, message.Chance("",
			risk), message.At("", at)))}
}

// CrustWorthSaying is the risk of a crust from which on it is told (judgement).
const CrustWorthSaying = 0.2

// coolerWater says what water would bring a mix down to the limit.
func coolerWater(b *BagWater) (message.Message, unit.Opt) {
	if b == nil {
		return message.New(RuleCoolOtherwise), unit.Opt{}
	}
	e, err := WaterFor(HotMixWatchC, b.BagC, b.BagKg, b.WaterL, 0)
	if err != nil || !e.Allowed {
		return message.New(RuleCoolOtherwise), unit.Opt{}
	}
	return message.New(RuleCoolWater, message.Temperature("water", e.WaterC), message.Temperature("limit",
		HotMixWatchC)), unit.Some(float64(e.WaterC))
}
