package concrete

import (
	"time"

	"dryslot/internal/message"
	"dryslot/internal/unit"
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
		r := Rule{ID: "hot-mix", Severity: Watch, SourceData: message.New(sourceHotMix),
			Figure: figure("mix_c", m.V, HotMixWatchC),
			Data:   says(message.New(RuleHotMix, message.Temperature("mix", unit.Celsius(m.V))))}
		if m.V > HotMixMostC {
			r.Severity, r.SourceData = Act, message.New(sourceHotDischarge)
			r.Figure = figure("mix_c", m.V, HotMixMostC)
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
			rules = append(rules, Rule{ID: "hot-weather", Severity: Watch, SourceData: message.New(sourceHotWeather),
				Figure: figure("air_max_c", a.V, hotAirC),
				Data:   says(message.New(RuleHotDrying))})
		case a.V > hotAirNHBC:
			rules = append(rules, Rule{ID: "hot-weather", Severity: Watch, SourceData: message.New(sourceHotAir),
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
		return Rule{ID: "drying", Severity: Act, SourceData: message.New(SourceEvaporation),
			Figure: figure("evap_peak_kg_m2_h", rate, EvaporationAct),
			Data:   says(message.New(RuleDryingAct, told))}
	}
	return Rule{ID: "drying", Severity: Watch, SourceData: message.New(SourceEvaporation),
		Figure: figure("evap_peak_kg_m2_h", rate, EvaporationWatch),
		Data:   says(message.New(RuleDryingWatch, told))}
}

// CrustRule speaks of a surface that stiffens while the concrete below is soft.
func CrustRule(risk float64, at time.Time) Rule {
	return Rule{ID: "crust", Severity: Watch,
		SourceData: message.New(sourceCrust),
		Figure:     figure("crust_risk", risk, CrustWorthSaying), Data: says(message.New(RuleCrust, message.Chance("",
			risk), message.At("", at)))}
}

// CrustWorthSaying is the least risk of a crust that is shown (judgement).
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
