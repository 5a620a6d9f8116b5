package draw

import "dryslot/internal/message"

// Codes of the words in the drawings. Each carries the figures named beside it.
const (
	SectionTitle        message.Code = "section_title"   // date
	SectionDryFor       message.Code = "section_dry_for" // dry_min
	SectionDry          message.Code = "section_dry"
	SectionUnknown      message.Code = "section_unknown"    // from_at
	SectionWettest      message.Code = "section_wettest"    // chance, at
	SectionPlaceTook    message.Code = "section_place_took" // took_min
	SectionPlace        message.Code = "section_place"
	SectionFinishTook   message.Code = "section_finish_took" // took_min
	SectionFinish       message.Code = "section_finish"
	SectionSoftUntil    message.Code = "section_soft_until" // set_at
	SectionSoft         message.Code = "section_soft"
	SectionDryWords     message.Code = "section_dry_words" // from_at, until_at
	SectionWetWords     message.Code = "section_wet_words" // chance, at
	SectionPadWords     message.Code = "section_pad_words" // count, from_at, until_at
	CurvesTitle         message.Code = "curves_title"
	CurvesTempC         message.Code = "curves_temp_c"
	CurvesTempF         message.Code = "curves_temp_f"
	CurvesTempCShort    message.Code = "curves_temp_c_short"
	CurvesTempFShort    message.Code = "curves_temp_f_short"
	CurvesDryingSI      message.Code = "curves_drying_si"
	CurvesDryingUS      message.Code = "curves_drying_us"
	CurvesDryingSIShort message.Code = "curves_drying_si_short"
	CurvesDryingUSShort message.Code = "curves_drying_us_short"
	CurvesFrost         message.Code = "curves_frost"
	CurvesLimit         message.Code = "curves_limit"
	SketchTitle         message.Code = "sketch_title"
	GaugeNow            message.Code = "gauge_now"     // at
	GaugeReady          message.Code = "gauge_ready"   // at
	GaugeBy             message.Code = "gauge_by"      // at
	NightPlan           message.Code = "night_plan"    // at
	NightWakeUp         message.Code = "night_wake_up" // at
	ProofTitle          message.Code = "proof_title"
	ProofDesc           message.Code = "proof_desc"
	ProofCame           message.Code = "proof_came"
	ProofTold           message.Code = "proof_told"
	ProofMore           message.Code = "proof_more"
	ProofLess           message.Code = "proof_less"
)
