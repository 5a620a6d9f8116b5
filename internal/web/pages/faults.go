package pages

import (
	"errors"
	"regexp"
	"slices"
	"strconv"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/message"
	"dryslot/internal/say"
	"dryslot/internal/unit"
	"dryslot/internal/web"
	"dryslot/internal/web/pages/view"
)

// setupField is the field of the form that a value of a spec comes from, with
// the factor that takes the form's number to SI in US units.
type setupField struct {
	name string
	us   float64 // 0: the same number in both
}

// cubicFoot is in litres.
const cubicFoot = unit.MetresPerFoot * unit.MetresPerFoot * unit.MetresPerFoot * 1000

func setupFields() map[string]setupField {
	return map[string]setupField{
		"mix.bag_kg": {"bag", unit.KilogramsPerPound}, "mix.yield_l_per_bag": {"yield", cubicFoot},
		"mix.water_l_per_bag": {"water", unit.LitresPerQuart}, "mix.water_l_per_bag_max": {"water_max", unit.LitresPerQuart},
		"crew.people": {"people", 0}, "crew.bags_per_hour": {"rate", 0}, "crew.finish": {"finish", 0},
		"crew.earliest_start": {"earliest", 0}, "crew.latest_finish": {"latest", 0}, "form_sets.count": {"forms", 0},
		"pads.length_m": {"length", unit.MetresPerFoot}, "pads.width_m": {"width", unit.MetresPerFoot}, "pads.thickness_m": {"thickness", unit.MetresPerInch},
		"limits.rain_risk": {"risk", 0}, "stock.bags_on_hand": {"bags", 0}, "mix.price_per_bag": {"price", 0},
		"alerts.lead_min": {"lead", 0}, "alerts.evening_at": {"evening", 0}, "alerts.quiet_until": {"quiet", 0},
		"pads.x_m": {"gap", 0}, "pads.y_m": {"gap", 0}, "pads": {"rows", 0}, "address": {"email", 0}, "time_zone": {"latitude", 0},
	}
}

var index = regexp.MustCompile(`\[[0-9]+\]`)

// Codes of the rules that only the form has.
const (
	PadsTooFar    message.Code = "pads_too_far"    // most_m
	PadsTooMany   message.Code = "pads_too_many"   // max
	InfillOrder   message.Code = "infill_order"    // forms kept for pads that are not poured between others
	InfillAll     message.Code = "infill_all"      // no form left for the first pads
	NumberOrEmpty message.Code = "number_or_empty" // neither a number nor left out
	LengthRange   message.Code = "length_range"    // min_m, max_m
	WeightRange   message.Code = "weight_range"    // min_kg, max_kg
	FormUnread    message.Code = "form_unread"
	FormTooLong   message.Code = "form_too_long" // max
	FormWhen      message.Code = "form_when"     // example: a date and a time as the form takes them
)

// Codes of what the pages refuse.
const (
	FormFromElsewhere message.Code = "form_from_elsewhere"
	NoSuchDay         message.Code = "no_such_day"
	DayNotPlanned     message.Code = "day_not_planned" // date
	NoSuchPad         message.Code = "no_such_pad"     // pad
	NothingAsked      message.Code = "nothing_asked"
)

// setupFaults adds the faults of err to those known, in the form's words and
// units: one of each field, and none of a field that is known to be wrong or
// that can't be judged because another is.
func setupFaults(known []view.Fault, err error, r say.Reader) []view.Fault {
	var f *fault.Error
	if !errors.As(err, &f) {
		return known
	}
	if len(f.Fields) == 0 {
		return append(known, view.Fault{Words: r.Say(web.ProblemOf(err).Data) + "."})
	}
	wrong := func(names ...string) bool {
		return slices.ContainsFunc(known, func(k view.Fault) bool { return slices.Contains(names, k.Field) })
	}
	fields := setupFields()
	out := slices.Clone(known)
	for _, x := range f.Fields {
		path := index.ReplaceAllString(x.Path, "")
		field, ok := fields[path]
		if !ok {
			field = setupField{name: path}
		}
		known = out
		switch {
		case wrong(field.name),
			path == "pads" && wrong("across"),
			path == "crew.latest_finish" && wrong("earliest"),
			field.name == "gap" && path != "gap" && wrong("length", "width", "across", "rows"):
			continue
		}
		rule := x.Rule
		switch {
		case path == "pads.x_m" || path == "pads.y_m":
			rule = fault.RuleOf(PadsTooFar, message.Length("most", 1000))
		case path == "limits.rain_risk":
			rule = fault.Range(0, 100, "") // the form asks for per cent
		case path == "pads.length_m" || path == "pads.width_m" || path == "pads.thickness_m":
			rule = rangeOf(rule, LengthRange, r.US, func(base string, v float64) message.Figure { return message.Length(base, unit.Metres(v)) })
		case path == "mix.bag_kg":
			rule = rangeOf(rule, WeightRange, r.US, func(base string, v float64) message.Figure { return message.Mass(base, unit.Kilograms(v)) })
		case r.US && field.us > 0:
			rule = inUnits(rule, field.us)
		default:
			rule = inUnits(rule, 1)
		}
		out = append(out, view.Fault{Field: field.name, Words: r.Rule(named(rule)) + "."})
	}
	return out
}

