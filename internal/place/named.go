package place

import (
	"strings"
	"unicode"
)

// Named is a place that was found by its name.
type Named struct {
	Name       string
	District   string // a county, say; empty: not given
	Region     string // a state or province; empty: not given
	Country    string
	Code       string // of the country, ISO 3166-1 alpha-2
	Latitude   float64
	Longitude  float64
	ElevationM *float64
}

// String names the place with its region and country.
func (n Named) String() string {
	out := n.Name
	for _, part := range []string{n.Region, n.Country} {
		if part != "" && part != n.Name {
			out += ", " + part
		}
	}
	return out
}

// SplitName splits what is typed for a place, such as "Tacoma, WA", into the
// name to look for and what narrows it down.
func SplitName(typed string) (name string, within []string) {
	parts := strings.Split(typed, ",")
	for _, part := range parts[1:] {
		if part = strings.TrimSpace(part); part != "" {
			within = append(within, part)
		}
	}
	return strings.TrimSpace(parts[0]), within
}

// Within keeps the places that lie in every area given: a country or its code,
// a region or its postal abbreviation, or a district, or the beginning of one
// of their names.
func Within(found []Named, areas []string) []Named {
	var out []Named
	for _, n := range found {
		in := true
		for _, a := range areas {
			in = in && n.in(a)
		}
		if in {
			out = append(out, n)
		}
	}
	return out
}

func (n Named) in(area string) bool {
	a := folded(area)
	if a == "" {
		return true
	}
	if full, ok := abbreviations[n.Code][a]; ok && folded(n.Region) == full {
		return true
	}
	if a == folded(n.Code) || n.Code == "US" && a == "usa" || n.Code == "GB" && a == "uk" {
		return true
	}
	if len(a) < 3 { // no beginning of a name: CA is California, not Cambridgeshire
		return false
	}
	for _, name := range []string{n.Region, n.District, n.Country} {
		if strings.HasPrefix(folded(name), a) {
			return true
		}
	}
	return false
}

// folded keeps letters and digits in lower case, Latin letters without accents.
func folded(s string) string {
	return strings.Map(func(r rune) rune {
		r = unicode.ToLower(r)
		if plain, ok := accents[r]; ok {
			return plain
		}
		if unicode.IsLetter(r) || unicode.IsDigit(r) {
			return r
		}
		return -1
	}, s)
}

var accents = func() map[rune]rune {
	out := map[rune]rune{}
	for plain, with := range map[rune]string{'a': "áàâäãå", 'c': "ç", 'e': "éèêë", 'i': "íìîï", 'n': "ñ", 'o': "óòôöõø",
		'u': "úùûü"} {
		for _, r := range with {
			out[r] = plain
		}
	}
	return out
}()

// abbreviations are those that the postal services of the United States and of
// Canada use (USPS Publication 28, Appendix B; Canada Post, from memory), folded.
var abbreviations = map[string]map[string]string{
	"US": {
		"al": "alabama", "ak": "alaska", "az": "arizona", "ar": "arkansas", "ca": "california", "co": "colorado",
		"ct": "connecticut", "de": "delaware", "dc": "districtofcolumbia", "fl": "florida", "ga": "georgia",
		"hi": "hawaii", "id": "idaho", "il": "illinois", "in": "indiana", "ia": "iowa", "ks": "kansas",
		"ky": "kentucky", "la": "louisiana", "me": "maine", "md": "maryland", "ma": "massachusetts", "mi": "michigan",
		"mn": "minnesota", "ms": "mississippi", "mo": "missouri", "mt": "montana", "ne": "nebraska", "nv": "nevada",
		"nh": "newhampshire", "nj": "newjersey", "nm": "newmexico", "ny": "newyork", "nc": "northcarolina",
		"nd": "northdakota", "oh": "ohio", "ok": "oklahoma", "or": "oregon", "pa": "pennsylvania", "ri": "rhodeisland",
		"sc": "southcarolina", "sd": "southdakota", "tn": "tennessee", "tx": "texas", "ut": "utah", "vt": "vermont",
		"va": "virginia", "wa": "washington", "wv": "westvirginia", "wi": "wisconsin", "wy": "wyoming",
	},
	"CA": {
		"ab": "alberta", "bc": "britishcolumbia", "mb": "manitoba", "nb": "newbrunswick",
		"nl": "newfoundlandandlabrador", "ns": "novascotia", "nt": "northwestterritories", "nu": "nunavut",
		"on": "ontario", "pe": "princeedwardisland", "qc": "quebec", "sk": "saskatchewan", "yt": "yukon",
	},
}
