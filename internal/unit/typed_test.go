package unit

import (
	"errors"
	"fmt"
	"math"
	"testing"
)

func TestLengthsAsPeopleTypeThem(t *testing.T) {
	for _, c := range []struct {
		typed, bare string
		want        float64
	}{
		{"46 in", "", 46 * 0.0254}, {`46"`, "", 46 * 0.0254}, {"46in.", "", 46 * 0.0254},
		{"46 Inches", "", 46 * 0.0254}, {`3'10"`, "", 46 * 0.0254}, {"3' 10''", "", 46 * 0.0254},
		{"3\u2032 10\u2033", "", 46 * 0.0254}, {"3 ft 10",
			"", 46 * 0.0254},
		{"3 ft 10 in", "", 46 * 0.0254}, {"3 ft", "", 0.9144}, {"3.5'", "", 3.5 * 0.3048}, {`3' 10 1/2"`, "",
			46.5 * 0.0254},
		{"3 1/2 in", "", 3.5 * 0.0254}, {"3-1/2 in", "", 3.5 * 0.0254}, {"3½ in", "", 3.5 * 0.0254}, {`1/4"`, "",
			0.25 * 0.0254},
		{"1.2 m", "", 1.2}, {"1,2 m", "", 1.2}, {"117cm", "", 1.17}, {"89 mm", "", 0.089}, {"1 m 20 cm", "", 1.2},
		{"0,075 m", "", 0.075},
		{"46 pulgadas", "", 46 * 0.0254}, {"4 pies", "", 1.2192}, {"46", "in", 46 * 0.0254}, {"4", "ft", 1.2192},
		{"4 6", "ft", math.NaN()},
		{"89", "mm", 0.089}, {"117 cm", "in", 1.17},
	} {
		got, err := ParseLength(c.typed, c.bare)
		if math.IsNaN(c.want) {
			if err == nil {
				t.Errorf("%q was taken as %v", c.typed, got)
			}
			continue
		}
		if err != nil || math.Abs(float64(got)-c.want) > 1e-12 {
			t.Errorf("%q: %v, %v; want %v", c.typed, got, err, c.want)
		}
	}
}

func TestLengthsThatAreRefused(t *testing.T) {
	for typed, want := range map[string]Problem{
		"": NotRead, "in": NotRead, "46": UnitMissing, "46 kg": UnitUnknown, "3 ft 12 in": InchesLeft,
		"-3 m": Negative, "1,200 mm": Ambiguous,
		"1.200,5 mm": Ambiguous, "3 ft 2 m": NotRead, "1 m 20": NotRead, "1 2 3 m": NotRead, "4 x 6 ft": UnitUnknown,
		"1e3 m":      UnitUnknown,
		"99999999 m": TooLarge, "3/0 in": NotRead, "3 5/4 in": NotRead, "3 ft 4 in 5": NotRead, "1..2 m": NotRead,
		"m 1": NotRead,
	} {
		_, err := ParseLength(typed, "")
		var r *Refusal
		if !errors.As(err, &r) || r.Problem != want || r.Given != typed || r.Quantity != "length" {
			t.Errorf("%q: %v, want %s", typed, err, want)
		}
	}
}

func TestTemperaturesAsPeopleTypeThem(t *testing.T) {
	for _, c := range []struct {
		typed string
		us    bool
		want  float64
	}{
		{"61 F", false, 145.0 / 9}, {"61°f", false, 145.0 / 9}, {"16 C", true, 16}, {"16 °C", true, 16}, {"16", false,
			16}, {"61", true, 145.0 / 9},
		{"-4 C", false, -4}, {"\u22124", false, -4}, {"12,5 c", false, 12.5}, {"32 fahrenheit", false, 0},
	} {
		if got, err := ParseTemperature(c.typed, c.us); err != nil || math.Abs(float64(got)-c.want) > 1e-12 {
			t.Errorf("%q: %v, %v; want %v", c.typed, got, err, c.want)
		}
	}
	for typed, want := range map[string]Problem{"": NotRead, "warm": NotRead, "16 K": UnitUnknown,
		"-300 C": TooLarge, "--4": Negative, "5 C 6": NotRead} {
		_, err := ParseTemperature(typed, false)
		var r *Refusal
		if !errors.As(err, &r) || r.Problem != want {
			t.Errorf("%q: %v, want %s", typed, err, want)
		}
	}
}

