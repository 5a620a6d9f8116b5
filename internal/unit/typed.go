package unit

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode/utf8"
)

// Problem says why something typed is refused.
type Problem string

// The problems of what is typed.
const (
	NotRead     Problem = "not_read"     // no such quantity
	UnitMissing Problem = "unit_missing" // a number alone, where it could mean several things
	UnitUnknown Problem = "unit_unknown" // a unit, but of another quantity or of none
	Ambiguous   Problem = "ambiguous"    // 1,200: a decimal comma or thousands?
	Negative    Problem = "negative"     // below zero, where that can't be
	InchesLeft  Problem = "inches_left"  // twelve inches or more beside feet
	TooLarge    Problem = "too_large"    // beyond anything on a site
)

// Refusal is the error of a value that was typed and can't be taken.
type Refusal struct {
	Problem  Problem
	Quantity string // length, temperature, weight, volume or time
	Given    string
}

// Error says so for logs.
func (r *Refusal) Error() string {
	return fmt.Sprintf("unit: %q is no %s: %s", r.Given, r.Quantity, r.Problem)
}

// longestTyped bounds what is looked at, in bytes.
const longestTyped = 40

// largestTyped is a number above which a slip of the finger is certain.
const largestTyped = 1e7

// part is a number with the unit that follows it.
type part struct {
	v    float64
	unit string // lower case, without stops; empty: none
}

// ParseLength reads a length as people type it, in metres: 46 in, 46", 3'10",
// 3 ft 10, 3 1/2 in, 1.2 m, 117cm, 89 mm. A number alone has the unit bare (in,
// ft, mm, cm or m); with bare empty it is refused. The error is a *Refusal.
func ParseLength(s, bare string) (Metres, error) {
	refused := func(p Problem) (Metres, error) { return 0, &Refusal{p, "length", s} }
	parts, p := split(s)
	switch {
	case p != "":
		return refused(p)
	case len(parts) > 2:
		return refused(NotRead)
	case parts[0].unit == "" && bare == "":
		return refused(UnitMissing)
	case parts[0].unit == "":
		parts[0].unit = bare
	}
	factor := lengthFactor(parts[0].unit)
	if factor == 0 {
		return refused(UnitUnknown)
	}
	total := parts[0].v * factor
	if len(parts) == 2 {
		small, first := parts[1], factor
		if small.unit == "" {
			small.unit = "in" // 3 ft 10
		}
		factor = lengthFactor(small.unit)
		switch {
		case factor == 0:
			return refused(UnitUnknown)
		case first == MetresPerFoot && factor == MetresPerInch && small.v >= 12:
			return refused(InchesLeft)
		case first == MetresPerFoot && factor == MetresPerInch,
			first == 1 && parts[1].unit != "" && factor < 1 && factor != MetresPerInch && factor != MetresPerFoot:
		default:
			return refused(NotRead)
		}
		total += small.v * factor
	}
	return Metres(total), nil
}

func lengthFactor(unit string) float64 {
	switch unit {
	case "m", "metre", "metres", "meter", "meters", "metro", "metros":
		return 1
	case "cm":
		return 0.01
	case "mm":
		return 0.001
	case `"`, "in", "inch", "inches", "pulgada", "pulgadas", "pulg":
		return MetresPerInch
	case "'", "ft", "foot", "feet", "pie", "pies":
		return MetresPerFoot
	}
	return 0
}

// ParseTemperature reads a temperature: 61 F, 16 C, -4°C, 16. A number alone
// is Fahrenheit with us, else Celsius. The error is a *Refusal.
func ParseTemperature(s string, us bool) (Celsius, error) {
	t := strings.TrimSpace(s)
	below := false
	if rest, ok := strings.CutPrefix(strings.Replace(t, "\u2212", "-", 1), "-"); ok {
		t, below = rest, true
	}
	parts, p := split(t)
	switch {
	case p != "":
		return 0, &Refusal{p, "temperature", s}
	case len(parts) > 1:
		return 0, &Refusal{NotRead, "temperature", s}
	}
	v := parts[0].v
	if below {
		v = -v
	}
	var c Celsius
	switch u := strings.TrimLeft(parts[0].unit, "°º"); {
	case u == "f" || u == "fahrenheit" || u == "" && us:
		c = FromFahrenheit(v)
	case u == "c" || u == "celsius" || u == "":
		c = Celsius(v)
	default:
		return 0, &Refusal{UnitUnknown, "temperature", s}
	}
	if c < -ZeroCelsius || c > 1000 {
		return 0, &Refusal{TooLarge, "temperature", s}
	}
	return c, nil
}

// ParseMass reads a weight: 80 lb, 36.3 kg. A number alone is in pounds with
// us, else in kilograms. The error is a *Refusal.
func ParseMass(s string, us bool) (Kilograms, error) {
	parts, p := split(s)
	switch {
	case p != "":
		return 0, &Refusal{p, "weight", s}
	case len(parts) > 1:
		return 0, &Refusal{NotRead, "weight", s}
	}
	switch u := parts[0].unit; {
	case u == "lb" || u == "lbs" || u == "pound" || u == "pounds" || u == "libra" || u == "libras" || u == "" && us:
		return Kilograms(parts[0].v * KilogramsPerPound), nil
	case u == "kg" || u == "kgs" || u == "kilo" || u == "kilos" || u == "":
		return Kilograms(parts[0].v), nil
	}
	return 0, &Refusal{UnitUnknown, "weight", s}
}

