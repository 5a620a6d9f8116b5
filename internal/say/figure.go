package say

import (
	"math"
	"strings"
	"time"
	"unicode"

	"golang.org/x/text/number"

	"dryslot/internal/message"
	"dryslot/internal/unit"
)

// figure words one figure. The forms are listed in doc.go.
func (r Reader) figure(v message.Value, form string) string {
	switch v := v.(type) {
	case message.Quantity:
		return r.quantity(v, form)
	case message.Instant:
		return r.instant(time.Time(v), form)
	case message.Day:
		return r.date(unit.Date(v), form)
	case message.Reading:
		return r.reading(unit.Clock(v))
	case message.List:
		names := make([]string, len(v))
		for i, n := range v {
			names[i] = clean(n)
		}
		if form == "count" {
			return r.count(len(v))
		}
		return strings.Join(names, ", ")
	case message.Part:
		return r.Say(message.Message(v))
	case message.TermOf:
		return r.term(string(v))
	}
	return clean(v.String())
}

// clean makes what a person typed fit for one line.
func clean(s string) string {
	return strings.Join(strings.FieldsFunc(s, func(c rune) bool {
		return c != '\u00a0' && unicode.IsSpace(c) || unicode.IsControl(c)
	}), " ")
}

func (r Reader) term(word string) string {
	if t, ok := r.catalog().Terms[word]; ok {
		return t
	}
	return word
}

// Number words a number with at most so many digits after the point, rounded
// half away from zero; never -0.
func (r Reader) Number(v float64, digits int) string {
	scale := math.Pow10(digits)
	v = math.Round(v*scale)/scale + 0
	return r.printer().Sprint(number.Decimal(v, number.MaxFractionDigits(digits)))
}

// fixed words a number with so many digits after the point.
func (r Reader) fixed(v float64, digits int) string {
	return r.printer().Sprint(number.Decimal(v, number.MinFractionDigits(digits), number.MaxFractionDigits(digits)))
}

// Term words a word of the trade or of the interface, such as plastic.
func (r Reader) Term(word string) string { return r.term(word) }

// Figure words one figure.
func (r Reader) Figure(f message.Figure) string { return r.figure(f.Value, "") }

// Count words a number of things, in letters up to twelve.
func (r Reader) Count(n int) string { return r.count(n) }

func (r Reader) count(n int) string {
	if words := r.formats().Counts; n >= 0 && n < len(words) {
		return words[n]
	}
	return r.Number(float64(n), 0)
}

// Chance words a probability, 0 to 1, so that neither certainty is claimed nor
// a small chance hidden.
func (r Reader) Chance(p float64) string {
	percent := func(p float64) string {
		return r.printer().Sprint(number.Percent(p, number.MaxFractionDigits(0)))
	}
	switch f := r.formats(); {
	case p > 0 && p < 0.01:
		return put(f.Under, "value", percent(0.01))
	case p < 1 && p > 0.99:
		return put(f.Over, "value", percent(0.99))
	}
	return percent(math.Round(p*100) / 100)
}

// put replaces the holes of a format.
func put(format string, pairs ...string) string {
	for i := 0; i < len(pairs); i += 2 {
		format = strings.ReplaceAll(format, "{"+pairs[i]+"}", pairs[i+1])
	}
	return format
}

// Both words a quantity in the reader's units, with the other system's in
// brackets: how something typed is read back.
func (r Reader) Both(f message.Figure) string {
	other := r
	other.US = !r.US
	own, too := r.figure(f.Value, ""), other.figure(f.Value, "")
	if own == too {
		return own
	}
	return own + " (" + too + ")"
}

