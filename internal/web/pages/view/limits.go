package view

// limits is what a pour is held against, each with its source. The figures are
// those that the planner and the concrete's rules use.
func limits(us bool) []LimitLine {
	pick := func(metric, customary string) string {
		if us {
			return customary
		}
		return metric
	}
	return []LimitLine{
		{"Rain that loses a soft pad", pick("2.5 mm or more in an hour", "0.10 inch or more in an hour"), "Moderate rain begins there (FMH-1, from memory); that it is what harms is judgement, no standard gives a figure"},
		{"Rain that marks a soft pad", pick("0.25 mm or more in an hour", "0.01 inch or more in an hour"), "The least that a US gauge reports; judgement"},
		{"Rain that a covered pad bears", pick("up to 7.6 mm in an hour", "up to 0.30 inch in an hour"), "Heavy rain begins there (FMH-1, from memory); judgement"},
		{"Soft", "from placing to initial set", "ASTM C403: 3.5 MPa (500 psi) of penetration resistance"},
		{"Finishing", "from the end of bleeding, not before 0.4 of the time to initial set; a broom finish to a quarter of the way to final set, a trowel finish to final set", "Judgement, within the window of ACI 302"},
		{"Stripping", pick("after final set, 2 MPa at the low end, 12 hours at 10 °C or more", "after final set, 290 psi at the low end, 12 hours at 50 °F or more"), "ACI 347 for the hours (quoted by a trade journal); the strength is judgement"},
		{"Safe from frost, fit to walk on", pick("3.5 MPa at the low end and 24 hours' age at 20 °C; 7 MPa where the mix is wetter than 0.60", "500 psi at the low end and 24 hours' age at 68 °F; 1,000 psi where the mix is wetter than 0.60"), "PCA EB001 chapter 14; CSA A23.1 as quoted for 7 MPa"},
		{"Drying", pick("0.5 kg/m²/h: watch; 1.0: act (± 40 %)", "0.1 lb/ft²/h: watch; 0.2: act (± 40 %)"), "ACI 305R as quoted; accuracy from Hover, ACI SP-338, 2020"},
		{"Concrete at placing in cold", pick("13 °C or more in slabs under 300 mm", "55 °F or more in slabs under 12 inches"), "ACI 306R-88 table 3.1, ACI 306R-16 table 5.1 (from memory)"},
		{"Concrete at placing in heat", pick("35 °C at the most", "95 °F at the most"), "ACI 305.1-14, 3.3 (quoted)"},
		{"Mixing water", pick("60 °C at the most", "140 °F at the most"), "ACI 306R chapter 3 (from memory)"},
		{"Age of a forecast", "over 6 hours: care; over 24 hours: hold", "Judgement"},
	}
}
