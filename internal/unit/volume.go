package unit

import "strings"

// ParseVolume reads a volume as labels of bags give it, in litres: 3 qt,
// 0.6 ft3, 2.8 L, 850 ml. A number alone has the unit bare (qt, ft3 or l). The
// error is a *Refusal.
func ParseVolume(s, bare string) (litres float64, err error) {
	t := strings.NewReplacer("\u00b3", "3", "^3", "3").Replace(strings.ToLower(s))
	for _, cubic := range []string{"cubic feet", "cubic foot", "cu. ft.", "cu. ft", "cu ft", "cuft", "ft3", "pies3"} {
		t = strings.Replace(t, cubic, "cubicfoot", 1) // the 3 is no number
	}
	parts, p := split(t)
	switch {
	case p != "":
		return 0, &Refusal{p, "volume", s}
	case len(parts) > 1:
		return 0, &Refusal{NotRead, "volume", s}
	case parts[0].unit == "":
		parts[0].unit = bare
	}
	if factor, ok := litresOf[parts[0].unit]; ok {
		return parts[0].v * factor, nil
	}
	return 0, &Refusal{UnitUnknown, "volume", s}
}

var litresOf = map[string]float64{
	"l": 1, "litre": 1, "litres": 1, "liter": 1, "liters": 1, "litro": 1, "litros": 1, "ml": 0.001, "cl": 0.01,
	"dl": 0.1, "qt": LitresPerQuart, "qts": LitresPerQuart, "quart": LitresPerQuart, "quarts": LitresPerQuart,
	"cuarto":  LitresPerQuart,
	"cuartos": LitresPerQuart, "pt": LitresPerQuart / 2, "pint": LitresPerQuart / 2, "pints": LitresPerQuart / 2,
	"gal": LitresPerGallon, "gallon": LitresPerGallon, "gallons": LitresPerGallon, "galón": LitresPerGallon,
	"galones": LitresPerGallon, "cubicfoot": LitresPerCubicFoot, "ft3": LitresPerCubicFoot,
}
