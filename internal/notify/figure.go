package notify

import (
	"math"
	"strconv"
	"strings"

	"dryslot/internal/planner/job"
	"dryslot/internal/unit"
)

// measure turns one SI unit into words of each system of units.
type measure struct {
	suffix string // of the figure's name
	metric string
	us     string
	toUS   func(float64) float64
	digits int // after the decimal point, metric
	usDig  int
}

func same(v float64) float64 { return v }

// measures are tried in order: the longer suffixes come first.
var measures = [...]measure{
	{"_kg_m2_h", "kg/m2/h", "lb/ft2/h", func(v float64) float64 {
		return unit.Kilograms(v).Pounds() * unit.MetresPerFoot * unit.MetresPerFoot
	}, 2, 2},
	{"_w_m2", "W/m2", "W/m2", same, 0, 0},
	{"_m_s", "m/s", "mph", func(v float64) float64 { return v / unit.MSPerMPH }, 1, 0},
	{"_mm_h", "mm/h", "in/h", func(v float64) float64 { return unit.Millimetres(v).Inches() }, 1, 2},
	{"_mpa", "MPa", "psi", func(v float64) float64 { return v * 145.0377 }, 1, 0}, // 1 MPa = 145.0377 psi (NIST SP 811, appendix B)
	{"_mm", "mm", "in", func(v float64) float64 { return unit.Millimetres(v).Inches() }, 1, 2},
	{"_kg", "kg", "lb", func(v float64) float64 { return unit.Kilograms(v).Pounds() }, 0, 0},
	{"_min", "min", "min", same, 0, 0},
	{"_pct", "%", "%", same, 0, 0},
	{"_k", "K", "°F", func(v float64) float64 { return v * 9 / 5 }, 0, 0},
	{"_h", "h", "h", same, 1, 1},
	{"_c", "°C", "°F", func(v float64) float64 { return unit.Celsius(v).Fahrenheit() }, 0, 0},
	{"_m", "m", "ft", func(v float64) float64 { return unit.Metres(v).Feet() }, 2, 1},
	{"_l", "l", "qt", func(v float64) float64 { return v / unit.LitresPerQuart }, 1, 1},
}

// figureWords says a figure beside its limit in the project's units, such as
// "34 °F, limit 41 °F". A chance is said in hundredths.
func figureWords(f *job.Figure, units string) string {
	if f == nil {
		return ""
	}
	if strings.Contains(f.Name, "chance") || strings.Contains(f.Name, "risk") || strings.Contains(f.Name, "share") {
		return number(f.Value*100, 0) + nbsp + "%, limit " + number(f.Limit*100, 0) + nbsp + "%"
	}
	for _, m := range measures {
		if !strings.HasSuffix(f.Name, m.suffix) {
			continue
		}
		if units == "us" {
			return number(m.toUS(f.Value), m.usDig) + nbsp + m.us + ", limit " + number(m.toUS(f.Limit), m.usDig) + nbsp + m.us
		}
		return number(f.Value, m.digits) + nbsp + m.metric + ", limit " + number(f.Limit, m.digits) + nbsp + m.metric
	}
	return number(f.Value, 2) + ", limit " + number(f.Limit, 2)
}

// number writes v with at most the given digits after the point, and no -0.
func number(v float64, digits int) string {
	scale := math.Pow10(digits)
	return strconv.FormatFloat(math.Round(v*scale)/scale+0, 'f', -1, 64)
}
