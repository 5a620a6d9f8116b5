package job

import "dryslot/internal/message"

// Codes of what threatens a pad. Those that end in _forecast stand for a
// forecast of one member, from which no chance can be given.
const (
	RainReachesPad              message.Code = "rain_reaches_pad" // chance, pad, rain_at, set_at
	RainReachesPadForecast      message.Code = "rain_reaches_pad_forecast"
	LightRainReachesPad         message.Code = "light_rain_reaches_pad" // chance, pad, rain_at, finish_at
	LightRainReachesPadForecast message.Code = "light_rain_reaches_pad_forecast"
	PadFreezes                  message.Code = "pad_freezes" // chance, pad, safe_at
	PadFreezesForecast          message.Code = "pad_freezes_forecast"
	PadStaysWeak                message.Code = "pad_stays_weak" // chance, pad: it is not safe from frost in sight
	PadStaysWeakForecast        message.Code = "pad_stays_weak_forecast"
	FinishTooLate               message.Code = "finish_too_late" // chance, pad, dark_at, stop_clock
	FinishTooLateForecast       message.Code = "finish_too_late_forecast"
	BaseFrozen                  message.Code = "base_frozen" // chance, at
	BaseFrozenForecast          message.Code = "base_frozen_forecast"
	RainNotKnown                message.Code = "rain_not_known"    // pad, set_at
	NothingThreatens            message.Code = "nothing_threatens" // pad, set_at
	OneMorePad                  message.Code = "one_more_pad"      // why, more: what threatens one pad more
)

// Codes of what calls for care.
const (
	CareDrying   message.Code = "care_drying"    // at, rate_kg_m2_h, limit_kg_m2_h
	CareCold     message.Code = "care_cold"      // pad, low_c
	CareColdMix  message.Code = "care_cold_mix"  // mix_c, limit_c
	CareHotMix   message.Code = "care_hot_mix"   // mix_c, limit_c
	CareCrewHeat message.Code = "care_crew_heat" // feels_c
	CareUnknown  message.Code = "care_unknown"   // pad, set_at
)

// Codes of why a morning has no pour.
const (
	DayOver            message.Code = "day_over"
	NoLight            message.Code = "no_light"
	DayOff             message.Code = "day_off"
	CalledOff          message.Code = "called_off"
	TooLateToday       message.Code = "too_late_today" // stop_clock
	TooLittleLight     message.Code = "too_little_light"
	NothingLeft        message.Code = "nothing_left"
	NoForecast         message.Code = "no_forecast"
	ForecastOld        message.Code = "forecast_old" // age_min
	FitsLater          message.Code = "fits_later"
	WaitingLosesLess   message.Code = "waiting_loses_less" // why
	WaitsNotPlaced     message.Code = "waits_not_placed"   // pad, other, until_term
	WaitsUntil         message.Code = "waits_until"        // pad, other, until_term, at
	WaitsBeyond        message.Code = "waits_beyond"       // pad, other, until_term
	WaitsCalledOff     message.Code = "waits_called_off"   // pad
	WaitsOthers        message.Code = "waits_others"       //
	FormsFull          message.Code = "forms_full"         // forms, pads, at
	FormsFullBeyond    message.Code = "forms_full_beyond"  // forms, pads
	DueTooLate         message.Code = "due_too_late"       // pad, due_at, stop_clock
	DayTooFull         message.Code = "day_too_full"       //
	ThunderAllDay      message.Code = "thunder_all_day"    // chance, from_at, until_clock
	ThunderForecast    message.Code = "thunder_all_day_forecast"
	BaseFrozenUntil    message.Code = "base_frozen_until" // at, stop_clock
	BaseFrozenAllDay   message.Code = "base_frozen_all_day"
	ForecastTooShort   message.Code = "forecast_too_short"
	NoTime             message.Code = "no_time"        // pad, from_at, stop_clock
	ReadyTooLate       message.Code = "ready_too_late" // begin_at, ready_at, dark_at, stop_clock
	SetsBeyondForecast message.Code = "sets_beyond_forecast"
	BagsShortUntil     message.Code = "bags_short_until" // pad, missing, date: of the delivery
	BagsShort          message.Code = "bags_short"       // pad, missing: none on order
)

