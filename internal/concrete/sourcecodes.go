package concrete

import "dryslot/internal/message"

// Codes of the sources of rules: the document with its edition, or what else the
// rule rests on. A source that was recalled from memory says so.
const (
	SourceJudgement      message.Code = "source_judgement"
	SourceCommonPractice message.Code = "source_common_practice"
	sourceJointSpacing   message.Code = "source_joint_spacing"
	sourceLongestPanel   message.Code = "source_longest_panel"
	sourceThinSlab       message.Code = "source_thin_slab"
	sourceCodeSlab       message.Code = "source_code_slab"
	sourceAirTrowel      message.Code = "source_air_trowel"
	sourceAirEntrained   message.Code = "source_air_entrained"
	sourceOldMix         message.Code = "source_old_mix"
	sourceSheetsLift     message.Code = "source_sheets_lift"
	sourceCuring         message.Code = "source_curing"
	sourceChips          message.Code = "source_chips"
	sourceHotDischarge   message.Code = "source_hot_discharge"
	sourceHotMix         message.Code = "source_hot_mix"
	sourceHotWeather     message.Code = "source_hot_weather"
	sourceHotAir         message.Code = "source_hot_air"
	SourceEvaporation    message.Code = "source_evaporation"
	sourceCrust          message.Code = "source_crust"
	SourceColdTable      message.Code = "source_cold_table"
	sourceColdExpected   message.Code = "source_cold_expected"
	sourceColdSpell      message.Code = "source_cold_spell"
	sourceFrozenGround   message.Code = "source_frozen_ground"
	sourceColdOvernight  message.Code = "source_cold_overnight"
	sourceCrewHeat       message.Code = "source_crew_heat"
	sourceCrewCold       message.Code = "source_crew_cold"
	sourceLifting        message.Code = "source_lifting"
	sourceTeams          message.Code = "source_teams"
)
