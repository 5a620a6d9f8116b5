package physics

import (
	"fmt"
	"math"

	"dryslot/internal/planner/job"
)

// slabOf is a slab of the default mix, its bags and water at one temperature.
func slabOf(thick float64, ground string, mix float64) slabCase {
	return slabCase{Thick: thick, Ground: ground, Cement: "general", WC: 2.8 / 5.445, KgM3: 5.445 / 17 * 1000,
		Mix: mix, WindF: 0.55, SetFactor: 1}
}

func mixAt(c float64, more string) string {
	return fmt.Sprintf(`"mix":{"bag_temperature_c":%g,"water_temperature_c":%g%s}`, c, c, more)
}

func on(ground string) string { return fmt.Sprintf(`,"site":{"subgrade":%q}`, ground) }

// steady is weather that does not change, overcast and without sun.
func steady(air, humidity, wind float64) sky {
	return sky{air: flat(air), humidity: flat(humidity), wind: flat(wind), cloud: flat(100), sun: arc(0)}
}

func under(air func(float64) float64, humidity, wind, cloud, sun float64) sky {
	return sky{air: air, humidity: flat(humidity), wind: flat(wind), cloud: flat(cloud), sun: arc(sun)}
}

func with(c slabCase, f func(*slabCase)) slabCase {
	f(&c)
	return c
}

// figureOf returns a caution's figure; NaN where it is not told.
func figureOf(code string) func(*answers) float64 {
	return func(a *answers) float64 {
		for _, c := range a.Morning.Cautions {
			if c.Code == code && c.Figure != nil {
				return c.Figure.Value
			}
		}
		for _, r := range a.Takeoff.Project.Cautions {
			if r.ID == code && r.Figure != nil {
				return r.Figure.Value
			}
		}
		return math.NaN()
	}
}

// told returns the share of the members in which a caution holds; 0: it is not told.
func told(code string) func(*answers) float64 {
	return func(a *answers) float64 {
		for _, c := range a.Morning.Cautions {
			if c.Code == code {
				if c.Share != nil {
					return *c.Share
				}
				return 1
			}
		}
		return 0
	}
}

// known is a figure of a morning; NaN where there is none.
func known(of func(*job.Morning) *float64) func(*answers) float64 {
	return func(a *answers) float64 {
		if v := of(&a.Morning); v != nil {
			return *v
		}
		return math.NaN()
	}
}

// first is a figure of the first pad planned, in hours after its placing begins.
func first(of func(*job.PadTimes) float64) func(*answers) float64 {
	return func(a *answers) float64 {
		if len(a.Morning.Pads) == 0 {
			return math.NaN()
		}
		return of(&a.Morning.Pads[0])
	}
}

func scenarios() []scenario {
	return append(append(slabScenarios(), harmScenarios()...), tradeScenarios()...)
}