func TestWeightsAsPeopleTypeThem(t *testing.T) {
	for _, c := range []struct {
		typed string
		us    bool
		want  float64
	}{
		{"80 lb", false, 36.2873896}, {"80lbs.", false, 36.2873896}, {"36.3 kg", true, 36.3}, {"80", true,
			36.2873896}, {"25", false, 25}, {"50 kilos", true, 50},
	} {
		if got, err := ParseMass(c.typed, c.us); err != nil || math.Abs(float64(got)-c.want) > 1e-9 {
			t.Errorf("%q: %v, %v; want %v", c.typed, got, err, c.want)
		}
	}
	for typed, want := range map[string]Problem{"": NotRead, "80 ft": UnitUnknown, "-1 kg": Negative,
		"1,000 lb": Ambiguous} {
		_, err := ParseMass(typed, false)
		var r *Refusal
		if !errors.As(err, &r) || r.Problem != want {
			t.Errorf("%q: %v, want %s", typed, err, want)
		}
	}
}

func TestTimesAsPeopleTypeThem(t *testing.T) {
	for typed, want := range map[string]Clock{
		"6:00": 360, "06:00": 360, "0600": 360, "6 am": 360, "6AM": 360, "6:30 p.m.": 18*60 + 30,
		"6:30 p. m.": 18*60 + 30, "18:00": 1080,
		"12 am": 0, "12:15 pm": 735, "0:05": 5, "1 pm": 780,
	} {
		if got, err := ParseTime(typed); err != nil || got != want {
			t.Errorf("%q: %v, %v; want %v", typed, got, err, want)
		}
	}
	for typed, want := range map[string]Problem{"": NotRead, "6": UnitMissing, "13 pm": NotRead, "0 am": NotRead,
		"24:00": NotRead, "6:5": NotRead,
		"6:60": NotRead, "noon": NotRead, "-6:00": NotRead, "006:00": NotRead} {
		_, err := ParseTime(typed)
		var r *Refusal
		if !errors.As(err, &r) || r.Problem != want || r.Quantity != "time" {
			t.Errorf("%q: %v, want %s", typed, err, want)
		}
	}
}

// What is taken is finite, not below zero where that can't be, and read back
// the same when it is written in SI; nothing makes it panic.
func FuzzTyped(f *testing.F) {
	for _, s := range []string{"46 in", `3'10"`, "3 ft 10", "1,2 m", "117cm", "3½ in", "61 F", "-4", "80 lb",
		"6:30 p.m.", "0600", "1e9 m", "''", "1/0"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		near := func(a, b float64) bool { return math.Abs(a-b) <= 1e-9*math.Max(1, math.Abs(a)) }
		if v, err := ParseLength(s, "in"); err == nil {
			again, err := ParseLength(fmt.Sprintf("%.12f m", float64(v)), "")
			if v < 0 || err != nil || !near(float64(v), float64(again)) {
				t.Errorf("%q: %v, again %v, %v", s, v, again, err)
			}
		}
		if v, err := ParseTemperature(s, true); err == nil {
			again, err := ParseTemperature(fmt.Sprintf("%.12f C", float64(v)), true)
			if err != nil || !near(float64(v), float64(again)) {
				t.Errorf("%q: %v, again %v, %v", s, v, again, err)
			}
		}
		if v, err := ParseMass(s, true); err == nil {
			again, err := ParseMass(fmt.Sprintf("%.12f kg", float64(v)), true)
			if v < 0 || err != nil || !near(float64(v), float64(again)) {
				t.Errorf("%q: %v, again %v, %v", s, v, again, err)
			}
		}
		if v, err := ParseTime(s); err == nil {
			if again, err := ParseTime(v.String()); err != nil || again != v {
				t.Errorf("%q: %v, again %v, %v", s, v, again, err)
			}
		}
	})
}