// ParseTime reads a time of day: 6:00, 06:00, 0600, 6 am, 6:30 p.m. Without
// am or pm it is read by the 24-hour clock; an hour alone is refused. The
// error is a *Refusal.
func ParseTime(s string) (Clock, error) {
	refused := func(p Problem) (Clock, error) { return 0, &Refusal{p, "time", s} }
	if len(s) > longestTyped {
		return refused(NotRead)
	}
	t := strings.NewReplacer(" ", "", "\u00a0", "", ".", "").Replace(strings.ToLower(s))
	t, half := cutHalf(t)
	hour, minute, ok := strings.Cut(t, ":")
	switch {
	case ok && len(minute) != 2:
		return refused(NotRead)
	case !ok && half == "" && len(t) == 4:
		hour, minute = t[:2], t[2:]
	case !ok && half == "" && digits(t):
		return refused(UnitMissing)
	case !ok:
		minute = "00"
	}
	if !digits(hour) || !digits(minute) || len(hour) > 2 {
		return refused(NotRead)
	}
	h, _ := strconv.Atoi(hour) // at most two digits
	m, _ := strconv.Atoi(minute)
	switch {
	case m > 59, h > 23, half != "" && (h < 1 || h > 12):
		return refused(NotRead)
	case half == "am" && h == 12:
		h = 0
	case half == "pm" && h < 12:
		h += 12
	}
	return Clock(h*60 + m), nil
}

func cutHalf(t string) (rest, half string) {
	for _, h := range []string{"am", "pm"} {
		if rest, ok := strings.CutSuffix(t, h); ok {
			return rest, h
		}
	}
	return t, ""
}

func digits(s string) bool {
	return s != "" && strings.Trim(s, "0123456789") == ""
}

// split reads numbers with their units. At least one part comes back where
// there is no problem.
func split(s string) ([]part, Problem) {
	if len(s) > longestTyped || !utf8.ValidString(s) {
		return nil, NotRead
	}
	t := strings.NewReplacer("\u2032", "'", "\u2019", "'", "\u2018", "'", "\u2033", `"`, "\u201d", `"`,
		"\u201c", `"`, "''", `"`,
		"\u00bd", " 1/2", "\u00bc", " 1/4", "\u00be", " 3/4", "\u00a0", " ").Replace(strings.ToLower(s))
	t = strings.TrimSpace(t)
	if strings.HasPrefix(t, "-") || strings.HasPrefix(t, "\u2212") {
		return nil, Negative
	}
	var out []part
	for t != "" {
		n := len(t) - len(strings.TrimLeft(t, "0123456789.,/ -"))
		text := strings.TrimSpace(t[:n])
		t = t[n:]
		v, p := number(text)
		if p != "" {
			return nil, p
		}
		word := t
		if i := strings.IndexAny(t, "0123456789"); i >= 0 {
			word = t[:i]
		}
		t = strings.TrimSpace(t[len(word):])
		out = append(out, part{v, strings.TrimRight(strings.TrimSpace(word), ".")})
	}
	if out == nil {
		return nil, NotRead
	}
	return out, ""
}

// number reads 1.2, 1,2, 3/4, 3 1/2 or 3-1/2.
func number(s string) (float64, Problem) {
	whole, fraction := "", s
	if i := strings.LastIndexAny(s, " -"); i >= 0 {
		whole, fraction = strings.TrimSpace(s[:i]), s[i+1:]
		if !digits(whole) || !strings.Contains(fraction, "/") {
			return 0, NotRead
		}
	}
	v := 0.0
	if a, b, ok := strings.Cut(fraction, "/"); ok {
		if !digits(a) || !digits(b) {
			return 0, NotRead
		}
		x, _ := strconv.ParseFloat(a, 64)
		y, _ := strconv.ParseFloat(b, 64)
		if y == 0 || whole != "" && x >= y {
			return 0, NotRead
		}
		v = x / y
		if whole != "" {
			w, _ := strconv.ParseFloat(whole, 64)
			v += w
		}
	} else {
		before, after, comma := strings.Cut(fraction, ",")
		switch {
		case comma && len(after) == 3 && len(before) >= 1 && len(before) <= 3 && before != "0":
			return 0, Ambiguous
		case comma && strings.ContainsAny(fraction, "."):
			return 0, Ambiguous
		case comma:
			fraction = before + "." + after
		}
		if strings.Trim(fraction, "0123456789.") != "" {
			return 0, NotRead
		}
		var err error
		if v, err = strconv.ParseFloat(fraction, 64); err != nil {
			return 0, NotRead
		}
	}
	if math.IsInf(v, 0) || v > largestTyped {
		return 0, TooLarge
	}
	return v, ""
}
