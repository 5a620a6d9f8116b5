package form

import (
	"math"
	"strconv"
	"strings"
)

// Coordinates reads a place typed as coordinates, as maps give them: 47.25,
// -122.44 or 47.25 N 122.44 W or 47,25; -122,44. It reports whether the text is
// meant as coordinates at all; their range is for the project's rules.
func Coordinates(typed string) (latitude, longitude float64, ok bool) {
	t := strings.NewReplacer("\u00b0", " ", "\u2212", "-", "(", " ", ")", " ").Replace(strings.ToUpper(typed))
	parts := strings.FieldsFunc(t, func(r rune) bool {
		return r == ',' || r == ';' || r == ' ' || r == '\t' ||
			r == '\u00a0'
	})
	if strings.Contains(t, ";") { // a comma is a decimal one
		parts = strings.FieldsFunc(strings.ReplaceAll(t, ",", "."),
			func(r rune) bool { return r == ';' || r == ' ' || r == '\t' })
	}
	var out []float64
	sides := ""
	for _, part := range parts {
		part, side := cutSide(part)
		if part != "" {
			v, err := strconv.ParseFloat(part, 64)
			if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
				return 0, 0, false
			}
			out = append(out, v)
		}
		if side != "" {
			if len(out) != len(sides)+1 {
				return 0, 0, false
			}
			sides += side
			if side == "S" || side == "W" || side == "O" { // oeste
				out[len(out)-1] = -math.Abs(out[len(out)-1])
			}
		}
	}
	if len(out) != 2 || len(sides) == 1 {
		return 0, 0, false
	}
	return out[0], out[1], true
}

// cutSide takes the letter of a side of the world off the end of a number.
func cutSide(part string) (number, side string) {
	for _, s := range []string{"N", "S", "E", "W", "O"} {
		if rest, cut := strings.CutSuffix(part, s); cut {
			part, side = rest, s
		}
	}
	return part, side
}

// Degrees writes coordinates as the form takes them, to about ten metres.
func Degrees(latitude, longitude float64) string {
	d := func(v float64) string { return strconv.FormatFloat(math.Round(v*1e4)/1e4+0, 'f', -1, 64) }
	return d(latitude) + ", " + d(longitude)
}
