package draw

import "dryslot/internal/message"

// Codes of the words in the drawings. Each carries the figures named beside it.
const (
	StripTitle        message.Code = "strip_title" // date
	StripDesc         message.Code = "strip_desc"
	StripRain         message.Code = "strip_rain"
	StripWork         message.Code = "strip_work"
	StripTempC        message.Code = "strip_temp_c"
	StripTempF        message.Code = "strip_temp_f"
	StripTempCShort   message.Code = "strip_temp_c_short"
	StripTempFShort   message.Code = "strip_temp_f_short"
	StripEvapSi       message.Code = "strip_evap_si"
	StripEvapUs       message.Code = "strip_evap_us"
	StripFrost        message.Code = "strip_frost"
	StripLimit        message.Code = "strip_limit"
	StripNow          message.Code = "strip_now"
	SketchTitle       message.Code = "sketch_title"
	SketchTitleTurned message.Code = "sketch_title_turned"
	SketchDesc        message.Code = "sketch_desc"
	ProofTitle        message.Code = "proof_title"
	ProofDesc         message.Code = "proof_desc"
	ProofCame         message.Code = "proof_came"
	ProofTold         message.Code = "proof_told"
	ProofMore         message.Code = "proof_more"
	ProofLess         message.Code = "proof_less"
	SketchPadLabel    message.Code = "sketch_pad"      // pad, state_term, label
	SketchPadBare     message.Code = "sketch_pad_bare" // pad, state_term
	SketchOrder       message.Code = "sketch_order"    // order
)
