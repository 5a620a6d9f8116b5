package unit

import "strings"

// named are the endings of names that tell a unit, longest first: its code after
// UCUM, for programs, and as people write it; empty where they are shown none.
var named = [...]struct{ suffix, code, written string }{
	{"_l_per_bag_max", "L", "L"}, {"chance_unharmed", "1", ""}, {"chance_inspect", "1", ""},
	{"_min_per_m2", "min/m2", "min/m²"}, {"chance_dry", "1", ""}, {"_l_per_bag", "L", "L"}, {"_kg_m2_h", "kg/m2/h", ""},
	{"_per_hour", "/h", ""}, {"_m2k_w", "m2.K/W", "m²K/W"}, {"_w_m2", "W/m2", ""}, {"_mpa", "MPa", "MPa"},
	{"_pct", "%", ""},
	{"_m_s", "m/s", ""}, {"_min", "min", "min"}, {"_kg", "kg", "kg"}, {"_mm", "mm", "mm"}, {"_ms", "ms", ""},
	{"_c", "Cel", "°C"}, {"_h", "h", ""}, {"_l", "L", "L"}, {"_m", "m", "m"},
}

// OfName returns the unit that the name of a field ends in, as a UCUM code and
// as people write it; both are empty where it has none.
func OfName(name string) (code, written string) {
	for _, u := range named {
		if strings.HasSuffix(name, u.suffix) {
			return u.code, u.written
		}
	}
	return "", ""
}
