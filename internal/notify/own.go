package notify

import "regexp"

// twofold is a quantity that a package below gives in both systems of units, such
// as "13 C (56 F)" or "0.61 kg/m2/h (0.12 lb/ft2/h, plus or minus 40 %)".
var twofold = regexp.MustCompile(`(-?[0-9.]+) (C|m|t|kg/m2/h|kg|mm|MPa) \((-?[0-9.]+) (F|ft|lb/ft2/h|lb|in|psi)(?:, ([^)]*))?\)`)

// degrees are the units written with their sign.
var degrees = map[string]string{"C": "°C", "F": "°F"}

// Own leaves of each quantity that a text gives in both systems of units the
// one of the reader's.
func Own(text string, us bool) string {
	return twofold.ReplaceAllStringFunc(text, func(q string) string {
		m := twofold.FindStringSubmatch(q)
		value, unit := m[1], m[2]
		if us {
			value, unit = m[3], m[4]
		}
		if sign, ok := degrees[unit]; ok {
			unit = sign
		}
		if m[5] != "" {
			return value + " " + unit + " (" + m[5] + ")"
		}
		return value + " " + unit
	})
}
