package fault

import (
	"dryslot/internal/message"
	"dryslot/internal/unit"
)

// Rule is a rule that a value breaks: a code with its figures.
type Rule struct{ message.Message }

// Codes of the rules that any field may have. A package with rules of its own
// declares their codes beside them and makes them with RuleOf.
const (
	StatedRule    message.Code = "stated"         // text: the rule in English
	NumberWanted  message.Code = "number_wanted"  // not a number at all
	WholeWanted   message.Code = "whole_wanted"   // not a whole number
	NumberRange   message.Code = "number_range"   // min, max
	QuantityRange message.Code = "quantity_range" // min, max, unit
	WholeRange    message.Code = "whole_range"    // min, max
	ClockWanted   message.Code = "clock_wanted"   // not of the form HH:MM
	ClockRange    message.Code = "clock_range"    // no reading from 00:00 to 23:59
	DateWanted    message.Code = "date_wanted"    // not of the form YYYY-MM-DD
	InstantWanted message.Code = "instant_wanted" // not RFC 3339 with an offset
	WordWanted    message.Code = "word_wanted"    // allowed
	MostItems     message.Code = "most_items"     // max
	TextWanted    message.Code = "text_wanted"    // not text
	TextEmpty     message.Code = "text_empty"     // no character but blanks
	TextBlanks    message.Code = "text_blanks"    // a blank at an end
	TextLength    message.Code = "text_length"    // max
	TextUnfit     message.Code = "text_unfit"     // characters that can't be printed
	ObjectWanted  message.Code = "object_wanted"  // not a JSON object
	ListWanted    message.Code = "list_wanted"    // not a JSON list
	BoolWanted    message.Code = "bool_wanted"    // neither true nor false
	Required      message.Code = "required"       // absent
	UnknownField  message.Code = "unknown_field"  // no such member
	GivenTwice    message.Code = "given_twice"    // more than once
	NotBelow      message.Code = "not_below"      // other: the field that bounds it from below
	InTheFuture   message.Code = "in_the_future"  // now_at
	YearRange     message.Code = "year_range"     // first, last
	ZoneUnknown   message.Code = "zone_unknown"   // no IANA time zone
	ZoneNotFound  message.Code = "zone_not_found" // none is known at these coordinates
	UUIDWanted    message.Code = "uuid_wanted"    // no UUID
	NulCharacter  message.Code = "nul_character"  // the store takes none
	CursorUnknown message.Code = "cursor_unknown" // of no page of the list
)

// RuleOf returns a rule.
func RuleOf(code message.Code, figures ...message.Figure) Rule {
	return Rule{message.New(code, figures...)}
}

// Stated returns a rule that is given in English only, for operators and logs.
func Stated(rule string) Rule { return RuleOf(StatedRule, message.Text("text", rule)) }

// String gives the rule for a log: a stated one in its words, another as its
// code with the figures.
func (r Rule) String() string {
	if r.Code == StatedRule {
		return r.Figures.Get("text").String()
	}
	return r.Message.String()
}

// Range wants a number from low to high, in a unit such as m, or in none.
func Range(low, high float64, unit string) Rule {
	if unit == "" {
		return RuleOf(NumberRange, message.Number("min", low), message.Number("max", high))
	}
	return RuleOf(QuantityRange, message.Number("min", low), message.Number("max", high), message.Text("unit", unit))
}

// Whole wants a whole number from low to high.
func Whole(low, high int) Rule {
	return RuleOf(WholeRange, message.Count("min", low), message.Count("max", high))
}

// OneOf wants one of some words.
func OneOf(words ...string) Rule { return RuleOf(WordWanted, message.Names("allowed", words)) }

// AtMost wants no more than so many.
func AtMost(n int) Rule { return RuleOf(MostItems, message.Count("max", n)) }

// Characters wants a text of at most so many characters.
func Characters(n int) Rule { return RuleOf(TextLength, message.Count("max", n)) }

// Below wants a value that is not below the one of another field.
func Below(other string) Rule { return RuleOf(NotBelow, message.Text("other", other)) }

// Codes of why something typed is refused; each carries quantity_term and
// example_term.
const (
	TypedNotRead     message.Code = "typed_not_read"
	TypedUnitMissing message.Code = "typed_unit_missing"
	TypedUnitUnknown message.Code = "typed_unit_unknown"
	TypedAmbiguous   message.Code = "typed_ambiguous"
	TypedNegative    message.Code = "typed_negative"
	TypedInchesLeft  message.Code = "typed_inches_left"
	TypedTooLarge    message.Code = "typed_too_large"
)

// Refused is the rule that something typed breaks, with how to type it.
func Refused(r *unit.Refusal) Rule {
	code := map[unit.Problem]message.Code{
		unit.NotRead: TypedNotRead, unit.UnitMissing: TypedUnitMissing, unit.UnitUnknown: TypedUnitUnknown,
		unit.Ambiguous: TypedAmbiguous,
		unit.Negative:  TypedNegative, unit.InchesLeft: TypedInchesLeft, unit.TooLarge: TypedTooLarge,
	}[r.Problem]
	example := map[string]string{"length": `46 in, 3'10" or 1.17 m`, "temperature": "61 F or 16 C",
		"weight": "80 lb or 36.3 kg", "volume": "3 qt or 2.8 L",
		"time": "6:00 or 6 am"}[r.Quantity]
	return RuleOf(code, message.Term("quantity", "a "+r.Quantity), message.Term("example", example))
}