func (r Reader) quantity(q message.Quantity, form string) string {
	switch {
	case math.IsNaN(q.V) || math.IsInf(q.V, 0):
		return "?"
	case form == "bare": // a year or another name made of digits
		return message.Quantity{V: q.V}.String()
	case form == "word":
		return r.count(int(q.V))
	case form == "d2":
		return r.fixed(q.V, 2)
	case form == "d3":
		return r.fixed(q.V, 3)
	case q.Dimension == message.Chances:
		return r.Chance(q.V)
	case q.Dimension == message.Durations:
		return r.duration(q.V)
	case q.Dimension == message.Plain:
		return r.Number(q.V, 6)
	}
	v, name, digits := convert(q, r.US)
	return put(r.formats().Units[name], "value", r.Number(v, digits))
}

// convert takes a quantity into the unit that people read it in: the value,
// the unit's name in the catalogs, and the digits after the point.
func convert(q message.Quantity, us bool) (v float64, name string, digits int) {
	v = q.V
	switch q.Dimension {
	case message.Temperatures:
		if us {
			return unit.Celsius(v).Fahrenheit(), "fahrenheit", 0
		}
		return v, "celsius", 0
	case message.Differences:
		if us {
			return unit.TempDiff(v).Fahrenheit(), "fahrenheit", 0
		}
		return v, "celsius", 0
	case message.Depths:
		if us {
			return unit.Millimetres(v).Inches(), "inch", 2
		}
		if v < 1 {
			return v, "millimetre", 2 // 0.25 mm is a limit
		}
		return v, "millimetre", 1
	case message.Lengths:
		return length(v, us)
	case message.Masses:
		if us {
			v = unit.Kilograms(v).Pounds()
			return v, "pound", fine(v, 100)
		}
		return v, "kilogram", fine(v, 100)
	case message.Volumes:
		switch {
		case us && v >= unit.LitresPerGallon:
			return v / unit.LitresPerGallon, "gallon", 1
		case us:
			return v / unit.LitresPerQuart, "quart", 1
		}
		return v, "litre", fine(v, 20)
	case message.Strengths:
		if us {
			return math.Round(v*unit.PSIPerMPa/10) * 10, "psi", 0
		}
		return v, "megapascal", fine(v, 10)
	case message.Speeds:
		if us {
			return v / unit.MSPerMPH, "mile_per_hour", 0
		}
		return v / unit.MSPerKMH, "kilometre_per_hour", 0
	case message.Evaporations:
		if us {
			return unit.Kilograms(v).Pounds() * unit.MetresPerFoot * unit.MetresPerFoot, "pound_foot2_hour", 2
		}
		return v, "kilogram_metre2_hour", 2
	case message.Densities:
		if us {
			return unit.Kilograms(v).Pounds() * unit.LitresPerCubicFoot, "pound_foot3", 0
		}
		return v, "kilogram_litre", 2
	case message.WaterShares:
		if us {
			return v / unit.LitresPerQuart * unit.KilogramsPerPound, "quart_pound", 2
		}
		return v, "litre_kilogram", 2
	}
	return v, "", 6
}

// length: forms and tapes are read in inches up to ten feet, metres with
// centimetres, and thicknesses in millimetres.
func length(v float64, us bool) (float64, string, int) {
	const tenFeet = 10 * unit.MetresPerFoot
	switch {
	case us && v < tenFeet:
		return unit.Metres(v).Inches(), "inch", 1
	case us:
		return unit.Metres(v).Feet(), "foot", 1
	case v < 0.3:
		return v * 1000, "millimetre", 0
	}
	return v, "metre", 2
}

// fine gives one digit below a value from which none is of use.
func fine(v, from float64) int {
	if v < from {
		return 1
	}
	return 0
}

// duration gives minutes up to 90, then hours and minutes.
func (r Reader) duration(min float64) string {
	f := r.formats()
	m := int(math.Round(min))
	value := func(n int) string { return r.Number(float64(n), 0) }
	switch {
	case m <= 90:
		return put(f.Units["minute"], "value", value(m))
	case m%60 == 0:
		return put(f.Units["hour"], "value", value(m/60))
	}
	return put(f.Hours, "hours", put(f.Units["hour"], "value", value(m/60)),
		"minutes", put(f.Units["minute"], "value", value(m%60)))
}
