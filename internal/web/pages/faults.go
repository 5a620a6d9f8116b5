package pages

import (
	"errors"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/message"
	"dryslot/internal/say"
	"dryslot/internal/unit"
	"dryslot/internal/web"
	"dryslot/internal/web/form"
	"dryslot/internal/web/pages/view"

	"github.com/labstack/echo/v4"
)

// Codes of the rules that only forms have.
const (
	PadsTooFar    message.Code = "pads_too_far"    // most_m
	NumberOrEmpty message.Code = "number_or_empty" // neither a number nor left out
	LengthRange   message.Code = "length_range"    // min_m, max_m
	WeightRange   message.Code = "weight_range"    // min_kg, max_kg
	VolumeRange   message.Code = "volume_range"    // min_l, max_l
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

// formFaults adds the faults of err to those known, in the form's words and
// units: one of each field, and none of a field that is known to be wrong or
// that can't be judged because another is.
func formFaults(known []view.Fault, err error, got form.Got, r say.Reader) []view.Fault {
	var f *fault.Error
	if !errors.As(err, &f) {
		return known
	}
	if len(f.Fields) == 0 {
		return append(known, view.Fault{Words: r.Say(web.ProblemOf(err).Data) + "."})
	}
	out := slices.Clone(known)
	wrong := func(name string) bool {
		return slices.ContainsFunc(out, func(k view.Fault) bool { return k.Field == name })
	}
	for _, x := range f.Fields {
		name := got.Field(x.Path)
		if name == "" {
			name = x.Path // of the form itself
		}
		if wrong(name) || name == "latest" && wrong("earliest") {
			continue
		}
		out = append(out, view.Fault{Field: name, Words: r.Rule(named(inFormUnits(x.Path, x.Rule, r.US))) + "."})
	}
	return out
}

// inFormUnits gives the bounds of a value of the spec as the form takes it.
func inFormUnits(path string, rule fault.Rule, us bool) fault.Rule {
	switch field := path[strings.LastIndexByte(path, '.')+1:]; {
	case field == "x_m" || field == "y_m":
		return fault.RuleOf(PadsTooFar, message.Length("most", 1000))
	case field == "rain_risk":
		return fault.Range(0, 100, "")
	case field == "waste_fraction":
		return fault.Range(0, 50, "")
	case field == "strength_28d_mpa" && us:
		return inUnits(rule, 1/unit.PSIPerMPa)
	case strings.HasSuffix(field, "_l_per_bag") || strings.HasSuffix(field, "_l_per_bag_max"):
		return rangeOf(rule, VolumeRange, us, message.Volume)
	case strings.HasSuffix(field, "_m"):
		return rangeOf(rule, LengthRange, us, func(base string, v float64) message.Figure {
			return message.Length(base, unit.Metres(v))
		})
	case strings.HasSuffix(field, "_kg"):
		return rangeOf(rule, WeightRange, us, func(base string, v float64) message.Figure {
			return message.Mass(base, unit.Kilograms(v))
		})
	}
	return inUnits(rule, 1)
}

// rangeOf gives a range as quantities, in US units rounded inwards so that what
// is said is taken: there the ends are no round numbers.
func rangeOf(rule fault.Rule, code message.Code, us bool,
	figure func(base string, v float64) message.Figure) fault.Rule {
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
	return map[string]string{"at": r.Term("when"), "pad": r.Term("pad"), "bags": r.Term("bags"),
		"water_l": r.Term("water"), "minutes": r.Term("minutes"), "rain_mm": r.Term("rain"),
		"text": r.Label(view.ButtonNote)}
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

// titles are those of errors, by status.
func titleOf(status int) message.Code {
	code, ok := map[int]message.Code{
		http.StatusBadRequest: view.ErrorBadRequest, http.StatusForbidden: view.ErrorForbidden,
		http.StatusUnauthorized: view.ErrorForbidden, http.StatusNotFound: view.ErrorNotFound,
		http.StatusConflict: view.ErrorConflict, http.StatusRequestEntityTooLarge: view.ErrorTooLarge,
		http.StatusUnprocessableEntity: view.ErrorUnprocessable, http.StatusServiceUnavailable: view.ErrorUnavailable,
		http.StatusUnsupportedMediaType: view.ErrorBadRequest,
		http.StatusInternalServerError:  view.ErrorInternal}[status]
	if !ok {
		return view.ErrorInternal
	}
	return code
}

// trouble shows an error to the person who met it.
func (p *pages) trouble(c echo.Context, err error) error {
	problem := web.ProblemOf(err)
	if problem.Status >= http.StatusInternalServerError {
		p.s.Log.ErrorContext(c.Request().Context(), "a page failed", "route", c.Path(), "error", err)
	}
	for name, values := range problem.GetHeaders() {
		c.Response().Header()[name] = values
	}
	r := p.reader(c)
	title := titleOf(problem.Status)
	page := view.Trouble{Frame: p.plain(c, title), Headline: r.Label(title), Lines: inWords(problem, r)}
	return p.show(c, problem.Status, page)
}

// board is one project as its pages need it.
type board struct {
	view.Setting
	changes []string // of the current plan against the one before
}
