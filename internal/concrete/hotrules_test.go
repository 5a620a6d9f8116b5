package concrete

import (
	"math"
	"strings"
	"testing"

	"dryslot/internal/checkedtest"
	"dryslot/internal/unit"
)

func TestHotRules(t *testing.T) {
	for _, c := range []struct {
		name, source, want string
		in                 HotInput
	}{
		{"mild", "ACI 305.1-14, 3.3", "", HotInput{MixC: unit.Some(25), AirMaxC: unit.Some(26), EvapPeak: unit.Some(0.3)}},
		{"nothing known", "ACI 305.1-14, 3.3", "", HotInput{}},
		{"at the limit", "ACI 305.1-14, 3.3", "hot-mix:watch", HotInput{MixC: unit.Some(35)}},
		{"past the limit", "ACI 305.1-14, 3.3", "hot-mix:act", HotInput{MixC: unit.Some(35.1)}},
		{"near it", "from memory: many specifications, 32 C", "hot-mix:watch", HotInput{MixC: unit.Some(33)}},
		{"hot and drying", "ACI 305.1-06, 1.3", "drying:act hot-weather:watch", HotInput{AirMaxC: unit.Some(27), EvapPeak: unit.Some(1.01)}},
		{"hot and still", "ACI 305.1-06, 1.3", "", HotInput{AirMaxC: unit.Some(29), EvapPeak: unit.Some(0.4)}},
		{"hot by the other rule", "NHBC Standards 3.1.15", "hot-weather:watch", HotInput{AirMaxC: unit.Some(31)}},
		{"half the rate", "silicafume.org notes on ACI 305R-91", "drying:watch", HotInput{EvapPeak: unit.Some(0.5)}},
	} {
		got := HotRules(c.in)
		checkedtest.That(t, c.source, ids(got) == c.want, "%s: %s, not %s", c.name, ids(got), c.want)
	}
	// 0.2 lb/ft2/h and 1.0 kg/m2/h are not the same.
	checkedtest.Near(t, "NIST SP 811", "1 kg/m2/h in lb/ft2/h", 1/kgM2PerLbFt2, 0.2048, 0.0001)
	r := HotRules(HotInput{MixC: unit.Some(36), Bag: &BagWater{BagC: 38, BagKg: 36.3, WaterL: 2.8}})
	if !r[0].WaterC.Known || r[0].WaterC.V > 25 || !strings.Contains(r[0].Text, "Water at") {
		t.Errorf("cooler water: %+v", r)
	}
}

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
			checkedtest.Near(t, heatSource, r.Text("T_F")+" F, "+rh+" %", HeatIndex(unit.FromFahrenheit(r.Float("T_F")), h).Fahrenheit(), r.Float("RH"+rh), 0.051)
		}
	}
	for _, c := range [][3]float64{{90, 60, 99.7}, {100, 50, 118.3}, {86, 90, 105.4}, {84, 95, 100.9}, {95, 10, 89.4}, {90, 45, 92.5}, {90, 70, 105.9}, {79.5, 60, 79.7}, {80, 60, 81.8}} {
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
			checkedtest.Near(t, chillSource, r.Text("T_F")+" F, "+column, WindChill(unit.FromFahrenheit(r.Float("T_F")), float64(v)*unit.MSPerMPH).Fahrenheit(), r.Float(column), 0.15)
		}
	}
	for _, c := range [][3]float64{{0, 15, -19}, {30, 10, 21}, {5, 20, -15}, {-15, 25, -44}} {
		checkedtest.Near(t, chillChart, "chart", WindChill(unit.FromFahrenheit(c[0]), c[1]*unit.MSPerMPH).Fahrenheit(), c[2], 0.55)
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
	}{{85, 5, "", false}, {91, 5, "crew-heat:watch", false}, {103.5, 5, "crew-heat:act", true}, {130, 5, "crew-heat:act", true},
		{60, -11, "crew-cold:watch", false}, {60, -28, "crew-cold:act", true}} {
		got := CrewWeather(unit.Some(float64(unit.FromFahrenheit(c.heatF))), unit.Some(c.chillC), true)
		hold := len(got) > 0 && got[0].Hold
		checkedtest.That(t, "NWS bands of heat index and wind chill; holding is judgement", ids(got) == c.want && hold == c.hold, "%+v: %s, hold %v", c, ids(got), hold)
	}
	if got := CrewWeather(unit.Opt{}, unit.Opt{}, true); got != nil {
		t.Errorf("unknown: %v", got)
	}
}

