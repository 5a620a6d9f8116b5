package today

import "dryslot/internal/message"

// Codes of the advice.
const (
	NowGoOn         message.Code = "now_go_on"         // pad, chance
	NowStartLater   message.Code = "now_start_later"   // pad, chance, until_at
	NowWait         message.Code = "now_wait"          // pad, chance, until_at
	NowWaitRaining  message.Code = "now_wait_raining"  // until_at
	NowStop         message.Code = "now_stop"          // pads
	NowCover        message.Code = "now_cover"         // pads, chance
	NowCoverRaining message.Code = "now_cover_raining" // pads
	NowSoftNoCover  message.Code = "now_soft_no_cover" // pads
	NowBegins       message.Code = "now_begins"        // start_at
	NowAllPlaced    message.Code = "now_all_placed"    // nothing is left to place today
	NowNothingToday message.Code = "now_nothing_today" // nothing is planned
	NowCalledOff    message.Code = "now_called_off"    // by the builder
	NowNoForecast   message.Code = "now_no_forecast"   // to decide by
)

// Codes of what comes next.
const (
	StepSetUp        message.Code = "step_set_up"
	StepForm         message.Code = "step_form"          // pads
	StepPlace        message.Code = "step_place"         // pads
	StepFinish       message.Code = "step_finish"        // pads, until_at
	StepCoverRain    message.Code = "step_cover_rain"    // pads, chance
	StepCoverFrost   message.Code = "step_cover_frost"   // pads, chance
	StepUncoverRain  message.Code = "step_uncover_rain"  // pads
	StepUncoverFrost message.Code = "step_uncover_frost" // pads
	StepDamp         message.Code = "step_damp"          // pads, cured_at
	StepStrip        message.Code = "step_strip"         // pads
	StepCleanUp      message.Code = "step_clean_up"
)
