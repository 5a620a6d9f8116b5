package concrete

import "dryslot/internal/message"

// Codes of the cautions for people and of their sources. Each carries the figures named beside it.
const (
	PeopleLicensedDesign       message.Code = "people_licensed_design"
	PeopleLicensedDesignSource message.Code = "people_licensed_design_source"
	PeopleLocalCodes           message.Code = "people_local_codes"
	PeopleLocalCodesSource     message.Code = "people_local_codes_source"
	PeopleBuriedLines          message.Code = "people_buried_lines"
	PeopleBuriedLinesSource    message.Code = "people_buried_lines_source"
	PeopleLifting              message.Code = "people_lifting"
	PeopleLiftingSource        message.Code = "people_lifting_source" // limit_kg
	PeopleSilica               message.Code = "people_silica"
	PeopleSilicaSource         message.Code = "people_silica_source"
	PeopleMixer                message.Code = "people_mixer"
	PeopleMixerSource          message.Code = "people_mixer_source"
	PeopleWetElectrics         message.Code = "people_wet_electrics"
	PeopleWetElectricsSource   message.Code = "people_wet_electrics_source"
	PeopleHotWater             message.Code = "people_hot_water" // limit_c
	PeopleHotWaterSource       message.Code = "people_hot_water_source"
	PeopleAlkaliBurns          message.Code = "people_alkali_burns"
	PeopleAlkaliBurnsSource    message.Code = "people_alkali_burns_source"
	PeopleFuelHeaters          message.Code = "people_fuel_heaters"
	PeopleFuelHeatersSource    message.Code = "people_fuel_heaters_source"
	PeopleThunder              message.Code = "people_thunder"
	PeopleThunderSource        message.Code = "people_thunder_source"
	PeopleWashout              message.Code = "people_washout"
	PeopleWashoutSource        message.Code = "people_washout_source"
	PeopleBreakingOut          message.Code = "people_breaking_out"
	PeopleBreakingOutSource    message.Code = "people_breaking_out_source"
)
