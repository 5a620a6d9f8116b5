package api

import (
	"context"
	"net/http"

	"dryslot/internal/concrete"
	"dryslot/internal/fault"
	"dryslot/internal/message"
	"dryslot/internal/pour"
	"dryslot/internal/unit"
	"dryslot/internal/web"
)

type evaporationIn struct {
	AirC        number `query:"air_c"`
	ConcreteC   number `query:"concrete_c"`
	HumidityPct number `query:"humidity_pct"`
	WindMS      number `query:"wind_m_s" doc:"Mean wind at the slab, not at 10 m"`
}

type evaporationView struct {
	Rate        float64           `json:"rate_kg_m2_h"`
	Low         float64           `json:"low_kg_m2_h" doc:"The estimate's own accuracy"`
	High        float64           `json:"high_kg_m2_h"`
	Uno         *float64          `json:"uno_kg_m2_h" doc:"By Uno's formula, for comparison"`
	Method      string            `json:"method"`
	Caution     *string           `json:"caution"`
	CautionData []message.Message `json:"caution_data" doc:"The same as codes with their figures, one a sentence"`
}

type mixIn struct {
	BagC    number `query:"bag_c"`
	WaterC  number `query:"water_c" doc:"Or wanted_c"`
	WantedC number `query:"wanted_c" doc:"Asks for the water's temperature instead of giving it"`
	BagKg   number `query:"bag_kg"`
	WaterL  number `query:"water_l" doc:"Without the ice"`
	IceKg   number `query:"ice_kg" doc:"0 when absent"`
}

type mixView struct {
	MixC        float64           `json:"mix_c"`
	WaterC      float64           `json:"water_c"`
	Allowed     bool              `json:"allowed" doc:"false: water or ice beyond what may be used; caution says why"`
	Caution     *string           `json:"caution"`
	CautionData []message.Message `json:"caution_data" doc:"The same as codes with their figures, one a sentence"`
}

type setIn struct {
	ConcreteC   number `query:"concrete_c"`
	Cement      string `query:"cement" default:"general" doc:"general, rapid or slow"`
	WaterCement number `query:"water_cement" doc:"By mass"`
	Finish      string `query:"finish" default:"broom" doc:"broom or trowel"`
}

type setView struct {
	InitialH     float64 `json:"initial_h"`
	FinalH       float64 `json:"final_h"`
	FinishFromH  float64 `json:"finish_from_h"`
	FinishUntilH float64 `json:"finish_until_h"`
}

func (s *server) concreteRoutes() {
	handle(s, route{method: http.MethodGet, path: "/v1/concrete/evaporation", id: "evaporation",
		summary: "Drying of a wet slab (Menzel)"}, evaporation)
	handle(s, route{method: http.MethodGet, path: "/v1/concrete/mix-temperature", id: "mix-temperature",
		summary: "Temperature of a mix, or of the water for a wanted one"}, mixTemperature)
	handle(s, route{method: http.MethodGet, path: "/v1/concrete/set-time", id: "set-time",
		summary: "Setting at a steady temperature"}, setTime)
}

func evaporation(_ context.Context, c *call, in *evaporationIn) (*reply[evaporationView], error) {
	var l fault.List
	air, slab := in.AirC.float(&l, "air_c"), in.ConcreteC.float(&l, "concrete_c")
	humidity, wind := in.HumidityPct.float(&l, "humidity_pct"), in.WindMS.float(&l, "wind_m_s")
	e, err := concrete.Evaporation(unit.Celsius(slab), unit.Celsius(air), humidity, wind)
	if err := pour.Together(l.Broken(concrete.EvaporationUnknown), err); err != nil {
		return nil, err
	}
	v := &evaporationView{Rate: e.RateKgM2H, Low: e.LowKgM2H, High: e.HighKgM2H, Method: e.Method,
		Caution: someText(c.anyones().SayAll(e.Cautions)), CautionData: listed(e.Cautions)}
	if e.UnoKgM2H.Known {
		v.Uno = &e.UnoKgM2H.V
	}
	return &reply[evaporationView]{Body: v}, nil
}

func mixTemperature(_ context.Context, c *call, in *mixIn) (*reply[mixView], error) {
	var l fault.List
	bag, kg, water := unit.Celsius(in.BagC.float(&l, "bag_c")), unit.Kilograms(in.BagKg.float(&l, "bag_kg")),
		in.WaterL.float(&l, "water_l")
	var ice unit.Kilograms
	if in.IceKg.Set {
		ice = unit.Kilograms(in.IceKg.float(&l, "ice_kg"))
	}
	var m concrete.MixEstimate
	var err error
	switch {
	case in.WaterC.Set && in.WantedC.Set:
		l.Break("wanted_c", web.Cut(in.WantedC.Raw), fault.RuleOf(NotBeside, message.Text("other", "water_c")))
		_, err = concrete.WaterFor(0, bag, kg, water, ice)
	case in.WantedC.Set:
		m, err = concrete.WaterFor(unit.Celsius(in.WantedC.float(&l, "wanted_c")), bag, kg, water, ice)
	default:
		m, err = concrete.BagMix(bag, unit.Celsius(in.WaterC.float(&l, "water_c")), kg, water, ice)
	}
	if err := pour.Together(l.Broken(concrete.MixUnknown), err); err != nil {
		return nil, err
	}
	return &reply[mixView]{Body: &mixView{MixC: float64(m.MixC), WaterC: float64(m.WaterC), Allowed: m.Allowed,
		Caution: someText(c.anyones().SayAll(m.Cautions)), CautionData: listed(m.Cautions)}}, nil
}

func setTime(_ context.Context, _ *call, in *setIn) (*reply[setView], error) {
	var l fault.List
	slab, ratio := in.ConcreteC.float(&l, "concrete_c"), in.WaterCement.float(&l, "water_cement")
	t, err := concrete.SetTimes(unit.Celsius(slab), in.Cement, ratio, in.Finish)
	if err := pour.Together(l.Broken(concrete.SettingUnknown), err); err != nil {
		return nil, err
	}
	return &reply[setView]{Body: &setView{InitialH: t.InitialH, FinalH: t.FinalH, FinishFromH: t.FinishFromH,
		FinishUntilH: t.FinishUntilH}}, nil
}
