// Package unit owns the quantities whose mix-up would spoil a pour: Celsius
// against a temperature difference, millimetres of rain against metres of
// slab, kilograms against pounds. It also owns values that a source did not
// give (Opt): missing is not zero.
//
//	unit.Celsius(5).Fahrenheit() // 41
package unit

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
)

// Celsius is a temperature on the Celsius scale.
type Celsius float64

// TempDiff is a difference of two temperatures in kelvin. 28 K is a drop of
// 50 Fahrenheit degrees, never 10 Celsius.
type TempDiff float64

// Millimetres is a depth of rain, or of water evaporated.
type Millimetres float64

// Metres is a length.
type Metres float64

// Kilograms is a mass.
type Kilograms float64

// WattsPerM2 is a heat flux through, or a radiation on, a surface.
type WattsPerM2 float64

// ZeroCelsius is 0 C in kelvin (definition of the Celsius scale, SI Brochure 9).
const ZeroCelsius = 273.15

// Kelvin returns the absolute temperature in kelvin.
func (c Celsius) Kelvin() float64 { return float64(c) + ZeroCelsius }

// Fahrenheit returns the temperature on the Fahrenheit scale.
func (c Celsius) Fahrenheit() float64 { return float64(c)*9/5 + 32 }

// FromFahrenheit returns the Celsius temperature of a Fahrenheit reading.
func FromFahrenheit(f float64) Celsius { return Celsius((f - 32) * 5 / 9) }

// Minus returns the difference of two temperatures.
func (c Celsius) Minus(d Celsius) TempDiff { return TempDiff(c - d) }

// Plus returns a temperature moved by a difference.
func (c Celsius) Plus(d TempDiff) Celsius { return c + Celsius(d) }

// Exact US customary factors (NIST SP 811, appendix B).
const (
	KilogramsPerPound = 0.45359237
	MetresPerInch     = 0.0254
	MetresPerFoot     = 0.3048
	LitresPerQuart    = 0.946352946
	LitresPerGallon   = 3.785411784
	// LitresPerCubicFoot is (0.3048 m)3.
	LitresPerCubicFoot = MetresPerFoot * MetresPerFoot * MetresPerFoot * 1000
	PSIPerMPa          = 145.0377 // to seven digits
	MSPerMPH           = 0.44704
	MSPerKnot          = 1852.0 / 3600
	MSPerKMH           = 1 / 3.6
)

// Fahrenheit returns the difference in Fahrenheit degrees.
func (d TempDiff) Fahrenheit() float64 { return float64(d) * 9 / 5 }

// Pounds returns the mass in avoirdupois pounds.
func (k Kilograms) Pounds() float64 { return float64(k) / KilogramsPerPound }

// Inches returns the length in inches.
func (m Metres) Inches() float64 { return float64(m) / MetresPerInch }

// Feet returns the length in feet.
func (m Metres) Feet() float64 { return float64(m) / MetresPerFoot }

// Inches returns the depth of rain in inches.
func (r Millimetres) Inches() float64 { return float64(r) / 25.4 }

// Opt is a number that its source may not have given. The zero Opt is
// unknown; it marshals to JSON null.
type Opt struct {
	V     float64
	Known bool
}

// Some returns a known value. A value that is not finite is unknown.
func Some(v float64) Opt {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return Opt{}
	}
	return Opt{V: v, Known: true}
}

// Or returns the value, or d when it is unknown. Use it only where the
// caller says what standing in for the unknown means.
func (o Opt) Or(d float64) float64 {
	if o.Known {
		return o.V
	}
	return d
}

// Float returns the value, or NaN when it is unknown.
func (o Opt) Float() float64 { return o.Or(math.NaN()) }

// MarshalJSON writes the number, or null when it is unknown.
func (o Opt) MarshalJSON() ([]byte, error) {
	if !o.Known {
		return []byte("null"), nil
	}
	return json.Marshal(o.V)
}

// UnmarshalJSON reads a number or null.
func (o *Opt) UnmarshalJSON(b []byte) error {
	if bytes.Equal(b, []byte("null")) {
		*o = Opt{}
		return nil
	}
	var v float64
	if err := json.Unmarshal(b, &v); err != nil {
		return fmt.Errorf("unit: optional number: %w", err)
	}
	*o = Some(v)
	return nil
}
