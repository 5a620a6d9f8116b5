package pages

import (
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"dryslot/internal/fault"
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

var (
	index    = regexp.MustCompile(`\[[0-9]+\]`)
	spanRule = regexp.MustCompile(`^must be a number from (\S+) to (\S+)$`)
)

// setupFaults adds the faults of err to those known, in the form's words and
// units: one of each field, and none of a field that is known to be wrong or
// that can't be judged because another is.
func setupFaults(known []view.Fault, err error, us bool) []view.Fault {
	var f *fault.Error
	if !errors.As(err, &f) {
		return known
	}
	if len(f.Fields) == 0 {
		return append(known, view.Fault{Words: f.Message + "."})
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
			rule = "must keep the pads within a kilometre of each other"
			if us {
				rule = "must keep the pads within 3,000 feet of each other"
			}
		case path == "limits.rain_risk":
			rule = "must be a number from 0 to 100"
		case path == "pads.thickness_m" && !us:
			rule = inUnits(rule, 0.001) // the form asks for mm
		case us && field.us > 0:
			rule = inUnits(rule, field.us)
		}
		out = append(out, view.Fault{Field: field.name, Words: ruleWords(rule, us) + "."})
	}
	return out
}

// inUnits writes the ends of a range in the form's unit, rounded inwards so
// that a value at an end is taken.
func inUnits(rule string, factor float64) string {
	m := spanRule.FindStringSubmatch(rule)
	if m == nil {
		return rule
	}
	low, err1 := strconv.ParseFloat(m[1], 64)
	high, err2 := strconv.ParseFloat(m[2], 64)
	if err1 != nil || err2 != nil {
		return rule
	}
	return fmt.Sprintf("must be a number from %.3g to %.3g", low/factor*1.002, high/factor*0.998)
}

// ruleWords puts a rule of a spec in the words of the form.
func ruleWords(rule string, us bool) string {
	words := []string{"water_l_per_bag", "the water by the label", "earliest_start", "the earliest start", "bag_kg", "the weight of the bag"}
	if us {
		words = append(words,
			"1.0 to 2.6 kg of dry mix a litre of concrete", "62 to 162 lb of dry mix a cubic foot of concrete",
			"0.3 litre a kilogram of the bag", "0.14 quart a pound of the bag")
		rule, _, _ = strings.Cut(rule, ", not ") // a figure in the other units
	}
	return strings.NewReplacer(words...).Replace(rule)
}

// stamped is an instant as rules write it.
var stamped = regexp.MustCompile(`[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}(Z|[+-][0-9]{2}:[0-9]{2})`)

// logWords says the faults of a log entry as the form names its fields, with
// instants as the project's clock shows them.
func logWords(err error, s view.Setting, known map[string]bool) []string {
	var f *fault.Error
	if !errors.As(err, &f) {
		return nil
	}
	if len(f.Fields) == 0 {
		return []string{f.Message + "."}
	}
	local := func(words string) string {
		return stamped.ReplaceAllStringFunc(words, func(w string) string {
			t, err := time.Parse(time.RFC3339, w)
			if err != nil {
				return w
			}
			return s.Reader().When(t)
		})
	}
	names := map[string]string{"at": "When", "pad": "Pad", "bags": "Bags", "water_l": "Water", "minutes": "Minutes", "rain_mm": "Rain", "text": "Note"}
	var out []string
	for _, x := range f.Fields {
		name := names[x.Path]
		switch {
		case known[name] && name != "":
		case x.Path == "pad" && x.Value == "":
			out = append(out, "Say which pad it was.")
		case x.Path == "text" && x.Value == "":
			out = append(out, "Write the note.")
		case x.Path == "kind" && x.Value != "":
			out = append(out, local(x.Rule)+".")
		case name == "":
			out = append(out, x.Path+": "+local(x.Rule)+".")
		case x.Value == "":
			out = append(out, name+" "+local(x.Rule)+".")
		default:
			out = append(out, fmt.Sprintf("%s, given as “%s”: %s.", name, local(x.Value), local(x.Rule)))
		}
	}
	return out
}

// inWords says a problem's faults, one a line.
func inWords(p *web.Problem) []string {
	if len(p.Errors) == 0 {
		return []string{p.Detail + "."}
	}
	var out []string
	for _, f := range p.Errors {
		out = append(out, f.Field+", given as “"+f.Value+"”: "+f.Rule+".")
	}
	return out
}
