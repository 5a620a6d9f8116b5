package concrete

import "dryslot/internal/message"

// Codes of the rules of the trade, with the figures that each carries.
const (
	RuleFrozenBase     message.Code = "rule_frozen_base"
	RuleFreezes        message.Code = "rule_freezes"
	RuleNearFrost      message.Code = "rule_near_frost"       // low_c
	RuleColdSlab       message.Code = "rule_cold_slab"        // low_c
	RuleCornerFreezes  message.Code = "rule_corner_freezes"   // corner_c
	RuleColdMixed      message.Code = "rule_cold_mixed"       // mix_c, limit_c: as mixed
	RuleColdPlaced     message.Code = "rule_cold_placed"      // mix_c, limit_c: as placed
	RuleMixTooWarm     message.Code = "rule_mix_too_warm"     // mix_c, limit_c
	RuleWarmerWater    message.Code = "rule_warmer_water"     // what water would do is not known
	RuleWaterReaches   message.Code = "rule_water_reaches"    // water_c
	RuleWaterTooLittle message.Code = "rule_water_too_little" // no water brings it there
	RuleWaterScalds    message.Code = "rule_water_scalds"     // limit_c
	RuleUncoverDrop    message.Code = "rule_uncover_drop"     // drop_k, limit_k
	RuleColdExpected   message.Code = "rule_cold_expected"    // limit_c, days
	RuleColdSpell      message.Code = "rule_cold_spell"       // limit_c, days
	RuleHotMix         message.Code = "rule_hot_mix"          // mix_c
	RuleCoolWater      message.Code = "rule_cool_water"       // water_c, limit_c
	RuleCoolOtherwise  message.Code = "rule_cool_otherwise"
	RuleHotDrying      message.Code = "rule_hot_drying"
	RuleHotAir         message.Code = "rule_hot_air"        // limit_c
	RuleDryingWatch    message.Code = "rule_drying_watch"   // rate_kg_m2_h
	RuleDryingAct      message.Code = "rule_drying_act"     // rate_kg_m2_h
	RuleCrust          message.Code = "rule_crust"          // chance, at
	RuleCrewHeat       message.Code = "rule_crew_heat"      // feels_c
	RuleCrewHeatHold   message.Code = "rule_crew_heat_hold" // feels_c
	RuleCrewSun        message.Code = "rule_crew_sun"       // more_k
	RuleCrewCold       message.Code = "rule_crew_cold"      // feels_c
	RuleCrewColdHold   message.Code = "rule_crew_cold_hold" // feels_c
	RuleSheetsLift     message.Code = "rule_sheets_lift"    // wind_m_s
	RuleBondBreak      message.Code = "rule_bond_break"
	RulePanelLong      message.Code = "rule_panel_long"   // side_m
	RulePanelMedium    message.Code = "rule_panel_medium" // side_m
	RulePanelFive      message.Code = "rule_panel_five"   // limit_m
	RulePanelNarrow    message.Code = "rule_panel_narrow" // ratio
	RuleThin           message.Code = "rule_thin"
	RuleThinForCodes   message.Code = "rule_thin_for_codes"
	RuleTrowelAir      message.Code = "rule_trowel_air"
	RuleAirEntrained   message.Code = "rule_air_entrained"  // least_mpa
	RuleHeavyBags      message.Code = "rule_heavy_bags"     // an_hour, times, far
	RuleTooManyLifts   message.Code = "rule_too_many_lifts" // an_hour
	RulePadHeavy       message.Code = "rule_pad_heavy"      // pad_kg: beyond people
	RulePadTeam        message.Code = "rule_pad_team"       // pad_kg, people
	RulePadAlone       message.Code = "rule_pad_alone"      // pad_kg
	RuleLumpyBags      message.Code = "rule_lumpy_bags"
	RuleOldMix         message.Code = "rule_old_mix"      // limit_min
	RuleCuring         message.Code = "rule_curing"       // days, curing_term
	RuleCuringShort    message.Code = "rule_curing_short" // days, needs, lost_chance: share of strength
	RuleChips          message.Code = "rule_chips"        // chance
)
