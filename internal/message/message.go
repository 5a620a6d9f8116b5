// Package message owns how a sentence travels before it is worded: a code that
// says which sentence it is, and the figures that belong into it, each with
// its dimension. Package say makes the sentence of it, in the reader's language
// and units; no other package holds text for people, and none reads a sentence.
//
//	m := message.New("rain_reaches_pad", message.Chance("", 0.35), message.Name("pad", "H2"))
//	// {"code":"rain_reaches_pad","figures":{"chance":0.35,"pad":"H2"}}
//
// Figures are SI. The name of a figure ends in its unit (mix_c, rain_mm,
// start_at), so that the JSON form alone tells the dimension.
package message

import (
	"strings"
	"time"

	"dryslot/internal/unit"
)

// Code names one sentence. A code never changes its meaning: plans are kept
// with their codes.
type Code string

// StoredText is the code of a sentence that was stored before there were
// codes. Its one figure, text, is the sentence.
const StoredText Code = "stored_text"

// Message is a sentence before it is worded. The zero Message says nothing.
type Message struct {
	Code    Code    `json:"code"`
	Figures Figures `json:"figures"`
}

// New returns a message.
func New(code Code, figures ...Figure) Message { return Message{Code: code, Figures: figures} }

// Stored returns the message of a sentence that is known as text only.
func Stored(text string) Message { return New(StoredText, Text("text", text)) }

// IsZero reports whether m says nothing.
func (m Message) IsZero() bool { return m.Code == "" }

// String returns the code and its figures for logs, such as
// "number_range min=1 max=50". It is not for people: see package say.
func (m Message) String() string {
	var b strings.Builder
	b.WriteString(string(m.Code))
	for _, f := range m.Figures {
		b.WriteString(" " + f.Name + "=" + f.Value.String())
	}
	return b.String()
}

// Figures are the figures of a message in a fixed order, names unique.
type Figures []Figure

// Figure is one value with its name.
type Figure struct {
	Name  string
	Value Value
}

// Get returns the figure of a name, or nil.
func (f Figures) Get(name string) Value {
	for _, x := range f {
		if x.Name == name {
			return x.Value
		}
	}
	return nil
}

// Number returns a figure as a plain number in its SI unit; false where there
// is none of that name or where it is no number.
func (f Figures) Number(name string) (float64, bool) {
	q, ok := f.Get(name).(Quantity)
	return q.V, ok
}

// With returns m with a figure put in place of the one of the same name, or
// added.
func (m Message) With(f Figure) Message {
	out := Message{Code: m.Code, Figures: make(Figures, 0, len(m.Figures)+1)}
	found := false
	for _, x := range m.Figures {
		if x.Name == f.Name {
			x, found = f, true
		}
		out.Figures = append(out.Figures, x)
	}
	if !found {
		out.Figures = append(out.Figures, f)
	}
	return out
}

func named(base, suffix string, v Value) Figure {
	switch {
	case suffix == "":
		return Figure{base, v}
	case base == "":
		return Figure{suffix, v}
	}
	return Figure{base + "_" + suffix, v}
}

func quantity(base string, d Dimension, v float64) Figure {
	return named(base, d.Suffix(), Quantity{d, v})
}

// Number is a figure without a unit.
func Number(name string, v float64) Figure { return quantity(name, Plain, v) }

// Count is a number of things: it chooses singular or plural.
func Count(name string, n int) Figure { return Number(name, float64(n)) }

// Named is a number whose name gives its dimension.
func Named(name string, v float64) Figure { return Figure{name, Quantity{dimensionOf(name), v}} }

// Chance is a probability, 0 to 1; its name ends in chance.
func Chance(base string, v float64) Figure { return quantity(base, Chances, v) }

// Temperature is a figure whose name ends in _c.
func Temperature(base string, v unit.Celsius) Figure {
	return quantity(base, Temperatures, float64(v))
}

// Difference is a difference of two temperatures; its name ends in _k.
func Difference(base string, v unit.TempDiff) Figure { return quantity(base, Differences, float64(v)) }

// Depth is a depth of rain or of water lost; its name ends in _mm.
func Depth(base string, v unit.Millimetres) Figure { return quantity(base, Depths, float64(v)) }

// Length is a length of work; its name ends in _m.
func Length(base string, v unit.Metres) Figure { return quantity(base, Lengths, float64(v)) }

// Mass is a figure whose name ends in _kg.
func Mass(base string, v unit.Kilograms) Figure { return quantity(base, Masses, float64(v)) }

// Volume is a volume of water in litres; its name ends in _l.
func Volume(base string, litres float64) Figure { return quantity(base, Volumes, litres) }

// Strength is a compressive strength in MPa; its name ends in _mpa.
func Strength(base string, mpa float64) Figure { return quantity(base, Strengths, mpa) }

// Speed is a speed of wind in m/s; its name ends in _m_s.
func Speed(base string, ms float64) Figure { return quantity(base, Speeds, ms) }

// Evaporation is a rate in kg/(m2 h); its name ends in _kg_m2_h.
func Evaporation(base string, kgM2H float64) Figure { return quantity(base, Evaporations, kgM2H) }

// Duration is a figure whose name ends in _min: minutes.
func Duration(base string, d time.Duration) Figure { return quantity(base, Durations, d.Minutes()) }

// Density is the dry mix in a volume of concrete; its name ends in _kg_l.
func Density(base string, kgPerL float64) Figure { return quantity(base, Densities, kgPerL) }

// WaterShare is water to a mass of dry mix; its name ends in _l_kg.
func WaterShare(base string, lPerKg float64) Figure { return quantity(base, WaterShares, lPerKg) }

// Within is a message within another.
func Within(name string, m Message) Figure { return Figure{name, Part(m)} }

// At is an instant; its name ends in _at. Its zone is the reader's. The zero
// time is one beyond what is known.
func At(base string, t time.Time) Figure { return named(base, "at", Instant(t)) }

// Date is a date; its name ends in date.
func Date(base string, d unit.Date) Figure { return named(base, "date", Day(d)) }

// Clock is a reading of a clock; its name ends in clock.
func Clock(base string, c unit.Clock) Figure { return named(base, "clock", Reading(c)) }

// Name is something that somebody named or typed: never translated.
func Name(name, v string) Figure { return Figure{name, Verbatim(v)} }

// Text is a text that is already in words: given as it stands.
func Text(name, v string) Figure { return Figure{name, Verbatim(v)} }

// Names are names in order, such as those of pads.
func Names(name string, v []string) Figure { return Figure{name, List(v)} }

// Term is a word of the trade or of the interface, such as plastic or pads:
// say translates it. Its name ends in term.
func Term(base, v string) Figure { return named(base, "term", TermOf(v)) }