func slabScenarios() []scenario {
	day := wave(15, 5)
	return []scenario{
		{name: "mild", spec: mixAt(15, ""), sky: under(day, 60, 2.5, 30, 700), slab: slabOf(0.1, "sand", 15)},
		{name: "hot and windy", spec: mixAt(29, "") + on("gravel"), sky: under(wave(32, 4), 25, 7, 5, 900),
			slab: slabOf(0.1, "gravel", 29)},
		{name: "hot and still", spec: mixAt(28, "") + on("clay"), sky: under(wave(28, 4), 50, 1, 20, 800),
			slab: slabOf(0.0889, "clay", 28)},
		{name: "cool", spec: mixAt(13, "") + on("soil"), sky: under(wave(8, 3), 80, 3, 90, 150), slab: slabOf(0.1016,
			"soil", 13)},
		{name: "clear night", spec: mixAt(14, ""), sky: under(wave(12, 6), 55, 1, 2, 600), slab: slabOf(0.0508,
			"sand", 14)},
		{name: "windy and dry", spec: mixAt(17, ""), sky: under(wave(17, 5), 25, 8, 20, 850), slab: slabOf(0.1,
			"sand", 17)},
		{name: "warm mix on cold ground", spec: mixAt(20, "") + on("clay"), sky: under(wave(8, 3), 80, 3, 90, 150),
			slab: slabOf(0.1016, "clay", 20)},
		{name: "two inches", spec: mixAt(16, "") + on("gravel"), sky: under(wave(16, 4), 70, 4, 60, 600),
			slab: slabOf(0.0508, "gravel", 16)},
		{name: "six inches", spec: mixAt(16, "") + on("clay"), sky: under(wave(16, 4), 70, 4, 60, 600),
			slab: slabOf(0.1524, "clay", 16)},
		{name: "rapid cement", spec: mixAt(12, `,"cement":"rapid"`), sky: under(wave(12, 4), 70, 3, 60, 400),
			slab: with(slabOf(0.1, "sand", 12), func(c *slabCase) { c.Cement = "rapid" })},
		{name: "slow cement", spec: mixAt(18, `,"cement":"slow"`), sky: under(wave(18, 4), 70, 3, 60, 400),
			slab: with(slabOf(0.1, "sand", 18), func(c *slabCase) { c.Cement = "slow" })},
		{name: "blanket in frost", spec: mixAt(18,
			"") + `,"stock":{"covers":[{"kind":"blanket","pads":4}]},"practice":{"base_cover":"blanket"}`,
			sky: under(wave(4, 5), 75, 2, 60, 300), slab: slabOf(0.1, "sand", 18)},
		{name: "shade until noon", spec: mixAt(14, "") + `,"site":{"morning_shade_until":"12:00"}`,
			sky:  under(wave(14, 5), 60, 2, 10, 900),
			slab: with(slabOf(0.1, "sand", 14), func(c *slabCase) { c.shadeUntil = 12 })},
		{name: "shade all day", spec: mixAt(14, "") + `,"site":{"shade":[{"from":"00:00","until":"23:59"}]}`,
			sky:  under(wave(14, 5), 60, 2, 10, 900),
			slab: with(slabOf(0.1, "sand", 14), func(c *slabCase) { c.shadeUntil = 24 })},
		{name: "shade net", spec: mixAt(20, "") + `,"practice":{"shade":true}`, sky: under(wave(20, 5), 60, 2, 10, 900),
			slab: with(slabOf(0.1, "sand", 20), func(c *slabCase) { c.shadeLeft = 0.2 })},
		{name: "windbreak", spec: mixAt(22, "") + `,"practice":{"windbreak":true}`, sky: under(wave(22, 5), 40, 7, 30,
			500),
			slab: with(slabOf(0.1, "sand", 22), func(c *slabCase) { c.WindF *= 0.4 })},
		{name: "retarder", spec: mixAt(25, `,"admixture":"retarder"`), sky: under(wave(24, 4), 60, 2, 60, 400),
			slab: with(slabOf(0.1, "sand", 25), func(c *slabCase) { c.SetFactor = 1.33 })},
		{name: "accelerator", spec: mixAt(13, `,"admixture":"accelerator"`), sky: under(wave(10, 3), 70, 2, 60, 300),
			slab: with(slabOf(0.1, "sand", 13), func(c *slabCase) { c.SetFactor = 0.72 })},
		{name: "more water", spec: mixAt(18, `,"water_used_l_per_bag":3.4`), sky: under(wave(18, 4), 60, 2, 60, 400),
			slab: with(slabOf(0.1, "sand", 18), func(c *slabCase) { c.WC = 3.4 / 5.445 })},
	}
}

// then is a figure of the morning under the change that is tried.
func then(of func(*answers) float64) func(*answers) float64 {
	return func(a *answers) float64 { return of(&answers{Morning: a.tried}) }
}

func oddly(s sky, name, u string) sky {
	s.odd = map[string]string{name: u}
	return s
}

func rainBy(mm, chance float64) func(int, int) (float64, float64) {
	return func(_, _ int) (float64, float64) { return mm, chance }
}

