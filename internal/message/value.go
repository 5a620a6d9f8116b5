package message

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"dryslot/internal/unit"
)

// Value is the value of a figure: Quantity, Instant, Day, Reading, Verbatim,
// List, TermOf or Part.
type Value interface {
	fmt.Stringer
	value()
}

// Dimension says what a quantity measures.
type Dimension int

// The dimensions, each with the SI unit that its figures are in.
const (
	Plain        Dimension = iota // a number or a count
	Chances                       // 0 to 1
	Temperatures                  // degrees Celsius
	Differences                   // kelvin
	Depths                        // mm
	Lengths                       // m
	Masses                        // kg
	Volumes                       // l
	Strengths                     // MPa
	Speeds                        // m/s
	Evaporations                  // kg/(m2 h)
	Durations                     // min
	Densities                     // kg of dry mix in a litre of concrete
	WaterShares                   // litres of water to a kilogram of dry mix
)

// suffixes are the ends of the names of figures, by Dimension.
var suffixes = [...]string{"", "chance", "c", "k", "mm", "m", "kg", "l", "mpa", "m_s", "kg_m2_h", "min", "kg_l", "l_kg"}

// Suffix is what the name of a figure of that dimension ends in.
func (d Dimension) Suffix() string { return suffixes[d] }

// Part is a message within another, such as why a pad has no morning.
type Part Message

// Quantity is a number with its dimension.
type Quantity struct {
	Dimension Dimension
	V         float64
}

// Instant is an instant; the zero time is one beyond what is known.
type Instant time.Time

// Day is a date.
type Day unit.Date

// Reading is a reading of a clock.
type Reading unit.Clock

// Verbatim is text that is never translated.
type Verbatim string

// List is several names in order.
type List []string

// TermOf is a word that say translates.
type TermOf string

func (Quantity) value() {}
func (Instant) value()  {}
func (Day) value()      {}
func (Reading) value()  {}
func (Verbatim) value() {}
func (List) value()     {}
func (TermOf) value()   {}
func (Part) value()     {}

// String gives the number without a unit: the figure's name has it.
func (q Quantity) String() string { return strconv.FormatFloat(q.V, 'g', -1, 64) }

// String gives the instant in RFC 3339.
func (i Instant) String() string { return time.Time(i).Format(time.RFC3339) }

// String gives the date as 2006-01-02.
func (d Day) String() string { return unit.Date(d).String() }

// String gives the reading as 15:04.
func (r Reading) String() string { return unit.Clock(r).String() }

// String gives the text.
func (v Verbatim) String() string { return string(v) }

// String gives the names, parted by commas.
func (l List) String() string { return strings.Join(l, ", ") }

// String gives the word before it is translated.
func (t TermOf) String() string { return string(t) }

// String gives the code and the figures.
func (p Part) String() string { return Message(p).String() }

// MarshalJSON writes an object, the names in alphabetical order: what is stored
// and read again, in whatever order a store keeps it, is written the same. A number that is
// not finite is null, and so is an instant beyond what is known.
func (f Figures) MarshalJSON() ([]byte, error) {
	var b bytes.Buffer
	b.WriteByte('{')
	sorted := slices.Clone(f)
	slices.SortFunc(sorted, func(a, b Figure) int { return strings.Compare(a.Name, b.Name) })
	for i, x := range sorted {
		if i > 0 {
			b.WriteByte(',')
		}
		name, err := json.Marshal(x.Name)
		if err != nil {
			return nil, fmt.Errorf("message: name of a figure: %w", err)
		}
		v, err := json.Marshal(plain(x.Value))
		if err != nil {
			return nil, fmt.Errorf("message: figure %s: %w", x.Name, err)
		}
		b.Write(name)
		b.WriteByte(':')
		b.Write(v)
	}
	b.WriteByte('}')
	return b.Bytes(), nil
}

// plain is a value as JSON writes it.
func plain(v Value) any {
	switch v := v.(type) {
	case Quantity:
		if math.IsNaN(v.V) || math.IsInf(v.V, 0) {
			return nil
		}
		return v.V
	case Instant:
		if time.Time(v).IsZero() {
			return nil
		}
	case Part:
		return Message(v)
	case List:
		return append([]string{}, v...)
	}
	return v.String()
}

// UnmarshalJSON reads what MarshalJSON writes: the end of a name tells the
// dimension. It keeps the order, and refuses a name that is given twice.
func (f *Figures) UnmarshalJSON(b []byte) error {
	d := json.NewDecoder(bytes.NewReader(b))
	if t, err := d.Token(); err != nil || t != json.Delim('{') {
		return fmt.Errorf("message: figures are no object: %.40q", b)
	}
	var out Figures
	for d.More() {
		t, err := d.Token()
		if err != nil {
			return fmt.Errorf("message: figures: %w", err)
		}
		name, _ := t.(string)
		var raw json.RawMessage
		if err := d.Decode(&raw); err != nil {
			return fmt.Errorf("message: figure %s: %w", name, err)
		}
		v, err := decode(name, raw)
		if err != nil {
			return fmt.Errorf("message: figure %s: %w", name, err)
		}
		if out.Get(name) != nil {
			return fmt.Errorf("message: figure %s is given twice", name)
		}
		out = append(out, Figure{name, v})
	}
	*f = out
	return nil
}

// ends reports whether a name ends in a suffix. A suffix of three letters or
// fewer never stands alone: min is the least value of a rule, not minutes.
func ends(name, suffix string) bool {
	return strings.HasSuffix(name, "_"+suffix) || len(suffix) > 3 && name == suffix || suffix == "at" && name == "at"
}

func dimensionOf(name string) Dimension {
	best := Plain
	for d := Chances; d <= WaterShares; d++ {
		if ends(name, suffixes[d]) && len(suffixes[d]) > len(suffixes[best]) {
			best = d
		}
	}
	return best
}

func decode(name string, raw json.RawMessage) (Value, error) {
	var list []string
	var text string
	switch raw[0] {
	case '[':
		if err := json.Unmarshal(raw, &list); err != nil {
			return nil, fmt.Errorf("want a list of texts: %w", err)
		}
		return List(list), nil
	case '"':
		if err := json.Unmarshal(raw, &text); err != nil {
			return nil, fmt.Errorf("want text: %w", err)
		}
		return ofText(name, text)
	case '{':
		var part Message
		if err := json.Unmarshal(raw, &part); err != nil {
			return nil, fmt.Errorf("want a message: %w", err)
		}
		return Part(part), nil
	case 'n':
		if ends(name, "at") {
			return Instant{}, nil
		}
	}
	var q unit.Opt
	if err := json.Unmarshal(raw, &q); err != nil {
		return nil, fmt.Errorf("want a number, a text, a list of texts or a message: %w", err)
	}
	return Quantity{dimensionOf(name), q.Float()}, nil
}

func ofText(name, text string) (Value, error) {
	switch {
	case ends(name, "at"):
		t, err := time.Parse(time.RFC3339, text)
		if err != nil {
			return nil, fmt.Errorf("want an instant: %w", err)
		}
		return Instant(t), nil
	case ends(name, "date"):
		d, err := unit.ParseDate(text)
		return Day(d), err
	case ends(name, "clock"):
		c, err := unit.ParseClock(text)
		return Reading(c), err
	case ends(name, "term"):
		return TermOf(text), nil
	}
	return Verbatim(text), nil
}
