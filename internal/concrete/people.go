package concrete

import "dryslot/internal/message"

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

// PeopleCaution is what keeps people from harm, before it is worded.
type PeopleCaution struct {
	ID     string
	When   When
	Text   message.Message
	Source message.Message
}

// PeopleCautions returns the cautions for people, in the order of the work.
// The slice is the caller's own.
func PeopleCautions() []PeopleCaution {
	return []PeopleCaution{
		{"licensed-design", WhenPlanning, message.New(PeopleLicensedDesign), message.New(PeopleLicensedDesignSource)},
		{"local-codes", WhenPlanning, message.New(PeopleLocalCodes), message.New(PeopleLocalCodesSource)},
		{"buried-lines", WhenPlanning, message.New(PeopleBuriedLines), message.New(PeopleBuriedLinesSource)},
		{"lifting", WhenCarrying, message.New(PeopleLifting), message.New(PeopleLiftingSource, message.Mass("limit",
			23))},
		{"silica", WhenMixing, message.New(PeopleSilica), message.New(PeopleSilicaSource)},
		{"mixer", WhenMixing, message.New(PeopleMixer), message.New(PeopleMixerSource)},
		{"wet-electrics", WhenMixing, message.New(PeopleWetElectrics), message.New(PeopleWetElectricsSource)},
		{"hot-water", WhenMixing, message.New(PeopleHotWater, message.Temperature("limit", 60)),
			message.New(PeopleHotWaterSource)},
		{"alkali-burns", WhenPlacing, message.New(PeopleAlkaliBurns), message.New(PeopleAlkaliBurnsSource)},
		{"fuel-heaters", WhenCold, message.New(PeopleFuelHeaters), message.New(PeopleFuelHeatersSource)},
		{"thunder", WhenThunder, message.New(PeopleThunder), message.New(PeopleThunderSource)},
		{"washout", WhenCleaning, message.New(PeopleWashout), message.New(PeopleWashoutSource)},
		{"breaking-out", WhenBreaking, message.New(PeopleBreakingOut), message.New(PeopleBreakingOutSource)},
	}
}