func harmScenarios() []scenario {
	unharmed := known(func(m *job.Morning) *float64 { return m.Parts.Rain.ChanceUnharmed })
	peak := known(func(m *job.Morning) *float64 { return m.Parts.Evaporation.PeakKgM2H })
	airMin := known(func(m *job.Morning) *float64 { return m.Parts.Temperature.AirMinC })
	score := func(a *answers) float64 { return float64(*a.Morning.Score) }
	menzel := func(slab, air, humidity, wind float64) float64 { // Menzel 1954, wind at the slab in m/s
		e := func(t float64) float64 { return 0.61094 * math.Exp(17.625*t/(t+243.04)) }
		return 0.315 * (e(slab) - humidity/100*e(air)) * (0.253 + 0.060*wind*3.6)
	}
	wet := func(mm, chance float64) sky {
		s := steady(18, 70, 2)
		s.rain = rainBy(mm, chance)
		return s
	}
	const byHand, menzelBy = "by hand", "Menzel 1954, by hand"
	frosty := under(wave(4.5, 6.5), 70, 1, 5, 500)
	eight := under(wave(12, 6), 70, 2, 60, 300)
	return []scenario{
		{name: "no rain", spec: mixAt(18, ""), sky: wet(0, 0), want: []expected{{"chance unharmed", byHand, 1, 0.02,
			unharmed},
			{"inspect for rain", byHand, 0, 0.01, first(func(p *job.PadTimes) float64 { return p.InspectRain })}}},
		{name: "drying without rain", spec: mixAt(29, "") + `,"crew":{"people":2}`, sky: under(wave(31, 4), 20, 9, 5,
			900), want: []expected{
			{"inspect for rain", byHand, 0, 0.01, first(func(p *job.PadTimes) float64 { return p.InspectRain })},
			{"inspect for drying", byHand, 1, 0.1, first(func(p *job.PadTimes) float64 { return p.InspectDrying })},
			{"rain caution told", byHand, 0, 0, told("rain-to-inspect")}, {"drying caution told", byHand, 1, 0.1,
				told("drying")}}},
		{name: "heavy rain all day", spec: mixAt(18, ""), sky: wet(10, 1), want: []expected{{"chance unharmed",
			byHand, 0, 0.03, unharmed}, {"puddles told", byHand, 1, 0.05, told("wet-base")}}},
		{name: "drizzle all day", spec: mixAt(18, ""), sky: wet(0.12, 1), want: []expected{{"chance unharmed",
			byHand, 0.95, 0.05, unharmed}, {"puddles told", byHand, 0, 0.02, told("wet-base")}}},
		{name: "frozen base", spec: mixAt(20, "") + `,"stock":{"covers":[{"kind":"blanket","pads":4}]}`,
			sky: steady(-4, 80, 2), want: []expected{
				{"no pour", "ACI 306R: none on frozen ground", 1, 0, func(a *answers) float64 {
					if a.Morning.Verdict == job.VerdictHold && a.Morning.ReasonData.Code == job.BaseFrozenAllDay {
						return 1
					}
					return 0
				}}}},
		{name: "base covered in a night frost", spec: mixAt(18, "") + `,"practice":{"base_cover":"blanket"}`,
			sky: frosty, want: []expected{{"frozen base told", "conduction under 0.35 m2 K/W", 0, 0.2,
				told("frozen-ground")}}},
		{name: "drying at the mix's warmth", spec: mixAt(20, ""), sky: steady(20, 50, 5),
			want: []expected{{"peak, kg/m2/h", menzelBy, menzel(20, 20, 50, 2.75), 0.05, peak}}},
		{name: "warm mix in cool air", spec: mixAt(30, ""), sky: steady(12, 50, 5), want: []expected{{"peak, kg/m2/h",
			menzelBy, menzel(30, 12, 50, 2.75), 0.1, peak}}},
		{name: "sheltered slab", spec: mixAt(30, "") + `,"site":{"wind_factor":0.2}`, sky: steady(12, 50, 5),
			want: []expected{{"peak, kg/m2/h", menzelBy, menzel(30, 12, 50, 1), 0.08, peak}}},
		{name: "evaporation film", spec: mixAt(30, "") + `,"practice":{"evaporation_film":true}`, sky: steady(12, 50,
			5), want: []expected{
			{"peak, kg/m2/h", "0.4 of Menzel (Cordon and Thorpe)", 0.4 * menzel(30, 12, 50, 2.75), 0.04, peak}}},
		{name: "a windbreak is tried", spec: mixAt(30, ""), sky: steady(12, 50, 5), try: `{"windbreak":true}`,
			want: []expected{{"peak then, kg/m2/h", "Menzel 1954 at 0.4 of the wind", menzel(30, 12, 50, 1.1), 0.06,
				then(peak)}}},
		{name: "a film is tried", spec: mixAt(30, ""), sky: steady(12, 50, 5), try: `{"evaporation_film":true}`,
			want: []expected{{"peak then, kg/m2/h", "0.4 of Menzel (Cordon and Thorpe)", 0.4 * menzel(30, 12, 50, 2.75),
				0.04, then(peak)}}},
		{name: "hot water is tried", spec: `"mix":{"bag_temperature_c":5,"water_temperature_c":5}`,
			sky: steady(9, 80, 2), try: `{"water_temperature_c":60}`,
			want: []expected{{"mix then, C", "CSA/CAC ch. 17 balance", 19.28, 0.06,
				then(known(func(m *job.Morning) *float64 { return m.Parts.Temperature.MixC }))}}},
		{name: "bare base in the same frost", spec: mixAt(18, ""), sky: frosty, try: `{"base_cover":"blanket"}`,
			want: []expected{{"frozen base told then", "conduction under 0.35 m2 K/W", 0, 0.2,
				then(told("frozen-ground"))}}},
		{name: "a wind in furlongs", spec: mixAt(14, ""), sky: oddly(eight, "wind_gusts_10m", "furlong/fortnight"),
			want: []expected{{"air minimum, C", "the feed", 6, 0, airMin},
				{"chance unharmed", byHand, 1, 0.02, unharmed},
				{"fields left out", byHand, 1, 0,
					func(a *answers) float64 { return float64(len(a.Forecast.LeftOut)) }}}},
		{name: "fogging", spec: mixAt(30, "") + `,"practice":{"fogging":true}`, sky: steady(12, 50, 5),
			want: []expected{
				{"peak, kg/m2/h", "0.2 of Menzel (judgement)", 0.2 * menzel(30, 12, 50, 2.75), 0.02, peak}}},
		{name: "one feed, first cell", spec: mixAt(14, ""), sky: eight, want: []expected{{"air minimum, C",
			"the feed", 6, 0, airMin}, {"score", "the other cell", 0, 100, score}}},
		{name: "one feed, second cell", spec: mixAt(14, ""), sky: eight, want: []expected{{"air minimum, C",
			"the feed", 6, 0, airMin}}},
		{name: "a feed minimum of -3", spec: mixAt(14, ""), sky: under(wave(3, 6), 70, 2, 60, 300),
			want: []expected{{"air minimum, C", "the feed", -3, 0, airMin},
				{"cold weather told", "ACI 306R-16: below 40 F", 1, 0.05, told("cold-expected")}}},
	}
}

