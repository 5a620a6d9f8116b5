package concrete

// When a caution for people matters.
type When string

// The moments of the work. A page or an alert shows a caution at the first of
// its moments that the reader comes to, once.
const (
	WhenPlanning When = "planning" // before anything is bought
	WhenCarrying When = "carrying"
	WhenMixing   When = "mixing"
	WhenPlacing  When = "placing"
	WhenCold     When = "cold" // with the cold-weather rules
	WhenThunder  When = "thunder"
	WhenCleaning When = "cleaning-up"
	WhenBreaking When = "breaking-out" // a pad was lost
)

// PeopleCaution is what keeps people from harm.
type PeopleCaution struct {
	ID     string
	When   When
	Text   string
	Source string
}

// PeopleCautions returns the cautions for people, in the order of the work.
// The slice is the caller's own.
func PeopleCautions() []PeopleCaution {
	return []PeopleCaution{
		{"licensed-design", WhenPlanning, "Thickness, reinforcement, loads and anchorage are for a licensed designer to settle. This plans the work, not the structure.", "common practice"},
		{"local-codes", WhenPlanning, "Local building codes and permits rule over anything said here.", "common practice"},
		{"buried-lines", WhenPlanning, "Have buried lines located before digging for a base.", "common practice"},
		{"lifting", WhenCarrying, "Bags are heavy: lift close to the body, in pairs where you can, with a trolley over any distance, and share the carrying out over the day.", "NIOSH lifting equation, 1991 (from memory): 23 kg (51 lb) under the best conditions"},
		{"silica", WhenMixing, "Cement and sand dust scars lungs: open bags low and gently, with the wind behind you, and wear a fitted dust mask (P2, FFP2, N95 or better).", "OSHA 29 CFR 1926.1153 (from memory): 50 micrograms of silica in a cubic metre of air over 8 h"},
		{"mixer", WhenMixing, "Keep hands, tools, sleeves and hair out of a turning drum; stop it before you reach in. Stand it level, guards on.", "common practice"},
		{"wet-electrics", WhenMixing, "Wet ground and electric tools: only behind a residual-current device (GFCI), tested the same day; cables off the ground and whole.", "common practice"},
		{"hot-water", WhenMixing, "Hot mixing water scalds, and sets cement in a flash: water into the drum first and let it turn once, then the bag. Nothing above 60 C (140 F).", "ACI 306R chapter 3 (from memory)"},
		{"alkali-burns", WhenPlacing, "Wet concrete burns skin, often without pain at first: gloves, boots, waterproof knees, eye protection. Rinse skin at once and change wet clothes; eyes for 20 minutes, then a doctor.", "OSHA guidance on wet cement, pH 12 to 13 (quoted); 20 minutes: from memory"},
		{"fuel-heaters", WhenCold, "No fuel heaters under covers or in tents: their carbon monoxide kills, and their carbon dioxide spoils the surface. Use insulating blankets.", "ACI 306R (from memory)"},
		{"thunder", WhenThunder, "At thunder stop: leave mixer and tools, go into a building or a closed car, and stay 30 minutes after the last clap.", "NWS lightning safety (from memory)"},
		{"washout", WhenCleaning, "Wash tools where the water can stand and dry, away from drains, streams and roots: it is caustic. Let the rest harden and take it to the tip.", "common practice; wash water of pH 12 to 13 (quoted OSHA guidance)"},
		{"breaking-out", WhenBreaking, "Breaking out a lost pad: soon, while it is weak; wet it against dust, wear eye, ear and lung protection, lever pieces up in sizes that two can carry.", "common practice"},
	}
}