// Codes of why no planned pour takes a pad.
const (
	UnplacedOther     message.Code = "unplaced_other"      // pad, other, until_term: the other is not planned itself
	UnplacedLeftOut   message.Code = "unplaced_left_out"   // pad, other
	UnplacedNoMorning message.Code = "unplaced_no_morning" // pad
	UnplacedBecause   message.Code = "unplaced_because"    // pad, date, why
	UnplacedRisky     message.Code = "unplaced_risky"      // pad, date, loss_chance, limit_chance
	UnplacedCalledOff message.Code = "unplaced_called_off" // pad, date
	UnplacedTaken     message.Code = "unplaced_taken"      // pad, date
)

// Codes of what to change, each a clause that says what to do.
const (
	StartAt      message.Code = "start_at"      // start_clock
	PourOnly     message.Code = "pour_only"     // pads
	WarmWater    message.Code = "warm_water"    // water_c
	IcedWater    message.Code = "iced_water"    // water_c
	CoverBlanket message.Code = "cover_blanket" // until_clock, the next day
	CoverPlastic message.Code = "cover_plastic"

	CoverBlanketKept message.Code = "cover_blanket_kept"
	WarmBags         message.Code = "warm_bags" // bags_c
	AddAccelerator   message.Code = "add_accelerator"
	AddRetarder      message.Code = "add_retarder"
	CoverBase        message.Code = "cover_base" // cover_term
	WetBase          message.Code = "wet_base"
	SprayFilm        message.Code = "spray_film"
	FogSlab          message.Code = "fog_slab"
	BreakWind        message.Code = "break_wind"
	ShadeSlab        message.Code = "shade_slab"

	BringHelper message.Code = "bring_helper"
	PourInstead message.Code = "pour_instead" // date
	MoreBags    message.Code = "more_bags"    // bags, date
	ChangeOn    message.Code = "change_on"    // change, date
	FirstPads   message.Code = "first_pads"   // pads, change: what they wait for
	CoverOver   message.Code = "cover_over"   // cover_term, pads
)

// Codes of how a plan was found.
const (
	MethodExpectedLoss message.Code = "method_expected_loss"
	MethodOneOrder     message.Code = "method_one_order"
	MethodNone         message.Code = "method_none"
)

// Codes of what changed from one plan to the next.
const (
	ChangePlanned message.Code = "change_planned" // pads, date
	ChangeDropped message.Code = "change_dropped" // pads, date, why
	ChangeMoved   message.Code = "change_moved"   // pads, from_date, to_date
	ChangeStart   message.Code = "change_start"   // date, start_at, was_at
	ChangeDone    message.Code = "change_done"
	ChangeLast    message.Code = "change_last" // to_date, from_date: of the last pad
	ChangeNotKept message.Code = "change_not_kept"
)

// Codes of the cautions that the plan itself gives; those of the trade are
// package concrete's.
const (
	CautionUnknownWeather  message.Code = "caution_unknown_weather"
	CautionThunder         message.Code = "caution_thunder" // wait_min, chance
	CautionThunderForecast message.Code = "caution_thunder_forecast"
	CautionWetBase         message.Code = "caution_wet_base" // clear_min, chance
	CautionWetBaseForecast message.Code = "caution_wet_base_forecast"
	CautionAged            message.Code = "caution_aged" // age_min
	CautionOld             message.Code = "caution_old"  // age_min
	CautionNoForecast      message.Code = "caution_no_forecast"
	CautionEstimates       message.Code = "caution_estimates"
	CautionInspect         message.Code = "caution_inspect"        // pad, set_at
	CautionInspectDrying   message.Code = "caution_inspect_drying" // pad, chance
	CautionBasePumps       message.Code = "caution_base_pumps"
	CautionBaseCovered     message.Code = "caution_base_covered" // cover_term
	CautionShare           message.Code = "caution_share"        // chance: the share of the members
	SourceBasePumps        message.Code = "source_base_pumps"    // of the caution on a wet base
)

// Codes of what a crew makes of showers and gaps.
const (
	StandByPads message.Code = "stand_by_pads" // up_to, likely
	StandByHeld message.Code = "stand_by_held" // up_to, likely: no pour is planned
	StandByNone message.Code = "stand_by_none" // up_to: not one pad is likely
	StandByGap  message.Code = "stand_by_gap"  // gap
	StandByTwo  message.Code = "stand_by_two"  // gap, other
	StandByMore message.Code = "stand_by_more" // count, gap, other: the first two
	GapBetween  message.Code = "gap_between"   // from_at, until_at
	GapAfter    message.Code = "gap_after"     // from_at
)
