package concrete

import (
	"math"

	"dryslot/internal/message"
	"dryslot/internal/unit"
)

// HeatIndex returns how hot air feels in the shade in a light wind, by the
// Rothfusz regression with its adjustments (NWS SR 90-23, as
// wpc.ncep.noaa.gov gives it); below 80 F by the simple formula that the same
// page puts before it. humidityPct is 0 to 100. Good to about 1 F within the
// NWS chart (80 to 110 F); beyond it runs away upwards. Full sun adds up to
// 15 F (8 C).
func HeatIndex(air unit.Celsius, humidityPct float64) unit.Celsius {
	t, r := air.Fahrenheit(), humidityPct
	simple := 0.5 * (t + 61 + (t-68)*1.2 + r*0.094)
	if hi := (simple + t) / 2; hi < 80 {
		return unit.FromFahrenheit(hi)
	}
	hi := -42.379 + 2.04901523*t + 10.14333127*r - 0.22475541*t*r - 0.00683783*t*t - 0.05481717*r*r +
		0.00122874*t*t*r + 0.00085282*t*r*r - 0.00000199*t*t*r*r
	switch {
	case r < 13 && t >= 80 && t <= 112:
		hi -= (13 - r) / 4 * math.Sqrt((17-math.Abs(t-95))/17)
	case r > 85 && t >= 80 && t <= 87:
		hi += (r - 85) / 10 * (87 - t) / 5
	}
	return unit.FromFahrenheit(hi)
}

// WindChill returns how cold air feels on bare skin (NWS 2001, the same as
// Environment Canada's). windMS is the mean wind at 10 m in m/s. It is defined
// for air at or below 50 F (10 C) and 3 mph (1.34 m/s) or more: outside of
// that it returns the air's own temperature.
func WindChill(air unit.Celsius, windMS float64) unit.Celsius {
	if air > 10 || !(windMS >= 3*unit.MSPerMPH) {
		return air
	}
	v := math.Pow(windMS/unit.MSPerKMH, 0.16)
	return unit.Celsius(13.12 + 0.6215*float64(air) - 11.37*v + 0.3965*float64(air)*v)
}

// heatBands are the lower ends of the NWS bands: caution, extreme caution,
// danger, extreme danger (80, 90, 103 and 125 F).
var heatBands = [4]unit.Celsius{80.0/1.8 - 32/1.8, 90.0/1.8 - 32/1.8, 103.0/1.8 - 32/1.8, 125.0/1.8 - 32/1.8}

// sunAddsK is what full sun adds to the heat index at most: 15 F (NWS).
const sunAddsK = unit.TempDiff(15 / 1.8)

// frostbiteC is the wind chill from which bare skin freezes within half an
// hour, -18 F; chillyC is where bare hands stop working well (judgement).
const (
	frostbiteC = (-18 - 32) / 1.8
	chillyC    = -10.0
)

// CrewWeather returns what the worst hour of the work means for the crew:
// heat by the shade figure, with the sun spoken of where there is some, and
// wind chill. In the band "danger" (heat index 103 F) and at frostbite within
// half an hour the rule holds the pour (judgement). Unknown values leave
// their rule out. nil: nothing to say.
func CrewWeather(heatIndex, windChill unit.Opt, sunny bool) []Rule {
	var rules []Rule
	if h := heatIndex; h.Known && unit.Celsius(h.V) >= heatBands[1] {
		hot := unit.Celsius(h.V)
		r := Rule{ID: "crew-heat", Severity: Watch, SourceData: message.New(sourceCrewHeat),
			Figure: figure("heat_index_c", h.V, float64(heatBands[1])),
			Data:   says(message.New(RuleCrewHeat, message.Temperature("feels", hot)))}
		if hot >= heatBands[2] {
			r.Severity, r.Hold, r.Figure = Act, true, figure("heat_index_c", h.V, float64(heatBands[2]))
			r.Data = says(message.New(RuleCrewHeatHold, message.Temperature("feels", hot)))
		}
		if sunny {
			r.Data = append(r.Data, message.New(RuleCrewSun, message.Difference("more", sunAddsK)))
		}
		rules = append(rules, r)
	}
	if w := windChill; w.Known && w.V <= chillyC {
		r := Rule{ID: "crew-cold", Severity: Watch, SourceData: message.New(sourceCrewCold),
			Figure: figure("wind_chill_c", w.V, chillyC),
			Data:   says(message.New(RuleCrewCold, message.Temperature("feels", unit.Celsius(w.V))))}
		if w.V <= frostbiteC {
			r.Severity, r.Hold, r.Figure = Act, true, figure("wind_chill_c", w.V, frostbiteC)
			r.Data = says(message.New(RuleCrewColdHold, message.Temperature("feels", unit.Celsius(w.V))))
		}
		rules = append(rules, r)
	}
	return rules
}
