package pour

import (
	"dryslot/internal/fault"
	"dryslot/internal/message"
)

// Codes of the rules of a project, with the figures that each carries.
const (
	ProjectBreaksRule message.Code = "project_breaks_rule"
	DocumentForm      message.Code = "document_form"
	DocumentEmpty     message.Code = "document_empty"
	DocumentEncoding  message.Code = "document_encoding"   // not UTF-8
	DocumentGoesOn    message.Code = "document_goes_on"    // byte: after the document's end
	DocumentNotJSON   message.Code = "document_not_json"   // byte
	DocumentDeep      message.Code = "document_deep"       // max: levels
	DocumentTwice     message.Code = "document_twice"      // a member is given twice
	MixDensity        message.Code = "mix_density"         // other, min_kg_l, max_kg_l, given_kg_l
	WaterShare        message.Code = "water_share"         // max_l_kg
	LaterThan         message.Code = "later_than"          // other, other_clock
	NoTimeToWork      message.Code = "no_time_to_work"     // set-up and clean-up fill the day
	DaysEmpty         message.Code = "days_empty"          // the crew works on no day
	FormSetNameTaken  message.Code = "form_set_name_taken" // two sets of one name
	PadNameTaken      message.Code = "pad_name_taken"      // two pads of one name
	PadsEmpty         message.Code = "pads_empty"          // no pad
	FormSetUnknown    message.Code = "form_set_unknown"    // no such set
	PadUnknown        message.Code = "pad_unknown"         // no such pad
	AfterItself       message.Code = "after_itself"        // a pad waits for itself
	PadsInRing        message.Code = "pads_in_ring"        // pads wait for each other
)

// Codes of the rules of a log entry.
const (
	EntryBreaksRule message.Code = "entry_breaks_rule"
	NoteEmpty       message.Code = "note_empty"
	PadRequired     message.Code = "pad_required" // kind
	WhenRequired    message.Code = "when_required"
	RainStillFalls  message.Code = "rain_still_falls" // most_min: since it began
	PadBesidePads   message.Code = "pad_beside_pads"
	LeftOut         message.Code = "left_out" // kind
	OnePad          message.Code = "one_pad"  // kind
	UndoesItself    message.Code = "undoes_itself"
	RatingEmpty     message.Code = "rating_empty"
)

// Codes of what an entry contradicts. Those of a pad carry pad, and since_at
// where it is known since when.
const (
	EntryContradicts message.Code = "entry_contradicts"
	PlacedAlready    message.Code = "placed_already"
	FinishedAlready  message.Code = "finished_already"
	StrippedAlready  message.Code = "stripped_already"
	SkippedPlaced    message.Code = "skipped_placed"
	LostNotPlaced    message.Code = "lost_not_placed"
	StrippedSoft     message.Code = "stripped_soft" // since_at: the initial set
	UndoOfUndo       message.Code = "undo_of_undo"
	Contradiction    message.Code = "contradiction"
)

// years is the rule for dates: far enough for every job, and a slip such as
// the year 206 is caught.
func years() fault.Rule {
	return fault.RuleOf(fault.YearRange, message.Number("first", 2000), message.Number("last", 2100))
}