func tradeScenarios() []scenario {
	takeoffOf := func(of func(*answers) float64) func(*answers) float64 { return of }
	mixC := known(func(m *job.Morning) *float64 { return m.Parts.Temperature.MixC })
	from := first(func(p *job.PadTimes) float64 { return p.FinishFrom.Sub(p.PlaceStart).Hours() })
	const slabFt = `"pads":[{"name":"Floor","length_m":3.048,"width_m":3.048,"thickness_m":0.1016}]`
	const ascc = "ASCC position statement 15"
	pad := func(l, w, th float64) string {
		return fmt.Sprintf(`"pads":[{"name":"P1","length_m":%g,"width_m":%g,"thickness_m":%g}]`, l, w, th)
	}
	return []scenario{
		{name: "hot water", spec: `"mix":{"bag_temperature_c":5,"water_temperature_c":60}`, sky: steady(9, 80, 2),
			want: []expected{{"mix, C", "CSA/CAC ch. 17 balance", 19.28, 0.06, mixC}}},
		{name: "iced water", spec: `"mix":{"bag_temperature_c":35,"water_temperature_c":2}`, sky: steady(26, 60, 2),
			want: []expected{{"mix, C", "CSA/CAC ch. 17 balance", 26.43, 0.06, mixC}}},
		{name: "finishing opens at 10 C", spec: mixAt(10, ""), sky: steady(10, 50, 3),
			want: []expected{{"opens after, h", ascc, 4.25, 1.2, from}}},
		{name: "finishing opens at 21 C", spec: mixAt(21, ""), sky: steady(21, 60, 2),
			want: []expected{{"opens after, h", ascc, 2.75, 0.6, from}}},
		{name: "finishing opens at 32 C", spec: mixAt(31, ""), sky: steady(31, 60, 0.5),
			want: []expected{{"opens after, h", ascc, 1.8, 0.3, from}}},
		{name: "rapid-setting bag", spec: mixAt(22, `,"label_initial_set_min":120`), sky: steady(22, 90, 0.5),
			want: []expected{
				{"initial set, h", "the label", 2, 0.25,
					first(func(p *job.PadTimes) float64 { return p.InitialSet.Sub(p.PlaceStart).Hours() })}}},
		{name: "frost-safe at 20 C", spec: mixAt(20, ""), sky: steady(20, 80, 1), want: []expected{
			{"walked on after, h", "PCA EB001 ch. 14: 24 h at 20 C", 24, 3,
				first(func(p *job.PadTimes) float64 { return p.WalkFrom.Sub(p.PlaceStart).Hours() })},
			{"stripped after, h", "ACI 347; 2 MPa by ACI 209 from final set", 14, 2,
				first(func(p *job.PadTimes) float64 { return p.StripFrom.Sub(p.PlaceStart).Hours() })},
			{"curing, days", "ACI 308; Powers 1959", 14, 0.5, figureOf("curing")}}},
		{name: "lifting twenty bags an hour", spec: `"crew":{"bags_per_hour":20,"moves_per_bag":1}`, sky: steady(18,
			70, 2), want: []expected{
			{"lifting index at 40 cm", "NIOSH 94-110, from memory", 4.5, 0.05, figureOf("heavy-bags")}}},
		{name: "a pad of 46 x 46 x 2 in", spec: pad(1.1684, 1.1684, 0.0508), sky: steady(18, 70, 2), want: []expected{
			{"finished pad, kg", "2300 kg/m3, by hand", 158.8, 2, figureOf("pad-weight")}}},
		{name: "10 x 10 ft x 4 in", spec: `"waste_fraction":0,` + slabFt, sky: steady(18, 70, 2), want: []expected{
			{"bags", "suppliers: 45 to a cubic yard", 56, 0,
				takeoffOf(func(a *answers) float64 { return float64(a.Takeoff.Project.Bags) })}}},
		{name: "the same with waste", spec: `"waste_fraction":0.1,` + slabFt, sky: steady(18, 70, 2), want: []expected{
			{"bags", "suppliers: 45 to a cubic yard", 62, 0,
				takeoffOf(func(a *answers) float64 { return float64(a.Takeoff.Project.Bags) })}}},
		{name: "label's most water", spec: `"mix":{"water_l_per_bag_max":3.8}`, sky: steady(18, 70, 2),
			want: []expected{
				{"water-cement ratio", "15 % cement, by hand", 0.70, 0.005,
					takeoffOf(func(a *answers) float64 { return *a.Takeoff.Project.WaterCementRatioMax })}}},
		{name: "half a quart more water", spec: `"mix":{"water_l_per_bag_max":3.2732}`, sky: steady(18, 70, 2),
			want: []expected{
				{"costs at least, MPa", "150 psi a gallon in a yd3", 5.81, 0.05,
					takeoffOf(func(a *answers) float64 { return a.Takeoff.Project.StrengthLossMPa.Low })}}},
	}
}