func TestLifting(t *testing.T) {
	const niosh = "from memory: NIOSH lifting equation 1991"
	for lbs, want := range map[float64]float64{80: 1.57, 60: 1.18, 50: 0.98, 40: 0.78} {
		checkedtest.Near(t, niosh, "index of a bag", LiftingIndex(pounds(lbs)), want, 0.006)
		if (LiftRule(pounds(lbs)) == nil) != (want <= 1) {
			t.Errorf("%v lb: %v", lbs, LiftRule(pounds(lbs)))
		}
	}
	// Applications Manual, example 1: a fair grip below knuckle height; exact 16.0 and 14.3 lb.
	checkedtest.Near(t, niosh, "manual example 1, origin", LiftWeight(Lift{HandsOutIn: 23, FromIn: 15, TravelIn: 48, Grip: 0.95}).Pounds(), 16.0, 0.05)
	checkedtest.Near(t, niosh, "manual example 1, destination", LiftWeight(Lift{HandsOutIn: 23, FromIn: 63, TravelIn: 48}).Pounds(), 14.3, 0.05)
	if a, b := LiftWeight(Lift{HandsOutIn: 12, FromIn: 30, TravelIn: 20}), LiftWeight(Lift{HandsOutIn: 12, FromIn: 30, TravelIn: 20, TwistDeg: 45, Frequency: 0.8, Grip: 0.9}); b >= a {
		t.Errorf("twisting, often, with a poor grip allows more: %v, %v", b, a)
	}
}

func TestFlatwork(t *testing.T) {
	const joints = "ACI 302.1R-80, 2.3.2 (concreteconstruction.net)"
	lo, hi := JointSpacing(unit.Metres(4 * unit.MetresPerInch))
	checkedtest.Near(t, joints, "4 in slab, ft", lo.Feet(), 8, 1e-9)
	checkedtest.Near(t, joints, "4 in slab, ft", hi.Feet(), 12, 1e-9)
	least, most := SawDepth(0.1)
	checkedtest.That(t, "CSA A23.1-94, 20.2", least == 0.025 && most > 0.033 && most < 0.034, "%v to %v", least, most)
	for _, c := range []struct {
		source, want string
		l, w, t      unit.Metres
	}{
		{joints, "", 2.4, 2.4, 0.1}, {joints, "panel-long:note", 2.6, 2.4, 0.1}, {joints, "panel-long:watch", 3.7, 2.6, 0.1},
		{joints, "panel-narrow:note", 1.6, 1.0, 0.1}, {"CSA A23.1-94, 20.2", "panel-long:note panel-5m:note", 5.5, 5, 0.2},
		{"ASTM C387-00, 1.1.2.1", "thin:watch", 1, 1, 0.045}, {"International Residential Code R506.1", "thin:note", 1, 1, 0.075},
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

func TestPeopleCautions(t *testing.T) {
	seen := map[string]bool{}
	for _, c := range PeopleCautions() {
		if c.ID == "" || c.When == "" || c.Text == "" || c.Source == "" || seen[c.ID] {
			t.Errorf("%+v", c)
		}
		seen[c.ID] = true
	}
	for _, id := range []string{"alkali-burns", "silica", "lifting", "mixer", "wet-electrics", "thunder", "hot-water", "fuel-heaters", "washout", "breaking-out", "licensed-design", "local-codes"} {
		if !seen[id] {
			t.Errorf("nothing on %s", id)
		}
	}
}