// rangeOf gives a range as quantities, in US units rounded inwards so that what
// is said is taken: there the ends are no round numbers.
func rangeOf(rule fault.Rule, code message.Code, us bool, figure func(base string, v float64) message.Figure) fault.Rule {
	low, ok := rule.Figures.Number("min")
	high, ok2 := rule.Figures.Number("max")
	if !ok || !ok2 {
		return rule
	}
	if us {
		low, high = low*1.002, high*0.998
	}
	return fault.RuleOf(code, figure("min", low), figure("max", high))
}

// inUnits gives the ends of a range in the form's unit, which stands beside
// the field, rounded inwards so that a value at an end is taken.
func inUnits(rule fault.Rule, factor float64) fault.Rule {
	low, ok := rule.Figures.Number("min")
	high, ok2 := rule.Figures.Number("max")
	if !ok || !ok2 || rule.Code != fault.NumberRange && rule.Code != fault.QuantityRange {
		return rule
	}
	if factor != 1 {
		low, high = threeDigits(low/factor*1.002), threeDigits(high/factor*0.998)
	}
	return fault.Range(low, high, "")
}

func threeDigits(v float64) float64 {
	v, _ = strconv.ParseFloat(strconv.FormatFloat(v, 'g', 3, 64), 64) // what it wrote can be read
	return v
}

// named puts the form's word for another field in place of its name in the API.
func named(rule fault.Rule) fault.Rule {
	if other := rule.Figures.Get("other"); other != nil {
		return fault.Rule{Message: rule.With(message.Figure{Name: "other", Value: message.TermOf(other.String())})}
	}
	return rule
}

// logWords says the faults of a log entry as the form names its fields, with
// instants as the project's clock shows them.
func logWords(err error, s view.Setting, known map[string]bool) []string {
	var f *fault.Error
	if !errors.As(err, &f) {
		return nil
	}
	if len(f.Fields) == 0 {
		return []string{s.Reader.Say(web.ProblemOf(err).Data) + "."}
	}
	r := s.Reader
	given := func(x fault.Field) string {
		if t, err := time.Parse(time.RFC3339, x.Value); x.Path == "at" && err == nil {
			return r.Moment(t)
		}
		return x.Value
	}
	names := logNames(r)
	var out []string
	for _, x := range f.Fields {
		name := names[x.Path]
		switch {
		case known[x.Path]:
		case x.Path == "pad" && x.Value == "":
			out = append(out, r.Label(view.LogSayPad))
		case x.Path == "text" && x.Value == "":
			out = append(out, r.Label(view.LogWriteNote))
		case x.Path == "kind" && x.Value != "":
			out = append(out, r.Rule(x.Rule)+".")
		case name == "":
			out = append(out, fieldRule(r, x.Path, "", x.Rule.Message))
		default:
			out = append(out, fieldRule(r, name, given(x), x.Rule.Message))
		}
	}
	return out
}

// logNames are the words of the form for the fields of an entry.
func logNames(r say.Reader) map[string]string {
	return map[string]string{"at": r.Term("when"), "pad": r.Term("pad"), "bags": r.Term("bags"), "water_l": r.Term("water"),
		"minutes": r.Term("minutes"), "rain_mm": r.Term("rain"), "text": r.Label(view.ButtonNote)}
}

// fieldRule says the rule that a field breaks, with what was given where there
// was anything.
func fieldRule(r say.Reader, field, value string, rule message.Message) string {
	figures := []message.Figure{message.Text("field", field)}
	code := view.FieldRule
	if value != "" {
		code = view.GivenAs
		figures = append(figures, message.Text("value", value))
	}
	return r.Say(message.New(code, append(figures, message.Text("rule", r.Say(rule)))...))
}

// inWords says a problem's faults, one a line.
func inWords(p *web.Problem, r say.Reader) []string {
	if len(p.Errors) == 0 {
		return []string{r.Say(p.Data) + "."}
	}
	var out []string
	for _, f := range p.Errors {
		out = append(out, fieldRule(r, f.Field, f.Value, f.Data))
	}
	return out
}
