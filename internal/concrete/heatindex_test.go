package concrete

import (
	"math"
	"testing"

	"dryslot/internal/checkedtest"
	"dryslot/internal/unit"
)

const (
	heatSource  = "NWS SR 90-23 (Rothfusz), computed"
	heatChart   = "NWS heat index chart"
	chillSource = "NWS wind chill 2001, computed"
	chillChart  = "NWS wind chill chart"
)

func TestHeatIndexTable(t *testing.T) {
	for _, r := range checkedtest.Rows(t, "handbook/heat_index_calc.csv") {
		for _, rh := range []string{"40", "45", "50", "55", "60", "65", "70", "75", "80", "85", "90", "95", "100"} {
			var h float64
			for _, c := range rh {
				h = h*10 + float64(c-'0')
			}
			checkedtest.Near(t, heatSource, r.Text("T_F")+" F, "+rh+" %",
				HeatIndex(unit.FromFahrenheit(r.Float("T_F")), h).Fahrenheit(), r.Float("RH"+rh), 0.051)
		}
	}
	for _, c := range [][3]float64{{90, 60, 99.7}, {100, 50, 118.3}, {86, 90, 105.4}, {84, 95, 100.9}, {95, 10, 89.4},
		{90, 45, 92.5}, {90, 70, 105.9}, {79.5, 60, 79.7}, {80, 60, 81.8}} {
		checkedtest.Near(t, heatSource, "worked", HeatIndex(unit.FromFahrenheit(c[0]), c[1]).Fahrenheit(), c[2], 0.051)
	}
	for _, c := range [][3]float64{{90, 45, 93}, {90, 70, 105}} {
		checkedtest.Near(t, heatChart, "chart", HeatIndex(unit.FromFahrenheit(c[0]), c[1]).Fahrenheit(), c[2], 1)
	}
}

func TestWindChillTable(t *testing.T) {
	for _, r := range checkedtest.Rows(t, "handbook/wind_chill_calc.csv") {
		for v := 5; v <= 60; v += 5 {
			column := "V" + number(float64(v)) + "_mph"
			// The metric form's own rounded coefficients: 0.06 F at the far corner.
			checkedtest.Near(t, chillSource, r.Text("T_F")+" F, "+column,
				WindChill(unit.FromFahrenheit(r.Float("T_F")), float64(v)*unit.MSPerMPH).Fahrenheit(),
				r.Float(column), 0.15)
		}
	}
	for _, c := range [][3]float64{{0, 15, -19}, {30, 10, 21}, {5, 20, -15}, {-15, 25, -44}} {
		checkedtest.Near(t, chillChart, "chart", WindChill(unit.FromFahrenheit(c[0]),
			c[1]*unit.MSPerMPH).Fahrenheit(), c[2], 0.55)
	}
	checkedtest.Near(t, chillSource, "-10 C, 20 km/h", float64(WindChill(-10, 20*unit.MSPerKMH)), -17.9, 0.05)
	if WindChill(11, 10) != 11 || WindChill(-5, 1) != -5 || WindChill(-5, math.NaN()) != -5 {
		t.Error("out of its range wind chill is the air's temperature")
	}
}

func TestCrewWeatherCanHold(t *testing.T) {
	for _, c := range []struct {
		heatF, chillC float64
		want          string
		hold          bool
	}{{85, 5, "", false}, {91, 5, "crew-heat:watch", false}, {103.5, 5, "crew-heat:act", true}, {130, 5,
		"crew-heat:act", true},
		{60, -11, "crew-cold:watch", false}, {60, -28, "crew-cold:act", true}} {
		got := CrewWeather(unit.Some(float64(unit.FromFahrenheit(c.heatF))), unit.Some(c.chillC), true)
		hold := len(got) > 0 && got[0].Hold
		checkedtest.That(t, "NWS bands of heat index and wind chill; holding is judgement", ids(got) == c.want &&
			hold == c.hold, "%+v: %s, hold %v", c, ids(got), hold)
	}
	if got := CrewWeather(unit.Opt{}, unit.Opt{}, true); got != nil {
		t.Errorf("unknown: %v", got)
	}
}
